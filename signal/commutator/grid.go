package commutator

import (
	"fmt"
	"math"

	"dutybench/signal/stat"
)

const (
	// longestGap is bridged, in median steps; a longer one is a gap of the recording.
	longestGap = 5
	// mostBridged is the largest share of the time in steps above one and a half of
	// the median. A line bridged by cubics over a share s of the time gives at most s
	// of its amplitude to others, fourteen decibels below it here (spectrum.Even
	// keeps to a twentieth, as it looks for weak lines beside strong ones).
	mostBridged = 0.2
)

// Grid puts samples x at times t in seconds on an even grid, by cubics through four
// neighbours, so that a converter that leaves a sample out to read something else
// can be read. ErrSamples when the time runs back, or too much is missing.
func Grid(t, x []float64) (grid []float64, rate_Hz float64, err error) {
	n := min(len(t), len(x))
	if n < leastSamples {
		return nil, 0, fmt.Errorf("%w: %d are too few, %d are the least: record longer", ErrSamples, n, leastSamples)
	}
	steps := make([]float64, 0, n-1)
	for i := 1; i < n; i++ {
		d := t[i] - t[i-1]
		if !(d > 0) || math.IsInf(d, 0) || math.IsNaN(x[i]) || math.IsInf(x[i], 0) {
			return nil, 0, fmt.Errorf("%w: time stands or runs back at number %d, or its value is no number", ErrSamples, i)
		}
		steps = append(steps, d)
	}
	step, longest, long := stat.Median(steps), 0.0, 0.0
	for _, d := range steps {
		longest = max(longest, d)
		if d > 1.5*step {
			long += d
		}
	}
	span := t[n-1] - t[0]
	if longest > longestGap*step || long > mostBridged*span {
		return nil, 0, fmt.Errorf("%w: they are too uneven, with a gap of %.3g s where the step is %.3g s and %.0f %% of the time in gaps: sample more evenly", ErrSamples, longest, step, 100*long/span)
	}
	m := int(math.Round(span/step)) + 1
	rate_Hz = float64(m-1) / span
	grid = make([]float64, m)
	i := 0
	for k := range grid {
		at := t[0] + span*float64(k)/float64(m-1)
		for i < n-2 && t[i+1] <= at {
			i++
		}
		grid[k] = cubic(t, x, i, at)
	}
	return grid, rate_Hz, nil
}

// cubic is the polynomial through the four samples round t[i] to t[i+1] (Lagrange).
func cubic(t, x []float64, i int, at float64) (y float64) {
	if at == t[i] {
		return x[i]
	}
	from := min(max(0, i-1), len(t)-4)
	for j := from; j < from+4; j++ {
		w := x[j]
		for k := from; k < from+4; k++ {
			if k != j {
				w *= (at - t[k]) / (t[j] - t[k])
			}
		}
		y += w
	}
	return y
}
