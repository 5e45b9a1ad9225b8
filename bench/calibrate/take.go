package calibrate

import (
	"math"

	"dutybench/signal/stat"
)

// blocks of readings whose means are taken as independent. 20 (chosen) leave
// 19 degrees of freedom; of one second each holds 50 ms, so that the noise
// within a block may be correlated and hum of the mains is averaged.
const blocks = 20

// Take makes a point of the bench's readings at one value: their mean, and its
// standard uncertainty from the scatter of block means (JCGM 100:2008, 4.2.3)
// and from the converter's step.
func Take(readings []float64, step, reference float64, zero bool) Point {
	n := min(blocks, len(readings))
	means := make([]float64, n)
	for i := range means {
		means[i] = stat.Mean(readings[i*len(readings)/n : (i+1)*len(readings)/n])
	}
	q := stat.Repeated("noise", means).With("step", stepped(stat.SD(readings), step), 0)
	return Point{Reading: stat.Mean(readings), U: q.U(), DoF: q.DoF(), Reference: reference, Zero: zero}
}

// stepped is the standard uncertainty that a converter's step leaves in a mean
// of many readings with a standard deviation sd, steps included. Noise spreads
// the readings over several steps; the error of their mean as the value moves
// through a step has the harmonics step/(πk)·exp(−2π²k²σ²/step²) (from the
// characteristic function of a normal sum; Widrow and Kollár, Quantization
// Noise, from memory). Without noise that is step/√12.
func stepped(sd, step float64) float64 {
	if !(step > 0) {
		return 0
	}
	sigma2 := max(sd*sd/(step*step)-1.0/12, 0)
	var v float64
	for k := 1.0; k <= 50; k++ {
		v += math.Exp(-4*math.Pi*math.Pi*k*k*sigma2) / (k * k)
	}
	return min(math.Sqrt(v/2)/math.Pi, 1/math.Sqrt(12)) * step
}
