package profiles

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// pumpSection stands in for a kind's own section.
type pumpSection struct {
	Regulation string `toml:"regulation" oneof:"speed|voltage|power|unknown" comment:"what its board keeps constant at a given duty"`
	Drive      string `toml:"drive" oneof:"six-step|sine|unknown" comment:"how its board feeds the windings"`
	PolePairs  int    `toml:"pole_pairs" min:"1" max:"50" comment:"of the rotor"`
	Hydraulics string `toml:"hydraulics" oneof:"centrifugal|peripheral|displacement|unknown"`
}

// coilSection uses unit types, an optional key, a list of tables and a check.
type coilSection struct {
	Pull   Ampere `toml:"pull" above:"0" max:"50"`
	Hold   Ampere `toml:"hold,omitempty" min:"0"`
	Stroke Millimetre
	Factor float64   `toml:"factor,omitempty" min:"0" max:"2"`
	Points []coilRow `toml:"point,omitempty"`
}

type coilRow struct {
	At    Millimetre `toml:"at"`
	Force Watt       `toml:"work"`
}

func (c *coilSection) Check(bad func(key, problem string)) {
	if c.Hold > c.Pull {
		bad("hold", "it is above pull: it must be below")
	}
}

var errNoKind = errors.New("the kinds are pump, coil and lamp")

func section(kind string) (any, error) {
	switch kind {
	case "pump":
		return &pumpSection{}, nil
	case "coil":
		return &coilSection{}, nil
	case "lamp":
		return nil, nil
	}
	return nil, fmt.Errorf("kind %q is not known: %w", kind, errNoKind)
}

// good is a whole profile with everything in it.
const good = `format = 1
name = "aux-pump"
revision = 3
kind = "pump"
title = "A pump"
part_revision = "B"
invented = true
notes = ["one", "two"]

[command]
type = "pwm"
frequency = "0.4 kHz"
tolerance = "5 %"
drive = "open-drain"
pull_up = "2.2 kohm"
pull_up_voltage = "12 V"
stop = "5 %"
wake = "12 %"
full = "95 %"
reserved = ["0 % to 3 %", "97 % to 100 %"]

[command.missing]
open = "stop"

[supply]
nominal = "13.5 V"
low = "9000 mV"
high = "16 V"

[limits]
current = "15 A"
time = "800 ms"
peak = "40 A"
charge = "0.02 C"
charge_time = "2 ms"
dry_run = "30 s"

[pump]
regulation = "speed"
drive = "six-step"
pole_pairs = 2
hydraulics = "centrifugal"

[fixture]
type = "bucket"
bore = "19 mm"
lift = "0.5 m"
fluid = "water"
temperature = "15 °C to 30 °C"

[learned]
on = "2026-03-31"
units = 2
provisional = true
rate = "2000 Hz"
grid = "20 40 90 %"

[[limit]]
finding = "full current"
low = "2.8 A"
high = "6 A"
source = "by hand"

[[good]]
unit = "g01"
up = "0.31 0.45 4.71 A"
down = "0.30 - 4.70 A"
[good.values]
quiet = "0.021 A"
attempts = 1

[[good]]
unit = "g02"
trace = "` + hash + `"
up = "310 - 4690 mA"
[good.values]
quiet = "- A"
attempts = 1
`

const hash = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855" // SHA-256 of nothing, FIPS 180-4

// edit replaces one piece of good, which must be there once.
func edit(t *testing.T, old, new string) string {
	t.Helper()
	require.Equal(t, 1, strings.Count(good, old), "the piece %q must stand once", old)
	return strings.Replace(good, old, new, 1)
}
