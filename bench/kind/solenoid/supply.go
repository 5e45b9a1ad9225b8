package solenoid

import (
	"math"

	"dutybench/bench/kind"
	"dutybench/signal/stat"
	"dutybench/signal/step"
	"dutybench/signal/trace"
)

// supply is what the bench's supply does under the coil's current.
type supply struct {
	drop, fold          stat.Quantity
	noDrop, noFold      string
	dropKnown, foldTrue bool
}

const (
	// A resistance in the leads takes voltage in proportion to current: the drop is
	// read while the current rises, between these shares of the settled one, and
	// what is missing beyond it at the top is the supply giving way.
	risingFrom, risingTo = 0.2, 0.85
	settledFrom          = 0.97
	// least is how many readings each needs.
	least = 3
	// gives is from which share of the voltage on the supply is said to give way:
	// bench supplies hold a per cent (common practice).
	gives = 0.03
)

// measureSupply reads voltage lost before the plug per ampere, and beyond it.
func (d *detail) measureSupply(tr *trace.Trace, cuts []stretch) supply {
	s := supply{noDrop: "the voltage at the plug was not sampled", noFold: "the voltage at the plug was not sampled"}
	v := tr.Values(trace.ColSupply)
	if v == nil {
		return s
	}
	x := tr.Current()
	on := step.SupplyOf(tr)
	var resting, settled []float64
	var rising [][2]float64 // current and voltage
	top, highest := 0.0, 0.0
	for _, c := range cuts {
		if c.how == closed && c.to-c.from >= 8 {
			top = max(top, stat.Median(x[(c.from+c.to)/2:c.to]))
		}
	}
	var at []float64
	for _, c := range cuts {
		for i := c.from; i < c.to; i++ {
			if math.IsNaN(v[i]) || !on.On(i) || i < 2 || i+2 >= len(x) {
				continue
			}
			highest = max(highest, v[i])
			share := x[i] / top
			switch {
			case c.how == open && i-c.from > (c.to-c.from)/2:
				resting = append(resting, v[i])
			case c.how != closed || !(top > 0):
			case share > settledFrom && i-c.from > 2:
				settled, at = append(settled, v[i]), append(at, x[i])
			case share > risingFrom && share < risingTo && i+2 < c.to && i-c.from > 2:
				rising = append(rising, [2]float64{x[i], v[i]})
			}
		}
	}
	d.plug_V = highest
	if top <= 6*d.noise_A {
		s.noDrop, s.noFold = "no current flowed", "no current flowed"
		return s
	}
	if len(resting) < least || len(settled) < least {
		s.noDrop = "the voltage at the plug was sampled too seldom, at rest or under current"
		s.noFold = s.noDrop
		return s
	}
	res := 0.0
	if c := tr.Column(trace.ColSupply); c != nil {
		res = c.Resolution / math.Sqrt(12)
	}
	rest, loaded, amp := stat.MeanOf(resting), stat.MeanOf(settled), stat.Mean(at)
	under := math.Hypot(math.Hypot(rest.U(), loaded.U()), math.Sqrt2*res)
	whole := stat.Quantity{Value: (rest.Value - loaded.Value) / amp}.With("voltage at rest and under current", under/amp, 0)
	s.drop, s.dropKnown = whole, true
	s.noFold = "the voltage was sampled too seldom while the current rose"
	if len(rising) < least {
		return s
	}
	// The slope through the voltage at rest.
	var ii, iv float64
	for _, q := range rising {
		ii += q[0] * q[0]
		iv += q[0] * (rest.Value - q[1])
	}
	slope := iv / ii
	var square float64
	for _, q := range rising {
		r := rest.Value - q[1] - slope*q[0]
		square += r * r
	}
	n := float64(len(rising))
	u := math.Sqrt(square/max(1, n-1)/ii + res*res/ii)
	s.fold = stat.Quantity{Value: (whole.Value - slope) * amp}.With("slope of the drop", u*amp, n-1).With("voltage under current", under, 0)
	s.foldTrue = true
	if s.fold.Value > max(gives*rest.Value, 3*s.fold.U()) {
		d.folded = true
		s.drop = stat.Quantity{Value: slope}.With("slope of the drop", u, n-1)
	}
	return s
}

func (s supply) put(m *kind.Measured) {
	if s.dropKnown {
		add(m, SupplyDrop, "ohm", s.drop)
	} else {
		miss(m, SupplyDrop, "ohm", s.noDrop)
	}
	if s.foldTrue {
		add(m, SupplyFold, "V", s.fold)
	} else {
		miss(m, SupplyFold, "V", s.noFold)
	}
}
