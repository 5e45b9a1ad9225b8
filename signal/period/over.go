package period

import (
	"fmt"
	"math"
	"slices"

	"dutybench/signal/stat"
)

// How says how a mean was taken.
type How string

const (
	Steady  How = "steady"  // the switch did not change in the window
	Whole   How = "whole"   // over whole periods, several samples in each
	Beats   How = "beats"   // over the beats of PWM and sampling
	InStep  How = "in step" // all at few places of the period; the ripple is the caller's bound
	Thinned How = "thinned" // of rows that are means already
	Refused How = "refused"
)

// Means is what a window's current is.
type Means struct {
	How How
	// Shunt is the mean of the current through the shunt, in A: the unit's own
	// where its recirculation is seen, else that of the supply. NaN: refused.
	Shunt stat.Quantity
	// Unit is the mean of the unit's own current, in A; NaN where not known.
	Unit stat.Quantity
	// Ripple is the swing of the unit's own current within a period, peak to
	// peak, in A; NaN where not known. 0 where the switch did not change.
	Ripple stat.Quantity
	// Least_A and Most_A are the ends of the swing while the switch is closed,
	// where they are known; else NaN.
	Least_A, Most_A float64
	// From_s and To_s are the window as it was used, in whole Periods of them.
	From_s, To_s, Periods float64
	// Why says in a clause why there is no Shunt, NoUnit why no Unit, NoRipple
	// why no Ripple; empty where there is.
	Why, NoUnit, NoRipple string
}

const (
	// enough samples in a period for straight lines between them: at four, two
	// stand for either half (chosen; fewer are weighed as beats).
	enough = 4
	// rippled is how many samples a period takes to show its ends: with eight
	// the ends of a triangle are missed by an eighth of it at most.
	rippled = 8
	// edges is √2/√12: two edges, each anywhere between two samples.
	edges = 0.408
)

var none = stat.Quantity{Value: math.NaN()}

// Over is the means of a current, in A at rising times in s, within from_s to
// to_s. A window should leave out where the unit's current still settles.
// NaN are left out. O(n log n).
func Over(time_s, current_A []float64, from_s, to_s float64, p PWM) Means {
	t, x := window(time_s, current_A, from_s, to_s)
	m := Means{How: Refused, Shunt: none, Unit: none, Ripple: none, Least_A: math.NaN(), Most_A: math.NaN()}
	if len(t) < 3 || !(t[len(t)-1] > t[0]) {
		m.Why = "the window holds fewer than three samples"
		return m.refuse()
	}
	m.From_s, m.To_s = t[0], t[len(t)-1]
	step := stat.Median(steps(t))
	switch perPeriod := 1 / (p.Frequency_Hz * step); {
	case !p.switched():
		m.steady(t, x, p)
	case p.Rate_Hz > 0 && step*p.Rate_Hz > 3:
		m.thinned(t, x, p, step)
	case !(step > 0):
		m.Why = "most of its samples have one time"
	case perPeriod >= enough:
		m.whole(t, x, p, step)
	default:
		m.beats(t, x, p, step)
	}
	if m.Why != "" {
		return m.refuse()
	}
	if p.switched() && m.How != Thinned {
		m.own(t, x, p, step)
	}
	return m
}

// refuse gives up all of it.
func (m Means) refuse() Means {
	m.How, m.Shunt, m.Unit, m.Ripple = Refused, none, none, none
	m.NoUnit, m.NoRipple = m.Why, m.Why
	return m
}

// steady is for a switch that stood.
func (m *Means) steady(t, x []float64, p PWM) {
	m.How, m.Shunt, m.Ripple = Steady, stat.MeanOver(t, x), stat.Exact(0)
	switch {
	case p.Recirculation == Seen || p.Duty_pct == 100:
		m.Unit = m.Shunt
	case p.Frequency_Hz == 0 && p.Duty_pct != 0:
		m.Unit = m.Shunt
	default:
		m.NoUnit = "the switch is open and what recirculates is not seen"
	}
}

// thinned is for rows that are means over longer than a sample. Each may hold
// a part of a period too many.
func (m *Means) thinned(t, x []float64, p PWM, step float64) {
	m.How, m.Shunt = Thinned, stat.MeanOver(t, x)
	m.Periods = (m.To_s - m.From_s) * p.Frequency_Hz
	m.NoRipple = "the rows are means over many periods"
	swing := p.Ripple_A
	if p.Recirculation != Seen {
		swing = math.Abs(m.Shunt.Value) / p.share() // it jumps from nought
	}
	if swing > 0 && !math.IsInf(swing, 0) {
		m.Shunt = m.Shunt.With("part of a period", swing/4/(step*p.Frequency_Hz), 0)
	}
	if p.Recirculation == Seen {
		m.Unit = m.Shunt
	} else {
		m.NoUnit = "the rows are means over many periods and what recirculates is not in them"
	}
}

// window is the samples within the ends that are numbers.
func window(time_s, current_A []float64, from_s, to_s float64) (t, x []float64) {
	n := min(len(time_s), len(current_A))
	lo, _ := slices.BinarySearch(time_s[:n], from_s)
	for i := lo; i < n && time_s[i] <= to_s; i++ {
		if v := current_A[i]; !math.IsNaN(v) && !math.IsInf(v, 0) {
			t, x = append(t, time_s[i]), append(x, v)
		}
	}
	return t, x
}

func steps(t []float64) []float64 {
	d := make([]float64, len(t)-1)
	for i := range d {
		d[i] = t[i+1] - t[i]
	}
	return d
}

// longestRun is the longest stretch without a gap above a length.
func longestRun(t, x []float64, gap float64) ([]float64, []float64) {
	best, from := [2]int{0, 1}, 0
	for i := 1; i <= len(t); i++ {
		if i == len(t) || t[i]-t[i-1] > gap {
			if i-from > best[1]-best[0] {
				best = [2]int{from, i}
			}
			from = i
		}
	}
	return t[best[0]:best[1]], x[best[0]:best[1]]
}

func tooShort(periods float64) string {
	return fmt.Sprintf("the window holds %.2g periods of the PWM, and a mean takes a whole one", periods)
}
