package coil

import (
	"math"

	"dutybench/signal/stat"
)

// findOnset sets where the current leaves its start. A step of the voltage
// makes a kink, so the first readings beyond the noise are led back along
// their slope.
func (e *edge) findOnset(k Known) error {
	n := len(e.t)
	before := 0
	if k.Switched {
		for before < n && e.t[before] <= k.Switched_s {
			before++
		}
	} else {
		before = e.firstRise()
	}
	if before < n && k.Switched || before >= 4 {
		e.first = before
	}
	if n-before < leastSamples/2 {
		return ErrNoEdge
	}
	base := e.i[:before]
	if len(base) == 0 {
		// From no current, and nothing known of the offset.
		e.start, e.startU = k.Offset_A, e.noise
	} else {
		q := stat.MeanOf(base)
		e.start, e.startU = q.Value, math.Hypot(e.noise/math.Sqrt(float64(len(base))), 0)
	}
	if k.Switched {
		e.onset = k.Switched_s
	} else {
		e.onset = e.led(before)
	}
	return nil
}

// firstRise is the number of readings before the current first leaves the
// level that it began with, found in means long enough that the whole change
// stands ten standard deviations above noise.
func (e *edge) firstRise() int {
	n := len(e.i)
	level := stat.Median(e.i[:max(4, n/50)])
	width := 1
	for ; width < n/8; width *= 2 {
		top := 0.0
		for at := 0; at+width <= n; at += width {
			top = max(top, math.Abs(stat.Mean(e.i[at:at+width])-level))
		}
		if top > 10*e.noise/math.Sqrt(float64(width)) {
			break
		}
	}
	limit := 5 * e.noise / math.Sqrt(float64(width))
	var sum float64
	for at := range n {
		sum += e.i[at]
		if at >= width {
			sum -= e.i[at-width]
		}
		if at >= width-1 && math.Abs(sum/float64(width)-level) > limit {
			// Once it stays there for as long again.
			to := min(n, at+1+3*width)
			if math.Abs(stat.Mean(e.i[at+1-width:to])-level) > limit {
				return max(0, at+1-width)
			}
		}
	}
	return n
}

// led leads the first readings behind the edge back to the start.
func (e *edge) led(before int) float64 {
	return e.t[max(0, before-1)]
}

// cutOff drops the readings from where the free-wheel path stopped the
// current: behind that nothing shows what the plunger does.
func (e *edge) cutOff() {
	const width = 8
	limit := math.Max(0.01*(e.i[max(0, e.first-1)]-e.start), 2*e.noise/math.Sqrt(width))
	var sum float64
	for n := e.first; n < len(e.i); n++ {
		sum += e.i[n] - e.start
		if n >= e.first+width {
			sum -= e.i[n-width] - e.start
			if sum/width < limit {
				e.t, e.i = e.t[:n+1-width/2], e.i[:n+1-width/2]
				return
			}
		}
	}
}
