package spectrum

import (
	"cmp"
	"math"
	"slices"
)

// Line is a periodic part of a signal.
type Line struct {
	// Frequency_Hz as it appears; above half the sampling rate it was folded,
	// see Resolve.
	Frequency_Hz float64
	// U_Hz is its standard uncertainty: the Cramér-Rao bound at the noise
	// round the line, √3/π·√(density/A²T³). A line whose frequency moves
	// within the block is not known that well.
	U_Hz float64
	// Amplitude is the peak value, in the unit of the samples.
	Amplitude float64
	// SNR_dB is the line's power over the mean noise power of one bin.
	SNR_dB float64
}

// Options for Lines; the zero value is ready.
type Options struct {
	// MinSNR_dB is the least power over the noise of a bin; 0 means 14 dB,
	// which white noise passes less than once in 500 blocks of 10,000 samples.
	MinSNR_dB float64
	// Lo_Hz and Hi_Hz limit the search; 0 means two periods in the block and
	// half the rate.
	Lo_Hz, Hi_Hz float64
	// Most is the largest number of lines; 0 means 16.
	Most int
}

const (
	defaultSNR_dB = 14
	defaultMost   = 16
	// neighbours is how far to each side the noise round a line is looked at,
	// in bins.
	neighbours = 40
)

// Lines finds the lines in x, sampled evenly at rate_Hz, strongest first.
// Candidates are peaks of a Blackman-Harris spectrum that stand out of the
// median of their neighbours; their frequency and amplitude are then refined
// by four-parameter sine fits, each to what the others leave. Errors as
// Analyzer.Spectrum.
func Lines(x []float64, rate_Hz float64, opts Options) ([]Line, error) {
	a := Analyzer{Window: BlackmanHarris}
	return a.Lines(x, rate_Hz, opts)
}

// Lines is the function Lines with the analyzer's own window and buffers.
// With a window other than BlackmanHarris side lobes of a strong line may
// pass as lines.
func (a *Analyzer) Lines(x []float64, rate_Hz float64, opts Options) ([]Line, error) {
	s, err := a.Spectrum(x, rate_Hz)
	if err != nil {
		return nil, err
	}
	lines := a.candidates(s, opts)
	refine(x, rate_Hz, s, lines)
	slices.SortFunc(lines, func(p, q Line) int { return cmp.Compare(q.Amplitude, p.Amplitude) })
	return lines, nil
}

// candidates are the peaks that stand out, interpolated.
func (a *Analyzer) candidates(s Spectrum, opts Options) []Line {
	if opts.MinSNR_dB == 0 {
		opts.MinSNR_dB = defaultSNR_dB
	}
	if opts.Most == 0 {
		opts.Most = defaultMost
	}
	if opts.Hi_Hz == 0 {
		opts.Hi_Hz = s.Rate_Hz / 2
	}
	lo := max(2, int(math.Ceil(opts.Lo_Hz/s.Step_Hz)))
	hi := min(len(s.Amplitude)-2, int(opts.Hi_Hz/s.Step_Hz))
	least := math.Pow(10, opts.MinSNR_dB/20)
	var peaks []int
	// A rough floor every few bins sorts out most peaks.
	rough, until := 0.0, -1
	for k := lo; k <= hi; k++ {
		if k > until {
			rough = a.floor(s, k, -1)
			until = k + neighbours/4
		}
		if v := s.Amplitude[k]; v > s.Amplitude[k-1] && v >= s.Amplitude[k+1] && v > rough {
			peaks = append(peaks, k)
		}
	}
	slices.SortFunc(peaks, func(p, q int) int { return cmp.Compare(s.Amplitude[q], s.Amplitude[p]) })
	var lines []Line
	// Rounding leaves this much: less is no line.
	tiny := 1e-13 * (math.Abs(s.Mean) + math.Abs(s.Slope)*float64(s.N)/s.Rate_Hz)
	for _, k := range peaks {
		if len(lines) == opts.Most {
			break
		}
		half := float64(s.Window.HalfLobe())
		near := slices.ContainsFunc(lines, func(l Line) bool {
			return math.Abs(l.Frequency_Hz/s.Step_Hz-float64(k)) < half
		})
		floor := a.floor(s, k, s.Window.HalfLobe())
		f, amp := s.Peak(k)
		if near || amp <= tiny || amp < least*floor {
			continue
		}
		l := Line{Frequency_Hz: f, Amplitude: amp}
		l.judge(floor, s)
		lines = append(lines, l)
	}
	return lines
}

