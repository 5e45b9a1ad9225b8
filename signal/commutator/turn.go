package commutator

import (
	"fmt"
	"math"
	"math/cmplx"

	"dutybench/signal/stat"
)

// Turn is the current over one turn of the shaft, the mean over many of them,
// with the ripple as the encoder. Where it begins is not known.
type Turn struct {
	Current []float64 // at even angles
	U       float64   // standard uncertainty of one of them
	Turns   float64   // that went into it
	// Ripples is the amplitude of each of the turn's ripples, in order.
	Ripples []float64
	RippleU float64 // standard uncertainty of each
	PerTurn int
	// Rest is the standard deviation of what is left of the samples without the
	// mean turn.
	Rest float64

	orders []complex128
	mean   float64
}

// anglesPerRipple is how finely a turn is kept: enough for the third harmonic of
// the ripple, few enough that every angle holds some samples of each block.
const anglesPerRipple = 8

// leastTurns that make a mean.
const leastTurns = 5

// Average is the mean turn of a block whose reading Speed gave.
func Average(x []float64, rate_Hz float64, perTurn int, r Reading) (Turn, error) {
	n := len(x)
	seconds := float64(n) / rate_Hz
	turns := r.Ripple_Hz * seconds / float64(max(perTurn, 1))
	if perTurn < 1 || !(turns >= leastTurns) || !(r.Ripple_Hz < rate_Hz/2) {
		return Turn{}, fmt.Errorf("%w: they hold %.3g turns, and a mean turn takes %d: record longer", ErrSamples, turns, leastTurns)
	}
	t := Turn{PerTurn: perTurn, Turns: turns, Current: make([]float64, perTurn*anglesPerRipple)}
	phase := ripplePhase(x, rate_Hz, perTurn, r)
	m := len(t.Current)
	count := make([]float64, m)
	for i, v := range x {
		a := phase[i] / (2 * math.Pi * float64(perTurn))
		k := int((a - math.Floor(a)) * float64(m))
		k = min(k, m-1)
		t.Current[k] += v
		count[k]++
	}
	least := math.Inf(1)
	for k := range t.Current {
		if count[k] < 2 {
			return Turn{}, fmt.Errorf("%w: they leave parts of the turn without any: record longer or at a speed that sampling does not divide", ErrSamples)
		}
		t.Current[k] /= count[k]
		least = min(least, count[k])
		t.mean += t.Current[k] / float64(m)
	}
	var rest float64
	for i, v := range x {
		d := v - t.at(phase[i]/(2*math.Pi*float64(perTurn)))
		rest += d * d
	}
	t.Rest = math.Sqrt(rest / float64(n))
	t.U = t.Rest / math.Sqrt(least)
	t.transform()
	t.ripples()
	return t, nil
}

// at is the mean current at an angle in turns, straight between the middles of two.
func (t *Turn) at(turns float64) float64 {
	m := len(t.Current)
	a := (turns-math.Floor(turns))*float64(m) - 0.5
	k := int(math.Floor(a))
	part := a - float64(k)
	return t.Current[(k+m)%m]*(1-part) + t.Current[(k+1)%m]*part
}

// ripplePhase is the phase of the ripple at each sample: that of the reading's
// frequency and drift, and what a mean over one turn of the demodulated current
// says beside it. Whatever repeats once a turn is gone from such a mean.
func ripplePhase(x []float64, rate_Hz float64, perTurn int, r Reading) []float64 {
	n := len(x)
	seconds := float64(n) / rate_Hz
	phase, z := make([]float64, n), make([]complex128, n)
	var mean float64
	for _, v := range x {
		mean += v / float64(n)
	}
	for i := range x {
		s := (float64(i) + 0.5) / rate_Hz
		mid := s/seconds - 0.5
		phase[i] = 2 * math.Pi * r.Ripple_Hz * seconds * (mid + r.Drift*(mid*mid-0.25)/2)
		z[i] = complex(x[i]-mean, 0) * cmplx.Rect(1, -phase[i])
	}
	half := max(1, int(rate_Hz*float64(perTurn)/r.Ripple_Hz/2))
	z = runningMean(runningMean(z, half), half)
	last, turn := 0.0, 0.0
	for i := range z {
		a := cmplx.Phase(z[i])
		if i > 0 {
			d := a - last
			turn -= 2 * math.Pi * math.Round(d/(2*math.Pi))
		}
		last = a
		phase[i] += a + turn
	}
	return phase
}

