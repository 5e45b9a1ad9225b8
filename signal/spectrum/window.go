package spectrum

import "math"

// Window weighs the samples of a block before the transform. All are the
// periodic form, with 2πn/N, as a transform wants it.
type Window int

const (
	// Hann for most work: main lobe of four bins.
	Hann Window = iota
	// BlackmanHarris, four terms, keeps side lobes below -92 dB: a small line
	// beside a large one.
	BlackmanHarris
	// FlatTop, five terms, reads an amplitude within 0.01 dB wherever it lies
	// between bins.
	FlatTop
	// Rectangle does not weigh.
	Rectangle
)

func (w Window) String() string {
	switch w {
	case Hann:
		return "Hann"
	case BlackmanHarris:
		return "Blackman-Harris"
	case FlatTop:
		return "flat top"
	}
	return "rectangle"
}

// terms are the cosine coefficients, with alternating signs (Harris, "On the
// use of windows for harmonic analysis", Proc. IEEE 66, 1978, for the first
// two; flat top as in common signal software).
func (w Window) terms() []float64 {
	switch w {
	case Hann:
		return []float64{0.5, 0.5}
	case BlackmanHarris:
		return []float64{0.35875, 0.48829, 0.14128, 0.01168}
	case FlatTop:
		return []float64{0.21557895, 0.41663158, 0.277263158, 0.083578947, 0.006947368}
	}
	return []float64{1}
}

// Fill writes the window over w's length.
func (w Window) Fill(dst []float64) {
	terms := w.terms()
	for n := range dst {
		var sum float64
		sign := 1.0
		for k, a := range terms {
			sum += sign * a * math.Cos(2*math.Pi*float64(k)*float64(n)/float64(len(dst)))
			sign = -sign
		}
		dst[n] = sum
	}
}

// Gain is the coherent gain: the mean of the window.
func (w Window) Gain() float64 { return w.terms()[0] }

// ENBW is the equivalent noise bandwidth in bins, N·Σw²/(Σw)²: 1.5 for Hann.
func (w Window) ENBW() float64 {
	t := w.terms()
	sum := t[0] * t[0]
	for _, a := range t[1:] {
		sum += a * a / 2
	}
	return sum / (t[0] * t[0])
}

// HalfLobe is half the width of the main lobe, in bins.
func (w Window) HalfLobe() int { return len(w.terms()) }

// ScallopingLoss is how much of a line midway between bins is lost, in dB.
func (w Window) ScallopingLoss() float64 {
	// The transform of a0 + Σ ak·cos(2πkm/N), m from the middle, half a bin
	// off: a0·sinc(b) + Σ ak/2·(sinc(b-k) + sinc(b+k)) at b = 1/2.
	const b = 0.5
	terms := w.terms()
	sum := terms[0] / b
	sign := -1.0
	for k, a := range terms[1:] {
		f := float64(k + 1)
		sum += sign * a / 2 * (1/(b-f) + 1/(b+f))
		sign = -sign
	}
	return -20 * math.Log10(sum/(math.Pi*terms[0]))
}
