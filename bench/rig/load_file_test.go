package rig_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/rig"
	"dutybench/profiles/strict"
)

// actuators is the example of a bench with load switch and position, changed.
func actuators(t testing.TB, changes ...string) (rig.Description, error) {
	t.Helper()
	return rig.ParseFile([]byte(actuatorText(t, changes...)), "bench.toml")
}

func actuatorText(t testing.TB, changes ...string) string {
	t.Helper()
	s := example(t, "actuators")
	for i := 0; i+1 < len(changes); i += 2 {
		require.Contains(t, s, changes[i])
		s = strings.Replace(s, changes[i], changes[i+1], 1)
	}
	return s
}

const (
	noDiode    = "free_wheel = \"none\"\nclamp_voltage = \"55 V\"\nclamp_energy = \"0.5 J\"\ninductance = \"1.6 mH\""
	diode      = `free_wheel = "diode"`
	lowSide    = "channel = 1\nside = \"low\""
	highSide   = "channel = 1\nside = \"high\""
	shuntHigh  = "shunt_tolerance = \"0.5 %\"\nside = \"high\""
	shuntLow   = "shunt_tolerance = \"0.5 %\"\nside = \"low\""
	anyRate    = "frequency = \"50 Hz to 25 kHz\"\n"
	seen       = `recirculation = "seen"`
	notSeen    = `recirculation = "not-seen"`
	levelTable = "[position.level]\nchannel = 5\ntop = \"100 kohm\"\nbottom = \"10 kohm\"\ntolerance = \"0.1 %\""
	pwmTable   = "[position]\npin = \"GPIO16\"\npull = \"none\"\nactive = \"low\""
)

func TestLoadIsRead(t *testing.T) {
	d, err := actuators(t)
	require.NoError(t, err)
	want := rig.LoadSwitch{PWMChip: "fe20c000.pwm", Channel: 1, FreeWheel: rig.FreeWheelDiode, Seen: true, Level: d.Load.Level, LowestFrequency_Hz: 50, HighestFrequency_Hz: 25_000}
	assert.Equal(t, want, *d.Load)
	assert.Equal(t, 6, d.Load.Level.Channel)
	assert.InDelta(t, 13, d.Load.Level.Divider.Ratio(), 1e-12)
	assert.Equal(t, 5, d.Position.Sense.Channel)
	assert.Nil(t, d.Position.Edges)

	// 1 µs of opening later, over √3; the position's divider as the supply's.
	a := d.Accuracy()
	assert.InDelta(t, 0.577e-6, a.LoadEdge_s, 1e-9)
	assert.InDelta(t, 0.0144, a.LoadEdge_s*25e3, 1e-4, "of duty at 25 kHz")
	assert.Equal(t, a.VoltageGain, a.PositionGain)
	assert.InDelta(t, 3.3/4096*11, a.PositionStep_V, 1e-9)
	assert.Zero(t, a.PositionEdge_s)

	// What is left out has its usual value.
	d, err = actuators(t, anyRate, "", levelTable, "[position]\npin = \"GPIO16\"")
	require.NoError(t, err)
	assert.Equal(t, 25_000.0, d.Load.HighestFrequency_Hz)
	assert.Equal(t, &rig.PositionInput{Edges: &rig.Input{Pin: "GPIO16", Pull: "up"}}, d.Position)
	assert.InDelta(t, 57.7e-6, d.Accuracy().PositionEdge_s, 1e-7)
	d, err = actuators(t, levelTable, pwmTable)
	require.NoError(t, err)
	assert.Equal(t, &rig.Input{Pin: "GPIO16", Pull: "none", ActiveLow: true}, d.Position.Edges)

	// Without a diode: steady levels only, and what the switch bears.
	d, err = actuators(t, diode, noDiode, anyRate, "", `top = "120 kohm"`, `top = "180 kohm"`)
	require.NoError(t, err)
	assert.Equal(t, rig.Clamp{Volt: 55, Joule: 0.5, Henry: 0.0016}, d.Load.Clamp)
	assert.Zero(t, d.Load.HighestFrequency_Hz)
	assert.Zero(t, d.Accuracy().LoadEdge_s)
	// ½·1.6 mH·(15 A)²·55/(55−32), by hand.
	assert.InDelta(t, 0.4304, d.Load.Clamp.Opening_J(15, 32), 1e-4)
}

