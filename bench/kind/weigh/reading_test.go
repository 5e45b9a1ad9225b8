package weigh

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"dutybench/bench/kind"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// reading is 0.3 s without supply and 1 s with it at 1 kHz, in A, with noise.
func reading(off_A, on_A float64, supply bool) *trace.Trace {
	r := rand.New(rand.NewPCG(1, 2))
	var t, duty, x, on []float64
	for i := range 1300 {
		a, s := off_A, 0.0
		if i >= 300 {
			a, s = on_A, 1
		}
		if i == 299 {
			a = 20 // the charging peak falls into the interval before the mark
		}
		t, duty, on = append(t, float64(i)/1000), append(duty, 50), append(on, s)
		x = append(x, a+0.01*r.NormFloat64())
	}
	tr := &trace.Trace{Columns: []trace.Column{{Name: trace.ColTime, Values: t}, {Name: trace.ColDuty, Values: duty}, {Name: trace.ColCurrent, Values: x}}}
	if supply {
		tr.Columns = append(tr.Columns, trace.Column{Name: trace.ColSupplyOn, Values: on})
	}
	return tr
}

func TestWhatAReadingSaysAgainstItself(t *testing.T) {
	p := &profiles.Profile{Limits: profiles.Limits{Peak_A: 30}, Good: []profiles.GoodUnit{{Up: []float64{0.5, 10}}}}
	for _, c := range []struct {
		name         string
		off_A, on_A  float64
		supply       bool
		smallest_A   float64
		want         string
		limits, ends bool
	}{
		{name: "in order", on_A: 5, supply: true, smallest_A: 0.06},
		{name: "a zero within a tenth", off_A: 0.005, on_A: 5, supply: true, smallest_A: 0.06},
		{name: "zero", off_A: 0.05, on_A: 5, supply: true, smallest_A: 0.06, want: "zero is off"},
		{name: "zero below", off_A: -0.05, on_A: 5, supply: true, smallest_A: 0.06, want: "zero is off"},
		{name: "zero below, nothing flows", off_A: -0.05, on_A: -0.05, supply: true, smallest_A: 0.06, want: "zero is off"},
		{name: "crossed", on_A: -5, supply: true, smallest_A: 0.06, want: "crossed"},
		{name: "crossed, always on", off_A: -5, on_A: -5, smallest_A: 0.06, want: "crossed"},
		{name: "nothing flows, always on", smallest_A: 0.06},
		{name: "milliamperes", on_A: 5000, supply: true, smallest_A: 0.06, want: "not in amperes"},
		{name: "milliamperes, crossed", on_A: -5000, supply: true, smallest_A: 0.06, want: "not in amperes"},
		{name: "a short that the guard cut", on_A: 400, supply: true, smallest_A: 0.06, ends: true},
	} {
		tr := reading(c.off_A, c.on_A, c.supply)
		if c.ends {
			tr.Meta = append(tr.Meta, trace.Entry{Key: trace.KeyEnded, Value: "over-current"})
		}
		why, next := Misread(tr, p, c.smallest_A)
		if (c.want == "") != (why == "") || !strings.Contains(why, c.want) || (why == "") != (next == "") {
			t.Errorf("%s: %q, next %q, want %q", c.name, why, next, c.want)
		}
		a := &kind.Assessment{Stark: true}
		if taken := TakeMisread(a, tr, p); taken && (a.Stark || a.Elsewhere == "") {
			t.Errorf("%s: taken, and the unit is blamed all the same", c.name)
		}
	}
}

func TestZeroLeavesOutTheEdge(t *testing.T) {
	zero, n := Zero(reading(0.02, 5, true))
	if n < 280 || n > 291 || math.Abs(zero.Value-0.02) > 4*zero.U() || zero.U() > 0.002 {
		t.Errorf("zero %.4f ± %.4f A of %d samples, want 0.02 A of some 289", zero.Value, zero.U(), n)
	}
	if _, n := Zero(reading(0.02, 5, false)); n != 0 {
		t.Errorf("%d samples of zero where the supply was never off", n)
	}
}
