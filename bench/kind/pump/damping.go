package pump

import (
	"math"

	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// damping is what lies between a current and its samples, as far as the rig
// says.
type damping struct {
	corner_Hz   float64 // of the filter, 0: none stated
	integrating bool    // samples are means over the interval
	stated      bool    // whether they are is known
}

func dampingOf(tr *trace.Trace) (d damping) {
	if f, ok := tr.Number(keyAntiAlias); ok && f > 0 {
		d.corner_Hz = f
	}
	if v, ok := tr.Number(trace.KeyIntegrating); ok {
		d.integrating, d.stated = v != 0, true
	}
	return d
}

// gain is what is left of an amplitude at a true frequency: of a filter of
// first order 1/√(1+(f/corner)²), of means over the interval |sin(πf/rate)|
// over πf/rate.
func (d damping) gain(f_Hz, rate_Hz float64) float64 {
	g := 1.0
	if d.corner_Hz > 0 {
		g /= math.Hypot(1, f_Hz/d.corner_Hz)
	}
	if d.integrating {
		g *= means(f_Hz, rate_Hz)
	}
	return g
}

// means is what means over the sample interval leave of an amplitude.
func means(f_Hz, rate_Hz float64) float64 {
	if x := math.Pi * f_Hz / rate_Hz; x > 0 {
		return math.Abs(math.Sin(x)) / x
	}
	return 1
}

// percent is an amplitude at the source over the running current.
func percent(amplitude, noise, f_Hz, run, rate_Hz float64, d damping) stat.Quantity {
	scale := 100 / (d.gain(f_Hz, rate_Hz) * run)
	q := stat.Quantity{Value: scale * amplitude}.With("noise round the line", scale*noise, 0)
	return d.unsaid(q, f_Hz, rate_Hz)
}

// unsaid adds what is not known of the damping at f: whether samples are
// means, and whether the filter is of a higher order than the first, each as
// uniform.
func (d damping) unsaid(q stat.Quantity, f_Hz, rate_Hz float64) stat.Quantity {
	if !d.stated {
		q = q.With("means over the interval, not stated", q.Value*(1/max(means(f_Hz, rate_Hz), 0.1)-1)/math.Sqrt(3), 0)
	}
	if d.corner_Hz > 0 {
		q = q.With("order of the filter, not stated", q.Value*(math.Hypot(1, f_Hz/d.corner_Hz)-1)/math.Sqrt(3), 0)
	}
	return q
}