// Each wrong file has its line and a next step.
func TestLoadRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		changes []string
		says    string
		line    string // that the place must be in
	}{
		"no recirculation":   {[]string{seen, ""}, "recirculation", "[load]"},
		"no side":            {[]string{lowSide, "channel = 1"}, "side", "[load]"},
		"pin and chip":       {[]string{lowSide, "pin = \"GPIO12\"\n" + lowSide}, "both pin and pwm_chip: leave one", "[load]"},
		"neither":            {[]string{"[load]\npwm_chip = \"fe20c000.pwm\"\nchannel = 1", "[load]"}, "needs either pin", "[load]"},
		"channel of a pin":   {[]string{"[load]\npwm_chip = \"fe20c000.pwm\"", "[load]\npin = \"GPIO12\""}, "channel belongs to pwm_chip", "channel = 1"},
		"pin twice":          {[]string{"[load]\npwm_chip = \"fe20c000.pwm\"\nchannel = 1", "[load]\npin = \"GPIO17\""}, "GPIO17 is the pin of switch number 1 too", "GPIO17"},
		"line's channel":     {[]string{lowSide, "channel = 0\nside = \"low\""}, "is that of the line too", "channel = 0"},
		"closes low":         {[]string{lowSide, lowSide + "\nactive = \"low\""}, "closes at every start", "active"},
		"too slow":           {[]string{"50 Hz to 25 kHz", "10 Hz to 25 kHz"}, "50 Hz to 25 kHz; state a range within", "10 Hz"},
		"too fast":           {[]string{"50 Hz to 25 kHz", "50 Hz to 26 kHz"}, "50 Hz to 25 kHz; state a range within", "26 kHz"},
		"clamp and diode":    {[]string{diode, diode + "\nclamp_voltage = \"60 V\""}, "leave them out", "[load]"},
		"no clamp":           {[]string{diode, `free_wheel = "none"`, anyRate, ""}, "state clamp_voltage and clamp_energy", "[load]"},
		"none and PWM":       {[]string{diode, noDiode}, "fit a diode across the unit's plug, or leave frequency out", "frequency"},
		"none, not seen":     {[]string{diode, noDiode, anyRate, "", seen, notSeen}, "wherever it is: state recirculation = \"seen\"", "recirculation"},
		"clamp too low":      {[]string{diode, strings.Replace(noDiode, "55 V", "34 V", 1), anyRate, ""}, "it would conduct for ever", "clamp_voltage"},
		"clamp too high":     {[]string{diode, strings.Replace(noDiode, "55 V", "75 V", 1), anyRate, ""}, "60 V that are safe to touch", "clamp_voltage"},
		"energy":             {[]string{diode, strings.Replace(noDiode, "0.5 J", "0.4 J", 1), anyRate, ""}, "leaves 0.43 J in the switch", "clamp_energy"},
		"node without diode": {[]string{diode, noDiode, anyRate, ""}, "rises to 55 V, of which the divider gives 4.23 V", "top"}, // 55/13
		"node below ground":  {[]string{diode, noDiode, anyRate, "", lowSide, highSide, shuntHigh, shuntLow}, "falls to 23 V below ground", "top"},
		"node's divider":     {[]string{`top = "120 kohm"`, `top = "99 kohm"`}, "rises to 36.3 V", "top"}, // (32 + 1)·1.1
		"both low, seen":     {[]string{shuntHigh, shuntLow}, "both in the minus wire", "recirculation"},
		"both high, seen":    {[]string{lowSide, highSide}, "both in the plus wire", "recirculation"},
		"position twice":     {[]string{levelTable, "[position]\npin = \"GPIO16\"\n" + levelTable}, "both a pin for a PWM and a level", "[position]"},
		"position of naught": {[]string{levelTable, "[position]"}, "needs either pin", "[position]"},
		"pull of a level":    {[]string{levelTable, "[position]\npull = \"up\"\n" + levelTable}, "active and pull belong to pin", "[position]"},
		"position's pin":     {[]string{levelTable, "[position]\npin = \"GPIO22\""}, "GPIO22 is the pin of stop too", "GPIO22"},
		"position's channel": {[]string{"channel = 5", "channel = 6"}, "channel 6 is that of", "channel = 6"},
		"position's divider": {[]string{"channel = 5\ntop = \"100 kohm\"", "channel = 5\ntop = \"90 kohm\""}, "above the 3.3 V", "top"},
		"minus of a level":   {[]string{"channel = 5", "channel = 5\nminus = 4"}, "only the supply has a sense wire for its minus", "minus"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := actuators(t, c.changes...)
			var e *strict.Error
			require.ErrorAs(t, err, &e)
			require.ErrorContains(t, err, c.says)
			found := false
			lines := strings.Split(actuatorText(t, c.changes...), "\n")
			for _, p := range e.Problems {
				found = found || strings.Contains(lines[p.Line-1], c.line)
			}
			assert.True(t, found, "no problem is at %q: %v", c.line, err)
		})
	}
}

