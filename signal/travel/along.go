package travel

import (
	"math"
	"slices"

	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// Along is what was drawn along a way: the median current in each bin of the
// travel, its middle in per cent.
type Along struct{ Place_pct, Current_A []float64 }

// Bins cuts the way of a move into bins of so many per cent of the travel; from
// and to are the shares of the way that count, as at its ends it speeds up and
// slows down. A bin that was crossed in less than two samples is left out.
func (m Move) Bins(tr *trace.Trace, s Samples, width, from, to float64) (out Along) {
	if !m.Moved {
		return out
	}
	t, amps := tr.Time(), tr.Current()
	a, b := m.Stood_pct+from*m.Way(), m.Stood_pct+to*m.Way()
	if a > b {
		a, b = b, a
	}
	bins := map[int][]float64{}
	lo, hi := m.middle(s, from, to)
	for i := m.From + index(t[m.From:m.To], lo); i < m.To && t[i] <= hi; i++ {
		if p := s.At(t[i]); p >= a && p <= b {
			k := int(math.Floor(p / width))
			bins[k] = append(bins[k], amps[i])
		}
	}
	var keys []int
	for k, v := range bins {
		if len(v) >= 2 {
			keys = append(keys, k)
		}
	}
	slices.Sort(keys)
	for _, k := range keys {
		out.Place_pct = append(out.Place_pct, (float64(k)+0.5)*width)
		out.Current_A = append(out.Current_A, stat.Median(bins[k]))
	}
	return out
}

// Excess is the bin that lies highest above a straight line through the others
// (medians of slopes, so that it does not pull the line up): how far, and where.
// NaN for fewer than six bins, where one is too many of them.
func (a Along) Excess() (above_A, place_pct float64) {
	if len(a.Place_pct) < 6 {
		return math.NaN(), math.NaN()
	}
	c, slope := stat.TheilSen(a.Place_pct, a.Current_A)
	above_A = math.Inf(-1)
	for i, p := range a.Place_pct {
		if x := a.Current_A[i] - c - slope*p; x > above_A {
			above_A, place_pct = x, p
		}
	}
	return above_A, place_pct
}

// Slowest is the place of a way at which the unit took longest for so many per
// cent of the travel: its speed there as a share of the move's, the place, and the
// median current in that time. Both ends of the way are left out. ok is false
// where the move has no speed.
func (m Move) Slowest(tr *trace.Trace, s Samples, width float64) (share, place_pct, amps float64, ok bool) {
	if math.IsNaN(m.Speed_pct_s) || math.Abs(m.Way()) < 4*width {
		return 0, 0, 0, false
	}
	in := s.In(m.Start_s, m.End_s+1e-9)
	sign := math.Copysign(1, m.Way())
	a, b := 0.15*math.Abs(m.Way()), 0.85*math.Abs(m.Way())
	// First times at which it was so far along.
	var far, at []float64
	top := math.Inf(-1)
	for i, p := range in.P_pct {
		if x := sign * (p - m.Stood_pct); x > top {
			top = x
			far, at = append(far, x), append(at, in.T_s[i])
		}
	}
	longest, from := 0.0, -1.0
	j := 0
	for i := range far {
		if far[i] < a || far[i] > b {
			continue
		}
		for j = max(j, i); j < len(far) && far[j] < far[i]+width; j++ {
		}
		if j == len(far) {
			break
		}
		way := far[j] - far[i]
		if long := (at[j] - at[i]) / way; long > longest {
			longest, from = long, at[i]
			place_pct = m.Stood_pct + sign*(far[i]+far[j])/2
			amps = between(tr, m, at[i], at[j])
		}
	}
	if from < 0 {
		return 0, 0, 0, false
	}
	return 1 / (longest * math.Abs(m.Speed_pct_s)), place_pct, amps, true
}

// between is the median current of a move from one time to another.
func between(tr *trace.Trace, m Move, from, to float64) float64 {
	t := tr.Time()[m.From:m.To]
	a, b := index(t, from), index(t, to)
	return stat.Median(tr.Current()[m.From+a : m.From+min(len(t), max(b, a+1))])
}

// Jumps are the readings that lie farther from the one before than the unit can
// have gone: fastest in per cent a second, and least for what scatter does. Two
// of them, away and back, are a gap of the track. A reading across a hole longer
// than 0.2 s is none.
func (s Samples) Jumps(fastest, least float64) (at []int) {
	const hole = 0.2
	for i := 1; i < s.Len(); i++ {
		dt := s.T_s[i] - s.T_s[i-1]
		if dt < hole && math.Abs(s.P_pct[i]-s.P_pct[i-1]) > least+fastest*dt {
			at = append(at, i)
		}
	}
	return at
}
