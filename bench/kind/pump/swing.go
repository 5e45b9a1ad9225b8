package pump

import (
	"math"
	"sync"

	"dutybench/bench/kind"
	"dutybench/signal/spectrum"
	"dutybench/signal/stat"
	"dutybench/signal/step"
	"dutybench/signal/trace"
)

// Where rotation and unrest of a pump lie. Shaft speeds of pumps of this kind
// run from about 600 to 9,000 revolutions a minute: 10 to 150 Hz once a turn
// (common practice, no source); a slow sweep may go lower. Unrest from
// bubbles and an unsteady loop is slower than a turn.
const (
	turnLow_Hz  = 4.0
	turnHigh_Hz = 160.0
	calmLow_Hz  = 0.7
	calmHigh_Hz = 30.0
	swingPoints = 2048 // longest stretch looked at, after thinning
)

// analyzers keep their plans from trace to trace; Hann.
var analyzers = sync.Pool{New: func() any { return new(spectrum.Analyzer) }}

// measureSwing reads drop-outs, lines at shaft speed and unrest from the
// plateaus of a unit that runs.
func (d *detail) measureSwing(tr *trace.Trace, m *kind.Measured) {
	if !d.start.Ran {
		for _, n := range []string{DropOuts, Rotation, Unrest} {
			miss(m, n, ruleFor(n).Unit, "the unit did not run")
		}
		return
	}
	rest := d.rest()
	an := analyzers.Get().(*spectrum.Analyzer)
	defer analyzers.Put(an)
	var lines, unrests []float64
	drops := 0
	d.gaps = make([]int, len(d.plateaus))
	for i, p := range d.plateaus {
		n := d.dropOuts(tr, p, rest)
		d.gaps[i] = n
		drops += n
		// Low duties are left out: there the current is small against
		// noise, and a share of it says little.
		if n == 0 && p.Median_A-rest > 0.1*(d.highest-rest) {
			if line, unrest, ok := swing(an, tr, p, rest); ok {
				lines, unrests = append(lines, 100*line), append(unrests, 100*unrest)
			}
		}
	}
	add(m, DropOuts, "", stat.Exact(float64(drops)))
	if len(lines) < 2 {
		why := "the sampling is too slow, or the plateaus too short, for anything at shaft speed"
		miss(m, Rotation, "%", why)
		miss(m, Unrest, "%", why)
		return
	}
	// The median over the plateaus: a line that is there at one speed only
	// (an aliased ripple crossing the band) does not count.
	add(m, Rotation, "%", middle(lines))
	add(m, Unrest, "%", middle(unrests))
}

func middle(x []float64) stat.Quantity {
	return stat.Quantity{Value: stat.Median(x)}.With("scatter over plateaus", 1.2533*stat.RobustSD(x)/math.Sqrt(float64(len(x))), float64(len(x)-1))
}

// rest is the level that a unit which does not turn draws.
func (d *detail) rest() float64 {
	switch {
	case !math.IsNaN(d.quiet):
		return d.quiet
	case !math.IsNaN(d.start.Rest_A):
		return d.start.Rest_A
	}
	return 0
}

// dropOuts counts the gaps in a step: the current falls below three tenths of
// what the step draws for at least 3 ms, and comes back or not. The first
// fifth of the step is left out: a rotor that slows down after a step of
// duty may draw nothing for a while.
func (d *detail) dropOuts(tr *trace.Trace, p step.Plateau, rest float64) (n int) {
	const share, shortest_s, deaf = 0.3, 0.003, 0.2
	t, x := tr.Time(), tr.Current()
	from := p.From + int(deaf*float64(p.To-p.From))
	level := stat.Median(x[from:p.To])
	noise := max(d.noise, p.SD_A/10)
	if level-rest < 10*noise {
		return 0
	}
	gone := rest + share*(level-rest)
	low, since, last := false, 0.0, math.Inf(-1)
	for i := from; i < p.To; i++ {
		if x[i] < gone {
			if !low {
				low, since = true, t[i]
			}
			continue
		}
		if low && t[i]-since >= shortest_s {
			if since-last > 0.05 { // two gaps closer than this are one
				n++
			}
			last = t[i]
		}
		low = false
	}
	if end := t[p.To-1]; low && end-since >= shortest_s {
		n++
	}
	return n
}

// swing is the amplitude of the strongest line between turnLow and turnHigh,
// and the rms between calmLow and calmHigh with that line left out, both as a
// share of the running current. It looks at the last part of a plateau, thinned
// to a few times turnHigh by means of blocks, which lowers faster ripple to
// about a tenth before it folds in. ok is false when the sampling or the length
// does not carry it.
func swing(an *spectrum.Analyzer, tr *trace.Trace, p step.Plateau, rest float64) (line, unrest float64, ok bool) {
	t, x := tr.Time()[p.Start:p.End], tr.Current()[p.Start:p.End]
	run := p.Median_A - rest
	if len(x) < 128 || t[len(t)-1] <= t[0] || run <= 0 {
		return 0, 0, false
	}
	rate := float64(len(x)-1) / (t[len(t)-1] - t[0])
	if rate < 100 {
		return 0, 0, false
	}
	thin := max(1, int(rate/(3*turnHigh_Hz)))
	n := min(len(x)/thin, swingPoints)
	x = x[len(x)-n*thin:]
	y := room()
	defer func() { giveBack(y) }()
	for i := range n {
		y = append(y, stat.Mean(x[i*thin:(i+1)*thin]))
	}
	s, err := an.Spectrum(y, rate/float64(thin))
	lo, hi := max(2, int(turnLow_Hz/s.Step_Hz)), min(len(s.Amplitude)-2, int(turnHigh_Hz/s.Step_Hz))
	if err != nil || hi-lo < 16 {
		return 0, 0, false
	}
	at := lo
	for i := lo; i <= hi; i++ {
		if s.Amplitude[i] > s.Amplitude[at] {
			at = i
		}
	}
	power := square(s.BandRMS(calmLow_Hz, calmHigh_Hz))
	// Noise alone gives a highest bin of some three times the median; four
	// times, 12 dB, is a line, which belongs to rotation and not to unrest.
	if s.Amplitude[at] > 4*stat.Median(s.Amplitude[lo:hi]) {
		from, to := max(calmLow_Hz, float64(at-2)*s.Step_Hz), min(calmHigh_Hz, float64(at+2)*s.Step_Hz)
		if from < to {
			power -= square(s.BandRMS(from, to))
		}
	}
	// Good units on the same bench show the highest bin of the noise too, so
	// nothing is taken off the line.
	return s.Amplitude[at] / run, math.Sqrt(max(0, power)) / run, true
}

func square(x float64) float64 { return x * x }