// Every wiring that a shunt can have is drawn and listed, with the diode where
// the file says that it is.
func TestLoadIsDrawn(t *testing.T) {
	for name, c := range map[string]struct {
		changes                  []string
		cathode, anode, switched string
	}{
		"low, seen":      {nil, "shunt, supply's side", "plug minus, switched", "load switch → supply minus"},
		"low, not seen":  {[]string{seen, notSeen}, "plug plus", "plug minus, switched", "plug minus, switched → load switch"},
		"both low":       {[]string{seen, notSeen, shuntHigh, shuntLow}, "plug plus", "plug minus, switched", "load switch → shunt, unit's side"},
		"high, seen":     {[]string{lowSide, highSide, shuntHigh, shuntLow}, "plug plus, switched", "shunt, supply's side", "load switch → switch"},
		"high, not seen": {[]string{lowSide, highSide, shuntHigh, shuntLow, seen, notSeen}, "plug plus, switched", "plug minus", "plug minus → shunt"},
		"both high":      {[]string{lowSide, highSide, seen, notSeen}, "plug plus, switched", "plug minus", "load switch → shunt"},
		"by PWM":         {[]string{levelTable, pwmTable}, "shunt, supply's side", "plug minus, switched", "plug position → GPIO16"},
	} {
		t.Run(name, func(t *testing.T) {
			d, err := actuators(t, c.changes...)
			require.NoError(t, err)
			to := map[string]string{}
			for _, w := range d.Wires() {
				to[w.From+" → "+w.To] = w.Note
			}
			for _, wire := range []string{"free-wheel diode, cathode (ring) → " + c.cathode, "free-wheel diode, anode → " + c.anode, c.switched,
				"plug plus, at the contact → divider 100 kΩ over 10 kΩ → MCP3208 CH2", "fe20c000.pwm channel 1 → load switch, gate driver"} {
				assert.Contains(t, to, wire)
			}
			var b bytes.Buffer
			require.NoError(t, d.Drawing(&b))
			for _, words := range []string{"load switch", "free-wheel diode", "position", "PWM 1"} {
				assert.Contains(t, b.String(), words)
			}
			in := xml.NewDecoder(&b)
			for err == nil {
				_, err = in.Token()
			}
			assert.True(t, errors.Is(err, io.EOF), err)
		})
	}
}
