package startup

import (
	"math"
	"slices"
	"sync"

	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// envelope is the smoothed current of one commanded stretch.
type envelope struct {
	t, y        []float64
	rest, noise float64
	window      int
	charged     int       // first sample after the charging peak at switch-on
	scratch     []float64 // for quantiles
}

// used holds envelopes whose memory is used again.
var used = sync.Pool{New: func() any { return new(envelope) }}

// newEnvelope smooths the current of a trace. Its memory can be given back with
// free, after which it must not be used.
func newEnvelope(tr *trace.Trace, on, cmd, end int) *envelope {
	t, x := tr.Time(), tr.Current()
	e := used.Get().(*envelope)
	*e = envelope{t: t, y: slices.Grow(e.y[:0], len(x))[:len(x)], window: 1, scratch: e.scratch}
	if r := tr.Rate(); r > 0 {
		e.window = max(1, int(r*smooth_s))
	}
	movingMean(e.y, x, e.window)
	e.charged = e.dropCharge(on)
	from := on
	for from < cmd && t[from] < t[on]+skip_s {
		from++
	}
	if quiet := e.y[from:cmd]; len(quiet) >= 10 {
		e.rest = stat.Median(quiet)
		e.noise = stat.RobustSD(quiet)
	} else {
		// Commanded from the first sample on: the lowest the current ever is.
		e.rest = max(0, e.quantile(cmd, end, 0.005))
	}
	if e.noise == 0 {
		e.noise = e.differenceNoise(cmd, end)
	}
	if c := tr.Column(trace.ColCurrent); c != nil {
		e.noise = max(e.noise, c.Resolution/math.Sqrt(12))
	}
	return e
}

func (e *envelope) free() {
	e.t = nil // the trace's
	used.Put(e)
}

// dropCharge takes the charging peak off the envelope: a unit that is
// commanded as it is switched on has both at once. What is left there is at
// most what follows. It returns the first sample after the peak.
func (e *envelope) dropCharge(on int) int {
	charged := on
	for charged < len(e.t) && e.t[charged] < e.t[on]+charge_s {
		charged++
	}
	after := min(charged+e.window/2+1, len(e.y)-1)
	for i := max(on-e.window/2, 0); i < after; i++ {
		e.y[i] = min(e.y[i], e.y[after])
	}
	return charged
}

// movingMean is the mean of the w samples centred at each instant.
func movingMean(dst, x []float64, w int) {
	if w <= 1 {
		copy(dst, x)
		return
	}
	half := w / 2
	var sum float64
	n, tail := 0, 0
	for head := 0; head < len(x)+half; head++ {
		if head < len(x) {
			sum += x[head]
			n++
		}
		if head-tail >= w {
			sum -= x[tail]
			n--
			tail++
		}
		if i := head - half; i >= 0 {
			dst[i] = sum / float64(n)
		}
	}
}

// differenceNoise is the noise of the envelope from differences one window
// apart; half of them see no event.
func (e *envelope) differenceNoise(from, to int) float64 {
	stride := 1 + (to-from)/thinned
	d := e.scratch[:0]
	for i := from + e.window; i < to; i += stride {
		d = append(d, math.Abs(e.y[i]-e.y[i-e.window]))
	}
	e.scratch = d
	if len(d) == 0 {
		return 0
	}
	return 1.4826 * stat.Select(d, len(d)/2) / math.Sqrt2
}

// firstAbove is the first sample that stands clear of rest.
func (e *envelope) firstAbove(from, to int) int {
	for i := from; i < to; i++ {
		if e.y[i] > e.rest+6*e.noise {
			return i
		}
	}
	return from
}

// lowest is the 5 % quantile of the envelope between two times.
func (e *envelope) lowest(from_s, to_s float64) float64 {
	i, _ := slices.BinarySearch(e.t, from_s)
	j, _ := slices.BinarySearch(e.t, to_s)
	if j <= i {
		return e.rest
	}
	return e.quantile(i, j, 0.05)
}

// thinned is how many samples of a stretch are looked at for its quantiles:
// 4,000 of a smoothed signal give a level to a hundredth of its rank.
const thinned = 4000

// quantile is the p quantile of a stretch of the envelope.
func (e *envelope) quantile(from, to int, p float64) float64 {
	return rank(e.thin(from, to), p)
}

// thin is a stretch of the envelope, thinned, in the scratch: to be used
// before the next call.
func (e *envelope) thin(from, to int) []float64 {
	e.scratch = thin(e.scratch[:0], e.y[from:to])
	return e.scratch
}

func thin(dst, x []float64) []float64 {
	stride := 1 + len(x)/thinned
	for i := 0; i < len(x); i += stride {
		dst = append(dst, x[i])
	}
	return dst
}

// rank is the p quantile of x, which it puts in another order; NaN when x is
// empty.
func rank(x []float64, p float64) float64 {
	return stat.Select(x, int(p*float64(len(x)-1)))
}
