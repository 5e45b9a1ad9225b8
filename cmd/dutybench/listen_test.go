package main

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/sim"
	"dutybench/profiles"
)

func listenTo(t *testing.T, d *desk, args ...string) listenObject {
	t.Helper()
	c := d.call(append([]string{"listen", "--json"}, args...)...)
	require.Zero(t, c.status, c.stderr)
	var o listenObject
	require.NoError(t, json.Unmarshal([]byte(c.stdout), &o), c.stdout)
	require.Equal(t, 1, strings.Count(c.stdout, "\n"), "one object on one line")
	return o
}

// TestListenToInvented: what each invented signal is, the bench says.
func TestListenToInvented(t *testing.T) {
	d := newDesk(t)
	want := map[string]string{"pwm": "pwm", "bad-contact": "pwm", "fast-pwm": "too-fast", "pull-up": "high", "stuck-low": "low", "floating": "floating",
		"analogue": "analogue", "lin": "bus", "can": "too-fast", "return": "pwm"}
	names, _ := sim.Signals()
	require.Len(t, want, len(names))
	for _, name := range names {
		for _, seed := range []string{"1", "2", "3"} {
			o := listenTo(t, d, "--signal", name, "--seed", seed)
			require.Equal(t, want[name], string(o.Signal), "%s: %v", name, o.Words)
			require.NotEmpty(t, o.Words)
		}
	}
	o := listenTo(t, d)
	require.NotNil(t, o.Frequency_Hz)
	assert.InDelta(t, 400, o.Frequency_Hz.Value, *o.Frequency_Hz.Uncertainty+0.01)
	assert.InDelta(t, 30, o.Duty_pct.Value, *o.Duty_pct.Uncertainty)
	assert.InDelta(t, 12.4, o.High_V.Value, *o.High_V.Uncertainty)
	assert.InDelta(t, 0.2, o.Low_V.Value, *o.Low_V.Uncertainty)
	assert.Greater(t, *o.PeriodJitter, 1e-6)
}

func TestListenText(t *testing.T) {
	d := newDesk(t)
	c := d.call("listen", "--signal", "pwm")
	require.Zero(t, c.status, c.stderr)
	assert.True(t, strings.HasPrefix(c.stdout, "Simulated bench; name yours with --rig FILE.\nPWM  "), "then words")
	c = d.call("listen", "--signal", "pwm", "--json")
	assert.Contains(t, c.stderr, "Simulated bench; name yours with --rig FILE.")
	assert.Contains(t, c.stdout, `"simulated":true`)
	c = d.call("listen", "--signal", "pwm")
	assert.Contains(t, c.stdout, "┌")
	assert.Contains(t, c.stdout, "2.5 ms")
	assert.Contains(t, c.stdout, "Nothing was driven")
	assert.Contains(t, c.stderr, "Nothing is driven")
	for _, signal := range []string{"pwm", "lin", "return", "floating"} {
		c = d.call("listen", "--ascii", "--width", "60", "--signal", signal)
		require.Zero(t, c.status)
		for _, line := range strings.Split(c.stdout, "\n") {
			assert.LessOrEqual(t, len(line), 60, line)
		}
		assert.False(t, strings.ContainsFunc(c.stdout, func(r rune) bool { return r > 126 }), c.stdout)
	}
}

// Where the duty changes there is no single one, no jitter and no mean.
func TestListenToChangingDuty(t *testing.T) {
	d := newDesk(t)
	o := listenTo(t, d, "--signal", "return")
	assert.Nil(t, o.Duty_pct)
	assert.Nil(t, o.Mean_V)
	assert.Nil(t, o.HighJitter)
	require.NotNil(t, o.DutyFrom_pct)
	assert.InDelta(t, 42, *o.DutyFrom_pct, 0.5)
	assert.InDelta(t, 95, *o.DutyTo_pct, 0.5)
	c := d.call("listen", "--signal", "return", "--profile", defaultProfile)
	assert.Contains(t, c.stdout, "duty changes from 4")
	assert.Contains(t, c.stdout, "Duty          changes from 41.9 to 95 %; 149 periods")
	for _, not := range []string{"Jitter ", "Meter shows", "┌", "NaN"} {
		assert.NotContains(t, c.stdout, not)
	}
	o = listenTo(t, d, "--signal", "pwm")
	assert.Nil(t, o.DutyFrom_pct)
	require.NotNil(t, o.Mean_V)
	share := o.Duty_pct.Value / 100
	assert.InDelta(t, o.Low_V.Value+share*(o.High_V.Value-o.Low_V.Value), o.Mean_V.Value, 1e-9, "the mean fits levels and duty")
}

