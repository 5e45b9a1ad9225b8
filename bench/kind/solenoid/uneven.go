package solenoid

import (
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/signal/stat"
)

const (
	// coarseShare is from which share of the settled current on the sampling alone
	// makes pulses differ too much to compare them (chosen: plungers that stick differ
	// by a per cent and more).
	coarseShare = 0.005
	// hole is how many usual steps make a hole in a pulse (chosen: two lost readings).
	hole = 3.5
)

// scatter is how far the current of one pulse lies from that of the others over the
// first half of its time, root mean square in per cent of the settled current, of
// the pulse that does so most: a plunger that sticks now and then, or a contact. It
// rests on no fit. Pulses are compared at equal times since they were switched;
// those much shorter than the longest, and those with holes, are left out.
func (d *detail) scatter(m *kind.Measured) {
	t, x := m.Trace.Time(), m.Trace.Current()
	longest, span := 0.0, math.Inf(1)
	for _, p := range d.pulses {
		longest = max(longest, p.on.long_s)
	}
	var steps []float64
	for _, p := range d.pulses {
		steps = append(steps, differences(t[p.on.at:p.on.to])...)
	}
	step := stat.Median(steps)
	var list []pulse
	for _, p := range d.pulses {
		if p.e != nil && 2*p.on.long_s > longest && whole(t[max(0, p.on.at-1):p.on.to], step) {
			list, span = append(list, p), min(span, p.on.long_s/2)
		}
	}
	n := int(span / step)
	if len(list) < 3 || n < 8 || d.folded {
		miss(m, Uneven, "%", "fewer than three whole pulses were seen")
		return
	}
	squares, slope2 := make([]float64, len(list)), 0.0
	at, next := make([]float64, len(list)), make([]int, len(list))
	last := 0.0
	for k := range n {
		for j, p := range list {
			i := p.on.at + next[j]
			for i+1 < p.on.to && t[i+1] <= p.on.at_s+float64(k)*step {
				i++
			}
			next[j] = i - p.on.at
			at[j] = x[i]
			if i+1 < p.on.to {
				at[j] += (x[i+1] - x[i]) * (p.on.at_s + float64(k)*step - t[i]) / (t[i+1] - t[i])
			}
		}
		middle := stat.Median(at)
		for j, i := range at {
			squares[j] += (i - middle) * (i - middle)
		}
		if k > 0 {
			slope2 += (middle - last) * (middle - last)
		}
		last = middle
	}
	// When within a step the switch moved is not known of either of two pulses.
	sampling := math.Sqrt(slope2/float64(n)/6) / d.flowed_A
	if sampling > coarseShare {
		miss(m, Uneven, "%", "sampled too slowly to compare the pulses")
		return
	}
	worst := math.Sqrt(slices.Max(squares)/float64(n)) / d.flowed_A
	// What noise alone leaves is in it; it is unsure of itself by 1/√(2n) at least.
	add(m, Uneven, "%", stat.Quantity{Value: 100 * worst}.
		With("noise", 100*d.noise_A/d.flowed_A/math.Sqrt(2*float64(n)), 0).With("sampling", 100*sampling, 0))
}

// whole says that times hold no hole.
func whole(t []float64, step float64) bool {
	for i := 1; i < len(t); i++ {
		if t[i]-t[i-1] > hole*step {
			return false
		}
	}
	return true
}
