package ds18b20

import (
	"errors"
	"fmt"
	"io/fs"
	"regexp"
	"strings"
	"time"

	"dutybench/bench/clock"
	"dutybench/bench/sysfs"
)

// devices is the kernel's folder of one-wire parts.
const devices = "bus/w1/devices"

// identity is how the kernel names a DS18B20: its family, and its number.
var identity = regexp.MustCompile(`^28-[0-9a-f]{12}$`)

// Reading is one temperature.
type Reading struct {
	At      time.Duration // clock time when the kernel gave it
	Celsius float64
}

// Dev is one sensor.
type Dev struct {
	tree sysfs.Tree
	clk  clock.Clock
	id   string
}

// Find lists the sensors that the kernel has found, sorted. Without a
// one-wire bus it says how to get one.
func Find(tree sysfs.Tree) ([]string, error) {
	names, err := tree.List(devices)
	if err != nil {
		return nil, fmt.Errorf("ds18b20: %w: the kernel has no one-wire bus: load its overlay in the boot configuration (often dtoverlay=w1-gpio,gpiopin=4 for GPIO4) and start the board anew", err)
	}
	var found []string
	for _, n := range names {
		if identity.MatchString(n) {
			found = append(found, n)
		}
	}
	return found, nil
}

const wiringHint = "check that its supply is 3.0 to 5.5 V, that data goes to the bus's pin with 4.7 kΩ from there to 3.3 V, and that the grounds are joined; a new sensor is found within a minute"

// New takes the sensor with an identity such as "28-0123456789ab"; with an
// empty one the only sensor that there is. It does not read it yet.
func New(tree sysfs.Tree, clk clock.Clock, id string) (*Dev, error) {
	if id != "" && !identity.MatchString(id) {
		return nil, fmt.Errorf("ds18b20: %.40q is no identity of this part: it is 28- and twelve digits 0 to f; ls /sys/%s shows those that there are", id, devices)
	}
	found, err := Find(tree)
	if err != nil {
		return nil, err
	}
	switch {
	case len(found) == 0:
		return nil, fmt.Errorf("ds18b20: the kernel has found no sensor: %s", wiringHint)
	case id == "" && len(found) > 1:
		return nil, fmt.Errorf("ds18b20: there are %d sensors, %s: name one of them in the rig file", len(found), strings.Join(found, " and "))
	case id == "":
		id = found[0]
	}
	for _, f := range found {
		if f == id {
			return &Dev{tree: tree, clk: clk, id: id}, nil
		}
	}
	return nil, fmt.Errorf("ds18b20: no sensor %s; the kernel has found %s: correct the rig file, or %s", id, strings.Join(found, " and "), wiringHint)
}

// ID is the sensor's identity.
func (d *Dev) ID() string { return d.id }

// String names the sensor.
func (d *Dev) String() string { return "DS18B20 " + d.id }

// Read converts and reads. It waits for the conversion, on a real board up to
// 750 ms, and does so once more when the first reading was none, and again
// when a value has to be looked at closely.
func (d *Dev) Read() (Reading, error) {
	r, err := d.read()
	if err == nil {
		return r, nil
	}
	if r, again := d.read(); again == nil {
		return r, nil
	}
	return Reading{}, fmt.Errorf("ds18b20: %s, twice: %w: %s", d.id, err, wiringHint)
}

// read is one try.
func (d *Dev) read() (Reading, error) {
	raw, err := d.plain()
	// 85 °C may be the power-on value, 0 °C a wire that is stuck low.
	if errors.Is(err, fs.ErrNotExist) || err == nil && (raw == powerOn || raw == 0) {
		raw, err = d.close()
	}
	if err != nil {
		return Reading{}, err
	}
	return Reading{At: d.clk.Now(), Celsius: float64(raw) / stepsPerDegree}, nil
}

// plain reads the file that holds a number alone.
func (d *Dev) plain() (raw int, err error) {
	b, err := d.tree.ReadFile(devices + "/" + d.id + "/temperature")
	if err != nil {
		return 0, err
	}
	return millidegrees(string(b))
}

// close reads the file that holds the whole scratchpad.
func (d *Dev) close() (raw int, err error) {
	b, err := d.tree.ReadFile(devices + "/" + d.id + "/w1_slave")
	if err != nil {
		return 0, err
	}
	pad, err := ParseScratchpad(string(b))
	if err != nil {
		return 0, err
	}
	return pad.raw()
}