// judge fills in what follows from the noise round the line.
func (l *Line) judge(floor float64, s Spectrum) {
	l.SNR_dB = min(300, 20*math.Log10(l.Amplitude/max(floor, math.SmallestNonzeroFloat64)))
	density := floor * floor / 2 / (s.Window.ENBW() * s.Step_Hz)
	t := float64(s.N) / s.Rate_Hz
	l.U_Hz = math.Sqrt(3*density/(t*t*t)) / (math.Pi * l.Amplitude)
	// No better than the arithmetic.
	l.U_Hz = max(l.U_Hz, 1e-12*l.Frequency_Hz)
}

// floor is the root mean square amplitude of the noise bins round bin k, from
// their median (the power of noise in a bin is exponential: its median is
// ln 2 of its mean). Bins nearer than clear are left out.
func (a *Analyzer) floor(s Spectrum, k, clear int) float64 {
	round := a.sorted[:0]
	for i := max(2, k-neighbours); i <= min(len(s.Amplitude)-2, k+neighbours); i++ {
		if d := i - k; d >= clear || -d >= clear {
			round = append(round, s.Amplitude[i])
		}
	}
	if len(round) == 0 {
		return 0
	}
	slices.Sort(round)
	return round[len(round)/2] / math.Sqrt(math.Ln2)
}

// Peak interpolates the peak at bin k by a parabola through the logarithms of
// three bins: within 0.02 bins with Hann, 0.005 with Blackman-Harris, for one
// line far from others.
func (s Spectrum) Peak(k int) (f_Hz, amplitude float64) {
	if k < 1 || k > len(s.Amplitude)-2 || s.Amplitude[k-1] == 0 || s.Amplitude[k+1] == 0 {
		return float64(k) * s.Step_Hz, s.Amplitude[k]
	}
	l, m, r := math.Log(s.Amplitude[k-1]), math.Log(s.Amplitude[k]), math.Log(s.Amplitude[k+1])
	bend := l - 2*m + r
	if !(bend < 0) {
		return float64(k) * s.Step_Hz, s.Amplitude[k]
	}
	d := (l - r) / (2 * bend)
	return (float64(k) + d) * s.Step_Hz, math.Exp(m - (l-r)*d/4)
}

// refine fits each line to the samples less the other lines and the straight
// line that is left without any of them, a step each in turn until they stand
// still: few periods look like a trend, and a trend like a line. A line whose
// fit runs off keeps its interpolated values.
func refine(x []float64, rate_Hz float64, s Spectrum, lines []Line) {
	if len(lines) == 0 {
		return
	}
	rest := slices.Clone(x)
	Detrend(rest, rate_Hz)
	fits := make([]Sine, len(lines))
	const rounds = 12
	for range rounds {
		var moved float64
		for i, l := range lines {
			addSine(rest, rate_Hz, fits[i], 1)
			f, ok := fits[i], true
			var err error
			if f == (Sine{}) {
				f, _, err = sineStep(rest, rate_Hz, Sine{Frequency_Hz: l.Frequency_Hz}, false)
				ok = err == nil
			}
			if ok {
				f, _, err = sineStep(rest, rate_Hz, f, true)
				ok = err == nil && math.Abs(f.Frequency_Hz-l.Frequency_Hz) < s.Step_Hz && f.Frequency_Hz > 0 && f.Frequency_Hz < rate_Hz/2
			}
			if ok {
				f.C = 0
				moved = max(moved, math.Hypot(f.A-fits[i].A, f.B-fits[i].B)/f.Amplitude())
				fits[i] = f
			}
			addSine(rest, rate_Hz, fits[i], -1)
		}
		if moved < 1e-4 {
			break
		}
		Detrend(rest, rate_Hz)
	}
	for i, f := range fits {
		if f == (Sine{}) {
			continue
		}
		l := &lines[i]
		floor := l.Amplitude * math.Pow(10, -l.SNR_dB/20)
		l.Frequency_Hz, l.Amplitude = f.Frequency_Hz, f.Amplitude()
		l.judge(floor, s)
	}
}

func addSine(x []float64, rate_Hz float64, s Sine, sign float64) {
	if s == (Sine{}) {
		return
	}
	w := 2 * math.Pi * s.Frequency_Hz / rate_Hz
	a, b := sign*s.A, sign*s.B
	var turn rotation
	for n := range x {
		sin, cos := turn.at(n, w)
		x[n] += a*cos + b*sin
	}
}
