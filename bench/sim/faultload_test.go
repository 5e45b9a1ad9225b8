package sim

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
)

// leverArm is a two-wire unit that tells its position, by a voltage and a PWM.
type leverArm struct {
	Coil
	volt, high float64
}

func (l *leverArm) Position() (volt, ohm float64)        { return l.volt, 1000 }
func (l *leverArm) Return() (frequency_Hz, high float64) { return 200, l.high }
func names(list []BenchFault) (out []string) {
	for _, f := range list {
		out = append(out, f.Name)
	}
	return out
}

// The faults of load switch and position are for benches that have them; the
// list of the usual bench is as it was, so that seeds draw what they drew.
func TestLoadFaultsStandApart(t *testing.T) {
	usual := names(BenchFaults())
	load := []string{"load-welded", "load-dead", "diode-open", "diode-short"}
	position := []string{"position-open", "position-short"}
	assert.Len(t, usual, 32)
	for _, n := range append(load, position...) {
		assert.NotContains(t, usual, n)
	}
	plain := names(BenchFaultsOf())
	assert.Equal(t, append(slices.Clone(plain), load...), names(BenchFaultsOf(NeedsLoad)))
	assert.Equal(t, append(slices.Clone(plain), position...), names(BenchFaultsOf(NeedsPosition)))
	assert.Subset(t, usual, plain)

	for _, n := range append(load, position...) {
		assert.Error(t, NewBench(Options{}).Arm(Armed{Name: n, Severity: 1}), n)
	}
	assert.Error(t, NewBench(Options{TwoWire: &Coil{Ohm: 1, Henry: 1}}).Arm(Armed{Name: "position-open", Severity: 1}))
	fast := NewBench(Options{Current: CurrentMCP3208, TwoWire: &leverArm{Coil: Coil{Ohm: 1, Henry: 1}}})
	for _, f := range BenchFaultsOf(NeedsLoad, NeedsPosition) {
		assert.NoError(t, fast.Arm(Armed{Name: f.Name, Severity: 0.5, At: time.Hour}), f.Name)
	}
}

// Each does what its line says, and goes after its time.
func TestLoadFaultsAct(t *testing.T) {
	const ms = time.Millisecond
	make := func(a Armed) *Bench {
		u := &leverArm{Coil: Coil{Ohm: 10, Henry: 0.01}, volt: 3, high: 0.5}
		b := NewBench(Options{Ideal: true, TwoWire: u, Supply: Supply{Open_V: 12, Ohm: 0.04, Limit_A: 30}, Fault: a})
		require.NoError(t, b.Unarmed)
		require.NoError(t, b.Switch.Out(gpio.High))
		return b
	}
	at := func(b *Bench, on bool) (node_V, body_A float64) {
		require.NoError(t, b.Load.Out(gpio.Level(on)))
		b.Clock().Sleep(20 * ms)
		b.World.settle(b.World.now)
		return b.World.Node_V(), b.World.Body_A()
	}
	for _, c := range []struct {
		fault       string
		severity    float64
		lasts       time.Duration // 0: for ever
		open, close float64       // current of the coil
	}{
		{"", 0, 0, 0, 1.194}, // 12 V over 10.05 ohm
		{"load-welded", 1, 0, 1.194, 1.194},
		{"load-welded", 0.5, 2 * time.Second, 1.194, 1.194},
		{"load-dead", 1, 0, 0, 0},
		{"load-dead", 0.5, 2 * time.Second, 0, 0},
		{"diode-open", 0.5, 0, 0, 1.194},
		{"diode-short", 1, 0, 0, 0.149}, // 30 A at 0.05 ohm and 10 ohm side by side
	} {
		b := make(Armed{Name: c.fault, Severity: c.severity})
		_, open := at(b, false)
		_, closed := at(b, true)
		assert.InDelta(t, c.open, open, 1e-3, "%s open", c.fault)
		assert.InDelta(t, c.close, closed, 1e-3, "%s closed", c.fault)
		if c.lasts > 0 {
			b.Clock().Sleep(c.lasts)
			_, open = at(b, false)
			_, closed = at(b, true)
			assert.InDelta(t, 0, open, 1e-3, "%s is over", c.fault)
			assert.InDelta(t, 1.194, closed, 1e-3, "%s is over", c.fault)
		}
	}
	// A bad joint lifts the wire at the opening by its 2 ohm; without a diode the
	// switch breaks down.
	for severity, want := range map[float64]float64{0.5: 12.7 + 1.194*2, 1: 60} {
		b := make(Armed{Name: "diode-open", Severity: severity})
		at(b, true)
		require.NoError(t, b.Load.Out(gpio.Low))
		b.Clock().Sleep(5 * us)
		assert.InDelta(t, want, b.World.Node_V(), 0.1, "severity %g", severity)
	}

	var edges int
	for fault, want := range map[string]float64{"": 3 * 110e3 / 111e3, "position-open": 0, "position-short": 12} {
		a := Armed{Name: fault, Severity: 1, At: 50 * ms}
		if fault == "" {
			a = Armed{}
		}
		b := make(a)
		edges = 0
		b.OnReturn(func(time.Duration, bool) { edges++ })
		b.Clock().Sleep(100 * ms)
		assert.InDelta(t, want, b.World.Position_V(), 1e-9, fault)
		edges = 0
		b.Clock().Sleep(100 * ms)
		if fault == "" {
			assert.InDelta(t, 40, edges, 1, "200 Hz for 100 ms")
		} else {
			assert.Zero(t, edges, fault)
		}
	}
}
