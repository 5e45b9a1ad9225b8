package pump

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"

	"dutybench/bench/kind"
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

// swing is what moves in a plateau's current, as a share of the running
// current.
type swing struct {
	line_Hz   float64
	line      float64 // amplitude of the strongest line between turnLow and turnHigh
	lineClear bool    // it stands at least 12 dB over the median of its neighbourhood
	unrest    float64 // rms between calmLow and calmHigh, strongest line left out
}

// measureSwing reads drop-outs, lines at shaft speed and unrest from the
// plateaus of a unit that runs.
func (d *detail) measureSwing(tr *trace.Trace, m *kind.Measured) {
	if !d.start.Ran {
		for _, n := range []string{DropOuts, Rotation, Unrest} {
			miss(m, n, unitFor(n), "the unit did not run")
		}
		return
	}
	rest := d.rest()
	var an analyser
	var lines, unrests []float64
	drops, lost := 0, 0.0
	for _, p := range d.plateaus {
		n, s := d.dropOuts(tr, p, rest)
		drops, lost = drops+n, lost+s
		// Low duties are left out: there the current is small against
		// noise, and a share of it says little.
		if n == 0 && p.Median_A-rest > 0.1*(d.highest-rest) {
			if w, ok := an.swing(tr, p, rest); ok {
				lines, unrests = append(lines, 100*w.line), append(unrests, 100*w.unrest)
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
func (d *detail) dropOuts(tr *trace.Trace, p step.Plateau, rest float64) (n int, lost_s float64) {
	const share, shortest_s, deaf = 0.3, 0.003, 0.2
	t, x := tr.Time(), tr.Current()
	from := p.From + int(deaf*float64(p.To-p.From))
	level := stat.Median(x[from:p.To])
	noise := max(d.noise, p.SD_A/10)
	if level-rest < 10*noise {
		return 0, 0
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
			lost_s += t[i] - since
			if since-last > 0.05 { // two gaps closer than this are one
				n++
			}
			last = t[i]
		}
		low = false
	}
	if end := t[p.To-1]; low && end-since >= shortest_s {
		lost_s += end - since
		n++
	}
	return n, lost_s
}

// analyser holds the buffers of the spectrum, used again for each plateau.
type analyser struct {
	fft *fourier.FFT
	y   []float64
	c   []complex128
	mag []float64
}

// swing looks at the last part of a plateau, thinned to a few times
// turnHigh by means of blocks (which keeps faster ripple from folding in).
// ok is false when the sampling or the length does not carry it.
func (a *analyser) swing(tr *trace.Trace, p step.Plateau, rest float64) (swing, bool) {
	t, x := tr.Time()[p.Start:p.End], tr.Current()[p.Start:p.End]
	if len(x) < 128 || t[len(t)-1] <= t[0] {
		return swing{}, false
	}
	rate := float64(len(x)-1) / (t[len(t)-1] - t[0])
	if rate < 100 {
		return swing{}, false
	}
	thin := max(1, int(rate/(3*turnHigh_Hz)))
	n := min(len(x)/thin, swingPoints)
	x = x[len(x)-n*thin:]
	rate /= float64(thin)
	a.y = a.y[:0]
	for i := 0; i < n; i++ {
		a.y = append(a.y, stat.Mean(x[i*thin:(i+1)*thin]))
	}
	detrend(a.y)
	for i := range a.y { // Hann: coherent gain 0.5
		a.y[i] *= 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(n))
	}
	if a.fft == nil || a.fft.Len() != n {
		a.fft, a.c, a.mag = fourier.NewFFT(n), make([]complex128, n/2+1), make([]float64, n/2+1)
	}
	a.fft.Coefficients(a.c, a.y)
	for i, c := range a.c {
		a.mag[i] = math.Hypot(real(c), imag(c)) * 4 / float64(n) // amplitude of a line in this bin
	}
	bin := rate / float64(n)
	run := p.Median_A - rest
	if run <= 0 {
		return swing{}, false
	}
	w := swing{}
	lo, hi := max(2, int(turnLow_Hz/bin)), min(len(a.mag)-2, int(turnHigh_Hz/bin))
	if hi-lo < 16 {
		return swing{}, false
	}
	at := lo
	for i := lo; i <= hi; i++ {
		if a.mag[i] > a.mag[at] {
			at = i
		}
	}
	floor := stat.Median(a.mag[lo:hi])
	w.line_Hz = float64(at) * bin
	w.lineClear = a.mag[at] > 4*floor
	// Noise alone gives a highest bin of some three times the median; good
	// units on the same bench show that too, so nothing is taken off.
	w.line = a.mag[at] / run
	var power float64
	for i := max(1, int(calmLow_Hz/bin)); i <= min(len(a.mag)-1, int(calmHigh_Hz/bin)); i++ {
		if i < at-2 || i > at+2 || !w.lineClear {
			power += a.mag[i] * a.mag[i] / 2
		}
	}
	w.unrest = math.Sqrt(power/1.5) / run // 1.5: noise bandwidth of the window in bins
	return w, true
}

// detrend takes off the straight line through y.
func detrend(y []float64) {
	n := float64(len(y))
	mx, my := (n-1)/2, stat.Mean(y)
	var sxy, sxx float64
	for i, v := range y {
		dx := float64(i) - mx
		sxy += dx * (v - my)
		sxx += dx * dx
	}
	b := sxy / sxx
	for i := range y {
		y[i] -= my + b*(float64(i)-mx)
	}
}
