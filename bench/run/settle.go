package run

import (
	"math"
	"time"
)

// Blocks of a step: at most so many, joined two by two when full.
const (
	mostBlocks  = 32
	leastBlocks = 16
	shortest    = 5 * time.Millisecond
)

// settling decides during a step whether its mean is good enough.
//
// The samples of the step are gathered into blocks of equal time; when there
// are 32, they are joined two by two, so that there are always 16 or more of
// them once the step has lasted. Looked at is the last half of the step:
// eight to sixteen block means, with a straight line through them. The step
// is good when both what the line rises over that half and the standard error
// of its mean (from the scatter of the block means about the line) are at
// most good·|mean|, or at most floor, below which the converter tells nothing
// more. Since the half grows with the step, an exponential approach is as near
// to its end as the rise is small, whatever its time constant, once the step
// has lasted for 1.4 of it: e^(-T/2τ)/(1-e^(-T/2τ)) <= 1.
type settling struct {
	good, floor float64
	block       time.Duration
	end         time.Duration // of the block being filled
	sum         float64
	count       int
	means       [mostBlocks]float64
	n           int
}

// newSettling starts at a rig time. A block holds whole periods of the
// command's PWM and ten samples at least.
func newSettling(at, interval, period time.Duration, good, floor float64) settling {
	block := max(shortest, 10*interval)
	if period > 0 {
		block = (block + period - 1) / period * period
	}
	return settling{good: good, floor: floor, block: block, end: at + block}
}

// add takes a sample and says whether the step is good enough with it.
func (s *settling) add(at time.Duration, x float64) bool {
	good := false
	for at >= s.end {
		// A block without a sample (lost ones) is left out.
		if s.count > 0 {
			s.means[s.n] = s.sum / float64(s.count)
			s.n++
			if s.n == mostBlocks {
				s.join()
			}
			good = s.enough()
		}
		s.sum, s.count = 0, 0
		s.end += s.block
	}
	s.sum += x
	s.count++
	return good
}

func (s *settling) join() {
	s.n /= 2
	for i := range s.n {
		s.means[i] = (s.means[2*i] + s.means[2*i+1]) / 2
	}
	// The block that begins now is of double length as well.
	s.end += s.block
	s.block *= 2
}

// enough looks at the last half.
func (s *settling) enough() bool {
	if s.good <= 0 || s.n < leastBlocks {
		return false
	}
	half := s.means[s.n/2 : s.n]
	n := float64(len(half))
	var mean float64
	for _, x := range half {
		mean += x / n
	}
	var xy float64
	for i, x := range half {
		xy += (float64(i) - (n-1)/2) * (x - mean)
	}
	slope := xy / (n * (n*n - 1) / 12)
	var rest float64
	for i, x := range half {
		d := x - mean - slope*(float64(i)-(n-1)/2)
		rest += d * d
	}
	allowed := max(s.good*math.Abs(mean), s.floor)
	return math.Abs(slope)*n <= allowed && math.Sqrt(rest/(n-2)/n) <= allowed
}
