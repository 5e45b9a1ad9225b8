package spectrum

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// ErrNoSine means that a sine fit did not settle on a frequency.
var ErrNoSine = errors.New("spectrum: no sine of that frequency could be fitted; start nearer, or record more of its periods")

// Sine is A·cos(2πft) + B·sin(2πft) + C, t from the first sample.
type Sine struct {
	Frequency_Hz float64
	A, B, C      float64
	// ResidualSD is the scatter left, with the fitted parameters taken off.
	ResidualSD float64
	// U_Hz is the standard uncertainty of a fitted frequency if the residuals
	// are white noise; 0 when the frequency was given.
	U_Hz float64
}

// Amplitude is the peak value.
func (s Sine) Amplitude() float64 { return math.Hypot(s.A, s.B) }

// Phase in radians, of Amplitude·cos(2πft + Phase).
func (s Sine) Phase() float64 { return math.Atan2(-s.B, s.A) }

// At is the model at t in seconds.
func (s Sine) At(t float64) float64 {
	sin, cos := math.Sincos(2 * math.Pi * s.Frequency_Hz * t)
	return s.A*cos + s.B*sin + s.C
}

// FitSine3 fits a sine of known frequency to x, sampled evenly at rate_Hz, by
// linear least squares (IEEE 1057, three-parameter fit). Four samples at
// least.
func FitSine3(x []float64, rate_Hz, f_Hz float64) (Sine, error) {
	if err := checkSine(x, rate_Hz, f_Hz, 4); err != nil {
		return Sine{}, err
	}
	s, _, err := sineStep(x, rate_Hz, Sine{Frequency_Hz: f_Hz}, false)
	if err != nil {
		return Sine{}, err
	}
	s.ResidualSD = s.scatter(x, rate_Hz, 3)
	return s, nil
}

// FitSine4 fits the frequency too, from a start within about half a bin
// (rate over number of samples) of it (IEEE 1057, four-parameter fit). Five
// samples at least. ErrNoSine when it runs off or does not settle.
func FitSine4(x []float64, rate_Hz, start_Hz float64) (Sine, error) {
	if err := checkSine(x, rate_Hz, start_Hz, 5); err != nil {
		return Sine{}, err
	}
	s, _, err := sineStep(x, rate_Hz, Sine{Frequency_Hz: start_Hz}, false)
	if err != nil {
		return Sine{}, err
	}
	bin := rate_Hz / float64(len(x))
	for range 50 {
		var next Sine
		var variance float64
		next, variance, err = sineStep(x, rate_Hz, s, true)
		if err != nil {
			return Sine{}, err
		}
		moved := math.Abs(next.Frequency_Hz - s.Frequency_Hz)
		s = next
		if !(math.Abs(s.Frequency_Hz-start_Hz) < 2*bin) || s.Frequency_Hz <= 0 || s.Frequency_Hz >= rate_Hz/2 {
			return Sine{}, ErrNoSine
		}
		if moved < 1e-12*s.Frequency_Hz+1e-9*bin {
			s.ResidualSD = s.scatter(x, rate_Hz, 4)
			s.U_Hz = s.ResidualSD * math.Sqrt(variance) / (2 * math.Pi)
			return s, nil
		}
	}
	return Sine{}, ErrNoSine
}

func checkSine(x []float64, rate_Hz, f_Hz float64, least int) error {
	if len(x) < least {
		return fmt.Errorf("spectrum: a sine fit needs %d samples or more, got %d; record longer", least, len(x))
	}
	if !(rate_Hz > 0) || !finite(rate_Hz) || !(f_Hz > 0 && f_Hz < rate_Hz/2) {
		return fmt.Errorf("spectrum: %g Hz is not between 0 and half the rate of %g Hz; sample faster", f_Hz, rate_Hz)
	}
	for i, v := range x {
		if !finite(v) {
			return fmt.Errorf("spectrum: sample %d is not a finite number; use Even first", i)
		}
	}
	return nil
}

// sineStep solves the normal equations once: columns cos, sin, 1 and, with
// free frequency, t·(-A·sin + B·cos) for the change of 2πf. variance is that
// of 2πf for residuals of variance 1.
func sineStep(x []float64, rate_Hz float64, at Sine, free bool) (next Sine, variance float64, err error) {
	p := 3
	if free {
		p = 4
	}
	var sums [4][4]float64
	var right [4]float64
	w := 2 * math.Pi * at.Frequency_Hz / rate_Hz
	// Times are scaled by the length, so that the columns are of like size.
	length := float64(len(x)) / rate_Hz
	size := max(at.Amplitude(), math.SmallestNonzeroFloat64)
	var turn rotation
	for n, v := range x {
		sin, cos := turn.at(n, w)
		row := [4]float64{cos, sin, 1, float64(n) / float64(len(x)) * (at.B*cos - at.A*sin) / size}
		for i := range p {
			for j := i; j < p; j++ {
				sums[i][j] += row[i] * row[j]
			}
			right[i] += row[i] * v
		}
	}
	normal := mat.NewSymDense(p, nil)
	for i := range p {
		for j := i; j < p; j++ {
			normal.SetSym(i, j, sums[i][j])
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(normal) {
		return Sine{}, 0, ErrNoSine
	}
	var b mat.VecDense
	if err := chol.SolveVecTo(&b, mat.NewVecDense(p, right[:p])); err != nil {
		return Sine{}, 0, fmt.Errorf("%w: %w", ErrNoSine, err)
	}
	next = Sine{Frequency_Hz: at.Frequency_Hz, A: b.AtVec(0), B: b.AtVec(1), C: b.AtVec(2)}
	if free {
		next.Frequency_Hz += b.AtVec(3) / (size * length) / (2 * math.Pi)
		var inverse mat.SymDense
		if err := chol.InverseTo(&inverse); err != nil {
			return Sine{}, 0, fmt.Errorf("%w: %w", ErrNoSine, err)
		}
		variance = inverse.At(3, 3) / (size * size * length * length)
	}
	return next, variance, nil
}

// rotation gives sin and cos of w·n for n = 0, 1, 2, … by turning the last
// pair, set right every 64 samples so that rounding does not add up.
type rotation struct{ sin, cos, stepSin, stepCos float64 }

func (r *rotation) at(n int, w float64) (sin, cos float64) {
	if n%64 == 0 {
		r.stepSin, r.stepCos = math.Sincos(w)
		r.sin, r.cos = math.Sincos(w * float64(n))
	} else {
		r.sin, r.cos = r.sin*r.stepCos+r.cos*r.stepSin, r.cos*r.stepCos-r.sin*r.stepSin
	}
	return r.sin, r.cos
}

func (s Sine) scatter(x []float64, rate_Hz float64, parameters int) float64 {
	var sum float64
	w := 2 * math.Pi * s.Frequency_Hz / rate_Hz
	var turn rotation
	for n, v := range x {
		sin, cos := turn.at(n, w)
		d := v - (s.A*cos + s.B*sin + s.C)
		sum += d * d
	}
	return math.Sqrt(sum / float64(len(x)-parameters))
}