func TestListenWithProfile(t *testing.T) {
	d := newDesk(t)
	p, _, err := loadProfile(defaultProfile)
	require.NoError(t, err)
	o := listenTo(t, d, "--profile", defaultProfile)
	require.NotEmpty(t, o.Profile)
	inside := math.Abs(400/p.Command.Frequency_Hz-1) <= p.Command.Tolerance
	assert.Equal(t, inside, strings.Contains(o.Profile[0], "is the one that profile"), o.Profile)
	o = listenTo(t, d, "--profile", defaultProfile, "--signal", "stuck-low")
	assert.Contains(t, o.Profile[0], "this is none")
}

// TestListenToReturn: the invented return signal, by a table in the manner of
// VDMA sheet 24224: 42 % runs, 90 % is blocked, 95 % stands by.
func TestListenToReturn(t *testing.T) {
	d := newDesk(t)
	text, ok := profiles.Builtin(defaultProfile)
	require.True(t, ok)
	require.Equal(t, 1, strings.Count(string(text), "\n[fixture]"))
	path := d.write(t, "p.toml", strings.Replace(string(text), "\n[fixture]", returnTable+"\n[fixture]", 1))
	o := listenTo(t, d, "--signal", "return", "--return", "--profile", path)
	var codes []string
	for _, r := range o.Reports {
		codes = append(codes, r.Code)
	}
	require.Equal(t, []string{"running", "blocked", "standby"}, codes)
	assert.InDelta(t, 0.5, o.Reports[1].To_s-o.Reports[1].From_s, 0.05)
	assert.Equal(t, "mechanical", o.Reports[1].Cause)

	c := d.call("listen", "--signal", "return", "--return", "--profile", path)
	require.Zero(t, c.status, c.stderr)
	assert.Contains(t, c.stdout, "the unit reports: stopped, rotor blocked")
	assert.Contains(t, c.stdout, "no measurement and decides nothing")

	c = d.call("profiles", "show", path)
	require.Zero(t, c.status, c.stderr)
	assert.Contains(t, c.stdout, "duty 88 to 92 %, 71.25 to 78.75 Hz: stopped, rotor blocked")
}

// returnTable is what the simulated pumps report, in the manner of VDMA sheet
// 24224.
const returnTable = `
[return]
wire = "own"
[[return.code]]
name = "running"
meaning = "runs"
duty = "0 % to 71 %"
frequency = "71.25 Hz to 78.75 Hz"
[[return.code]]
name = "blocked"
meaning = "stopped, rotor blocked"
cause = "mechanical"
duty = "88 % to 92 %"
frequency = "71.25 Hz to 78.75 Hz"
[[return.code]]
name = "standby"
meaning = "stands by"
duty = "93 % to 97 %"
frequency = "71.25 Hz to 78.75 Hz"
`

// TestRunHearsTheUnit: what the unit says of itself is on the result as its own
// word, and decides nothing: without the table all else is the same.
func TestRunHearsTheUnit(t *testing.T) {
	d := newDesk(t)
	text, ok := profiles.Builtin(defaultProfile)
	require.True(t, ok)
	path := d.write(t, "p.toml", strings.Replace(string(text), "\n[fixture]", returnTable+"\n[fixture]", 1))
	plain := d.write(t, "plain.toml", string(text))
	for fault, code := range map[string]string{"": "running", "rotor-seized": "blocked"} {
		args := []string{"run", "--json", "--seed", "3"}
		if fault != "" {
			args = append(args, "--fault", fault)
		}
		with, without := d.call(append(args, "--profile", path)...), d.call(append(args, "--profile", plain)...)
		require.Equal(t, without.status, with.status, with.stderr)
		var a, b map[string]any
		require.NoError(t, json.Unmarshal([]byte(with.stdout), &a))
		require.NoError(t, json.Unmarshal([]byte(without.stdout), &b))
		assert.Contains(t, fmt.Sprint(a["unit_reports"]), code)
		assert.NotContains(t, b, "unit_reports")
		for _, key := range []string{"verdict", "cause", "causes", "findings", "curve", "startup", "sentence"} {
			assert.Equal(t, b[key], a[key], key)
		}
	}
	c := d.call("run", "--seed", "3", "--fault", "rotor-seized", "--profile", path)
	assert.Contains(t, c.stdout, "the unit reports: stopped, rotor blocked")
	assert.Contains(t, strings.Join(strings.Fields(c.stdout), " "), "no measurement: it decided nothing")
}

