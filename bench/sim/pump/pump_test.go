package pump

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dutybench/bench/sim"
)

const us = time.Microsecond

// ideal is a stiff source at the unit's nominal voltage.
func ideal(c Params) sim.Source {
	return sim.Source{On: true, Open_V: c.Nominal_V, Ohm: 0.02, Limit_A: 40}
}

// pwm is the line at a line duty of 0 to 1, right for the unit.
func pwm(c Params, lineDuty float64) sim.Line {
	high := lineDuty
	if c.ActiveLow {
		high = 1 - lineDuty
	}
	return sim.Line{State: sim.LinePWM, High: high, Frequency_Hz: (c.MinHz + c.MaxHz) / 2, High_V: 5}
}

// stopDuty and fullDuty are line duties that stop and fully drive the unit.
func stopDuty(c Params) float64 {
	if c.Size == "heating" {
		return 0.97
	}
	return 0.04
}

func fullDuty(c Params) float64 {
	if c.Size == "heating" {
		return 0.05
	}
	return 0.96
}

// atShare is the line duty that asks for a share of the way to full.
func atShare(c Params, share float64) float64 {
	switch c.Size {
	case "heating":
		return 0.84 - share*0.74
	case "solar":
		return 0.15 + share*0.75
	}
	return 0.10 + share*0.85
}

// bench is a unit on a source, with its trace of currents.
type bench struct {
	*Pump
	src  sim.Source
	line sim.Line
	dt   time.Duration
	t_s  float64
	got  []float64 // A, one per step, of the last hold
}

func plug(t testing.TB, c Params, fault string, severity float64, seed uint64) *bench {
	t.Helper()
	p, err := New(c, fault, severity, seed)
	require.NoError(t, err)
	return &bench{Pump: p, src: SourceChange(c, fault, severity, ideal(c)), line: pwm(c, stopDuty(c)), dt: 100 * us}
}

// hold steps for so long and returns the mean current.
func (b *bench) hold(seconds float64) float64 {
	n := int(seconds / b.dt.Seconds())
	b.got = b.got[:0]
	var sum float64
	for range n {
		i, _ := b.Step(b.dt, b.src, b.line)
		b.got = append(b.got, i)
		sum += i
	}
	b.t_s += float64(n) * b.dt.Seconds()
	return sum / float64(n)
}

// sweep runs the unit through line duties and returns the plateaus' means.
func (b *bench) sweep(duties []float64, settle, mean float64) []float64 {
	out := make([]float64, len(duties))
	for k, d := range duties {
		b.line = pwm(b.params, d)
		b.hold(settle)
		out[k] = b.hold(mean)
	}
	return out
}

func nominal(t testing.TB, size string) Params {
	t.Helper()
	c, err := Nominal(size)
	require.NoError(t, err)
	return c
}

func drawn(t testing.TB, size string, seed uint64) Params {
	t.Helper()
	c, err := Draw(size, rand.New(rand.NewPCG(seed, 7)))
	require.NoError(t, err)
	return c
}
