package spectrum

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Analyzer makes spectra. It keeps its plans and buffers: after the first call
// of a length it allocates nothing, for as many as 32 lengths. It is not for several goroutines at once.
// The zero value is ready, with a Hann window.
type Analyzer struct {
	Window Window

	plans  []plan // one a length and window
	work   []float64
	coeff  []complex128
	amp    []float64
	sorted []float64
}

// plan is what a transform of one length and window needs.
type plan struct {
	fft    *fourier.FFT
	window Window
	weight []float64
}

// maxPlans is how many lengths an analyzer remembers: as many as a sweep up
// and down has plateaus.
const maxPlans = 32

// Spectrum is the one-sided amplitude spectrum of a block: Amplitude[k]
// belongs to k·Step_Hz, from 0 to half the rate. It is the analyzer's own
// buffer, good until its next call.
type Spectrum struct {
	Amplitude []float64
	// Step_Hz is the distance of bins, Rate_Hz the sampling rate.
	Step_Hz, Rate_Hz float64
	// N is the number of samples.
	N int
	// Mean and Slope (per second) of the line that was taken off.
	Mean, Slope float64
	Window      Window
}

// minSamples is the shortest block worth a spectrum.
const minSamples = 8

// Spectrum transforms x, sampled evenly at rate_Hz, less its straight line;
// x is not touched. An error below 8 samples, for a value that is not finite,
// or a rate that is not above 0.
func (a *Analyzer) Spectrum(x []float64, rate_Hz float64) (Spectrum, error) {
	n := len(x)
	if n < minSamples {
		return Spectrum{}, fmt.Errorf("spectrum: %d samples are too few, 8 are the least; record longer", n)
	}
	if !(rate_Hz > 0) || !finite(rate_Hz) {
		return Spectrum{}, fmt.Errorf("spectrum: a sampling rate of %g Hz is none; give one above 0", rate_Hz)
	}
	for i, v := range x {
		if !finite(v) {
			return Spectrum{}, fmt.Errorf("spectrum: sample %d is not a finite number; use Even first", i)
		}
	}
	p := a.prepare(n)
	copy(a.work, x)
	mean, slope := Detrend(a.work, rate_Hz)
	for i := range a.work {
		a.work[i] *= p.weight[i]
	}
	a.coeff = p.fft.Coefficients(a.coeff, a.work)
	scale := 2 / (float64(n) * a.Window.Gain())
	for k, c := range a.coeff {
		a.amp[k] = scale * math.Hypot(real(c), imag(c))
	}
	a.amp[0] /= 2
	if n%2 == 0 {
		a.amp[n/2] /= 2
	}
	return Spectrum{Amplitude: a.amp, Step_Hz: rate_Hz / float64(n), Rate_Hz: rate_Hz, N: n, Mean: mean, Slope: slope, Window: a.Window}, nil
}

// prepare finds or makes the plan for n samples, and makes room for them.
func (a *Analyzer) prepare(n int) plan {
	a.work = slices.Grow(a.work[:0], n)[:n]
	a.coeff = slices.Grow(a.coeff[:0], n/2+1)[:n/2+1]
	a.amp, a.sorted = slices.Grow(a.amp[:0], n/2+1)[:n/2+1], slices.Grow(a.sorted[:0], n/2+1)[:n/2+1]
	for i, p := range a.plans {
		if len(p.weight) == n && p.window == a.Window {
			copy(a.plans[1:], a.plans[:i]) // the last used first
			a.plans[0] = p
			return p
		}
	}
	p := plan{fourier.NewFFT(n), a.Window, make([]float64, n)}
	a.Window.Fill(p.weight)
	if len(a.plans) < maxPlans {
		a.plans = append(a.plans, plan{})
	}
	copy(a.plans[1:], a.plans)
	a.plans[0] = p
	return p
}

// Density is the one-sided power density at bin k, in the unit of x squared
// per Hz: summed over the bins times Step_Hz it is the variance.
func (s Spectrum) Density(k int) float64 {
	a := s.Amplitude[k]
	p := a * a / 2
	if k == 0 || s.N%2 == 0 && k == s.N/2 {
		p = a * a
	}
	return p / (s.Window.ENBW() * s.Step_Hz)
}

// BandRMS is the root mean square of what lies from lo to hi in Hz, both
// included, ends above half the rate cut off. A band narrower than a bin
// takes the bin that it lies in.
func (s Spectrum) BandRMS(lo_Hz, hi_Hz float64) float64 {
	from, to := s.bins(lo_Hz, hi_Hz)
	var sum float64
	for k := from; k <= to; k++ {
		sum += s.Density(k) * s.Step_Hz
	}
	return math.Sqrt(sum)
}

// bins are the first and last bin of a band; to < from when it holds none.
func (s Spectrum) bins(lo_Hz, hi_Hz float64) (from, to int) {
	top := len(s.Amplitude) - 1
	if !(lo_Hz <= hi_Hz) || hi_Hz < 0 || lo_Hz > s.Rate_Hz/2 {
		return 0, -1
	}
	from = int(math.Ceil(max(0, lo_Hz/s.Step_Hz-1e-9)))
	to = int(math.Floor(min(float64(top), hi_Hz/s.Step_Hz+1e-9)))
	if from > to {
		from = min(top, int(math.Round(max(0, (lo_Hz+hi_Hz)/2/s.Step_Hz))))
		to = from
	}
	return from, to
}

// Flatness of a band is the geometric over the arithmetic mean of its power:
// 0.56 (e^-γ) for white noise, near 0 when one line holds most of it. NaN for
// a band with fewer than 3 bins.
func (s Spectrum) Flatness(lo_Hz, hi_Hz float64) float64 {
	from, to := s.bins(lo_Hz, hi_Hz)
	if to-from < 2 {
		return math.NaN()
	}
	var sum, logs float64
	for k := from; k <= to; k++ {
		d := s.Density(k)
		sum += d
		logs += math.Log(max(d, math.SmallestNonzeroFloat64))
	}
	if sum == 0 {
		return math.NaN()
	}
	n := float64(to - from + 1)
	return math.Exp(logs/n) / (sum / n)
}

// Peakiness of a band is the share of its power, 0 to 1, that lies in the
// main lobe round its highest bin: near 1 for a periodic modulation, small
// for broadband unrest over many bins. NaN when the band is not at least
// three lobes wide or is empty.
func (s Spectrum) Peakiness(lo_Hz, hi_Hz float64) float64 {
	from, to := s.bins(lo_Hz, hi_Hz)
	half := s.Window.HalfLobe()
	if to-from+1 < 3*(2*half-1) {
		return math.NaN()
	}
	top := from
	var sum float64
	for k := from; k <= to; k++ {
		sum += s.Density(k)
		if s.Amplitude[k] > s.Amplitude[top] {
			top = k
		}
	}
	var peak float64
	for k := max(from, top-half+1); k <= min(to, top+half-1); k++ {
		peak += s.Density(k)
	}
	if sum == 0 {
		return math.NaN()
	}
	return peak / sum
}