func runningMean(z []complex128, half int) []complex128 {
	out, sum := make([]complex128, len(z)), complex128(0)
	lo, hi := 0, 0
	for i := range z {
		for hi < min(len(z), i+half) {
			sum += z[hi]
			hi++
		}
		for lo < i-half {
			sum -= z[lo]
			lo++
		}
		out[i] = sum / complex(float64(hi-lo), 0)
	}
	return out
}

// transform finds the orders of the turn, up to the third harmonic of the ripple.
func (t *Turn) transform() {
	m := len(t.Current)
	t.orders = make([]complex128, min(m/2, 3*t.PerTurn)+1)
	for o := range t.orders {
		for k, v := range t.Current {
			t.orders[o] += complex(v*2/float64(m), 0) * cmplx.Rect(1, -2*math.Pi*float64(o*k%m)/float64(m))
		}
	}
}

// ripples finds the amplitude of each ripple, over itself and half of its
// neighbours on either side (Hann), the mean there taken off.
func (t *Turn) ripples() {
	m := len(t.Current)
	const a = anglesPerRipple
	var power float64
	for i := -a; i < a; i++ {
		w := hann(i)
		power += w * w
	}
	for j := range t.PerTurn {
		mid := j * a // a ripple's top: its phase is nought there
		var z, ref complex128
		var mean, sum float64
		for i := -a; i < a; i++ {
			mean, sum = mean+hann(i)*t.Current[(mid+i+m)%m], sum+hann(i)
		}
		for i := -a; i < a; i++ {
			turn := cmplx.Rect(1, -2*math.Pi*(float64(i)+0.5)/a)
			z += complex(hann(i)*(t.Current[(mid+i+m)%m]-mean/sum), 0) * turn
			ref += complex(hann(i), 0)
		}
		t.Ripples = append(t.Ripples, 2*cmplx.Abs(z)/real(ref))
	}
	var sum float64
	for i := -a; i < a; i++ {
		sum += hann(i)
	}
	t.RippleU = t.U * math.Sqrt(2*power) / sum
}

func hann(i int) float64 {
	return 0.5 * (1 + math.Cos(math.Pi*(float64(i)+0.5)/anglesPerRipple))
}

// Order is the amplitude, as a peak value, of what comes so many times a turn, and
// its standard uncertainty; NaN where the turn does not resolve it.
func (t Turn) Order(n int) (amplitude, u float64) {
	if n < 1 || n >= len(t.orders) {
		return math.NaN(), math.NaN()
	}
	return cmplx.Abs(t.orders[n]), t.U * math.Sqrt(2/float64(len(t.Current)))
}

// Mean current over the turn.
func (t Turn) Mean() float64 { return t.mean }

// Missing is how many ripples have less than a part of the median one's
// amplitude.
func (t Turn) Missing(part float64) (n int) {
	mid := median(t.Ripples)
	for _, r := range t.Ripples {
		if r < part*mid {
			n++
		}
	}
	return n
}

// Unevenness is the greatest less the least ripple over their median, and its
// standard uncertainty.
func (t Turn) Unevenness() (share, u float64) {
	lo, hi, mid := math.Inf(1), 0.0, median(t.Ripples)
	for _, r := range t.Ripples {
		lo, hi = min(lo, r), max(hi, r)
	}
	if !(mid > 0) {
		return math.NaN(), math.NaN()
	}
	return (hi - lo) / mid, math.Sqrt2 * t.RippleU / mid
}

func median(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	return stat.Median(x)
}
