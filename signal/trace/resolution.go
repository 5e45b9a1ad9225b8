package trace

import (
	"math"
	"slices"
)

const (
	resolutionBlocks = 16
	resolutionRows   = 256 // of one block
	// floatNoise is the part of the largest value below which a difference
	// is taken for rounding: 1e-13 is far above what arithmetic on float64
	// leaves and far below the step of any converter.
	floatNoise = 1e-13
)

// resolution is the smallest step between distinct values in up to 16 blocks
// of 256 consecutive rows, spread evenly over the channel. It is 0 where
// fewer than two values differ.
//
// Its limits: a channel that visits few of its levels shows too coarse a step
// (a staircase of commands shows the height of its stairs), and one written
// with more digits than its converter resolves, or averaged, shows too fine
// a step.
func resolution(values, scratch []float64) (step float64, reuse []float64) {
	s := scratch[:0]
	largest := 0.0
	add := func(block []float64) {
		for _, v := range block {
			if !math.IsNaN(v) {
				s = append(s, v)
				largest = max(largest, math.Abs(v))
			}
		}
	}
	if n := len(values); n <= resolutionBlocks*resolutionRows {
		add(values)
	} else {
		for i := range resolutionBlocks {
			from := int(int64(n-resolutionRows) * int64(i) / (resolutionBlocks - 1))
			add(values[from : from+resolutionRows])
		}
	}
	slices.Sort(s)
	step = math.Inf(1)
	for i := 1; i < len(s); i++ {
		if d := s[i] - s[i-1]; d > largest*floatNoise && d < step {
			step = d
		}
	}
	if math.IsInf(step, 1) {
		step = 0
	}
	return step, s
}