// TestListenToRecording reads a trace's line level: 20 Hz, sampled a thousand
// times a second.
func TestListenToRecording(t *testing.T) {
	d := newDesk(t)
	var b strings.Builder
	b.WriteString("# trace: 1\nt_s,duty_pct,current_A,line_V\n")
	for i := range 2000 {
		v := 0.1
		if i%50 < 20 {
			v = 12
		}
		fmt.Fprintf(&b, "%.3f,0,0,%g\n", float64(i)*1e-3, v)
	}
	path := d.write(t, "line.csv", b.String())
	o := listenTo(t, d, "--trace", path)
	assert.Equal(t, "pwm", string(o.Signal))
	assert.InDelta(t, 20, o.Frequency_Hz.Value, 0.01)
	assert.InDelta(t, 40, o.Duty_pct.Value, *o.Duty_pct.Uncertainty)
	assert.Contains(t, strings.Join(o.Limits, " "), "evenly spaced")
	o = listenTo(t, d, "--trace", path, "--filter", "50ms")
	assert.NotEmpty(t, o.Words)

	path = d.write(t, "none.csv", "# trace: 1\nt_s,duty_pct,current_A\n0,0,0\n1,0,0\n")
	c := d.call("listen", "--trace", path)
	assert.Equal(t, exitError, c.status)
	assert.Contains(t, c.stderr, "line_V")
}

// TestListenLoad: 12.4 V that a resistor of 10 kohm leaves at 12.4 V is driven.
func TestListenLoad(t *testing.T) {
	d := newDesk(t)
	o := listenTo(t, d, "--signal", "pull-up", "--load", "10000", "--unloaded", "12.41")
	assert.Equal(t, "driven-high", string(o.Signal), "%v", o.Words)
	// Another wire, at 18.6 V without it: behind 5 kohm.
	o = listenTo(t, d, "--signal", "pull-up", "--load", "10000", "--unloaded", "18.6")
	assert.Equal(t, "pull-up", string(o.Signal), "%v", o.Words)
	require.NotNil(t, o.Source_Ohm)
	assert.InDelta(t, 5000, o.Source_Ohm.Value, 100)
}

func TestListenUsage(t *testing.T) {
	d := newDesk(t)
	for _, args := range [][]string{
		{"--for", "0s"}, {"--for", "1h"}, {"--signal", "nosuch"}, {"--trace", "x", "--signal", "pwm"}, {"--simulate"}, {"--map", "m"}, {"--return"},
		{"--return", "--profile", defaultProfile}, {"--load", "100"}, {"--supply", "230"}, {"--supply", "-1"}, {"extra"}, {"--rig", "x.toml", "--signal", "pwm"}, {"--width", "3"},
	} {
		c := d.call(append([]string{"listen"}, args...)...)
		assert.Equal(t, exitUsage, c.status, "%v: %s", args, c.stderr)
	}
	assert.Equal(t, exitError, d.call("listen", "--rig", d.path("none.toml")).status)
}

// TestListenWithRigFiles plays the worked examples' benches.
func TestListenWithRigFiles(t *testing.T) {
	d := newDesk(t)
	for _, name := range []string{"install/rigs/small.toml", "install/rigs/fast.toml"} {
		c := d.call("listen", "--json", "--for", "300ms", "--rig", name, "--simulate", "--signal", "pwm")
		require.Zero(t, c.status, c.stderr)
		assert.Contains(t, c.stdout, `"signal":"pwm"`, name)
		assert.Contains(t, c.stdout, `"mean_V":{"value":3.`, name)
	}
}
