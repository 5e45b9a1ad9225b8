package wire

import (
	"math"

	"dutybench/signal/stat"
)

// What a fit of blurred levels needs.
const (
	blurSamples = 20   // chosen: ten times the two levels
	blurMost    = 300  // samples; more only let the phase run away
	blurFirst   = 60   // that look for the phase
	blurPeriods = 200  // chosen: a frequency known to 10^-4 keeps its phase over these to a fiftieth
	blurLeft    = 0.10 // of the samples' spread may be left by the fit
	blurRate    = 0.10 // SBAS444, data rate variation: within 10 %
)

// unblur finds the levels of a PWM from samples that are means over a time
// longer than its pulses. Where in its period each sample lies follows from
// their times, so each mean is low + share·swing with a known share of high
// time. Low level, swing, phase and what is not known exactly of the rate and
// of the time of a sample are fitted by least squares. ok is false when the
// samples do not follow.
func unblur(l *Levels, frequency, duty stat.Quantity) (low, high stat.Quantity, ok bool) {
	f, d := frequency.Value, duty.Value/100
	n := 0
	for n < min(len(l.V), blurMost) && l.At_s[n]-l.At_s[0] <= blurPeriods/f {
		n++
	}
	if l.Filter_s > 0 || !(l.Aperture_s > 0) || n < blurSamples {
		return low, high, false
	}
	at, v := l.At_s[:n], l.V[:n]
	_, spread := stat.MeanSD(v)
	if spread < max(3*l.Step_V, 0.01) { // a whole number of periods a sample: nothing to fit
		return low, high, false
	}
	x := make([]float64, n)
	few := min(n, blurFirst) // as many as find the phase
	try := func(phase, aperture, rate float64) fit2 {
		for i, t := range at[:few] {
			a := (t-at[0]-aperture/2)*rate + phase
			x[i] = (highs(a+aperture*rate, d) - highs(a, d)) / (aperture * rate)
		}
		return fitLine(x[:few], v[:few])
	}
	best := fit2{left: math.Inf(1)}
	var phase, aperture, rate float64
	look := func(p, a, r float64) {
		if g := try(p, a, r); g.left < best.left && g.slope > 0 {
			best, phase, aperture, rate = g, p, a, r
		}
	}
	for a := -blurRate; a <= blurRate+1e-9; a += blurRate / 8 {
		for p := 0.0; p < 1; p += 0.02 {
			look(p, l.Aperture_s*(1+a), f)
		}
	}
	few, best.left = n, math.Inf(1)
	drift := 2 * frequency.U()
	look(phase, aperture, rate)
	for step := 1.0; step > 0.005; step /= 2 { // downhill around the best
		for tries, left := 0, math.Inf(1); best.left < left && tries < 20; tries++ {
			left = best.left
			p, a, r := phase, aperture, rate
			for i := -1.0; i <= 1; i++ {
				for j := -1.0; j <= 1; j++ {
					for k := -1.0; k <= 1; k++ {
						look(p+0.02*i*step, a+l.Aperture_s*blurRate/8*j*step, r+drift*k*step)
					}
				}
			}
		}
	}
	g := &blurred{at: at, v: v, duty: d, keep: make([]bool, n)}
	g.p = [5]float64{best.meanY - best.slope*best.meanX, best.slope, phase, aperture / l.Aperture_s, rate / f}
	g.aperture, g.rate = l.Aperture_s, f
	left, ok := g.settle()
	if !ok || left > blurLeft*spread || g.p[1] < leastSwing || math.Abs(g.p[3]-1) > 1.5*blurRate {
		return low, high, false
	}
	// An error of the duty moves the shares, and both levels against them.
	moved := g.p[1] * duty.U() / 100
	level := func(value, u float64) stat.Quantity {
		return l.known(stat.Quantity{Value: value}.With("fit", u, float64(n-len(g.p))).With("duty", moved, 0))
	}
	// Jitter moves neighbouring samples together, which the residuals of single
	// ones do not show: half as much again (chosen; a test holds it).
	for i := range g.cov {
		for j := range g.cov[i] {
			g.cov[i][j] *= 1.5 * 1.5
		}
	}
	both := math.Sqrt(max(g.cov[0][0]+2*g.cov[0][1]+g.cov[1][1], 0))
	return level(g.p[0], math.Sqrt(g.cov[0][0])), level(g.p[0]+g.p[1], both), true
}

// blurred is the fit itself, by Gauss and Newton: low level, swing, phase, and
// the time of a sample and the rate over those that were stated.
type blurred struct {
	at, v          []float64
	keep           []bool
	duty           float64
	aperture, rate float64
	p              [5]float64
	cov            [2][2]float64 // of low and swing
}

// share is the high time in a sample.
func (g *blurred) share(t float64, p [5]float64) float64 {
	rate, aperture := g.rate*p[4], g.aperture*p[3]
	a := (t-g.at[0]-aperture/2)*rate + p[2]
	return (highs(a+aperture*rate, g.duty) - highs(a, g.duty)) / (aperture * rate)
}

// off is how far a sample lies from the fit.
func (g *blurred) off(i int) float64 { return g.v[i] - g.p[0] - g.p[1]*g.share(g.at[i], g.p) }

// settle improves the fit until it stands, without samples that lie far off (a
// quarter at most: a drop-out is none of the signal's levels), and gives the
// standard deviation of what is left.
func (g *blurred) settle() (left float64, ok bool) {
	off := make([]float64, len(g.v))
	for range 8 {
		for i := range g.v {
			off[i] = g.off(i)
		}
		far := 5 * stat.RobustSD(off)
		var rows [][]float64
		var y []float64
		for i, t := range g.at {
			if math.Abs(off[i]) > far {
				continue
			}
			s := g.share(t, g.p)
			row := []float64{1, s, 0, 0, 0}
			for k, h := range [...]float64{2: 1e-5, 3: 1e-5, 4: 1e-8} {
				if h == 0 {
					continue
				}
				q := g.p
				q[k] += h
				row[k] = g.p[1] * (g.share(t, q) - s) / h
			}
			rows, y = append(rows, row), append(y, off[i])
		}
		if len(rows) < len(g.v)*3/4 {
			return 0, false
		}
		f, err := stat.LeastSquares(rows, y, nil)
		if err != nil {
			return 0, false
		}
		moved := 0.0
		for k := range g.p {
			g.p[k] += f.Coef[k]
			moved = max(moved, math.Abs(f.Coef[k])/f.U(k))
		}
		g.cov = [2][2]float64{{f.Cov.At(0, 0), f.Cov.At(0, 1)}, {f.Cov.At(1, 0), f.Cov.At(1, 1)}}
		left = f.ResidualSD
		if moved < 0.1 {
			break
		}
	}
	return left, finite(left) && finite(g.p[0]) && finite(g.p[1])
}

// highs is the high time up to x periods, in periods.
func highs(x, share float64) float64 {
	whole := math.Floor(x)
	return whole*share + min(x-whole, share)
}

// fit2 is a straight line.
type fit2 struct{ slope, meanX, meanY, sxx, left float64 }

func fitLine(x, y []float64) fit2 {
	n := float64(len(x))
	var sx, sy, sxx, sxy, syy float64
	for i := range x {
		sx, sy = sx+x[i], sy+y[i]
	}
	mx, my := sx/n, sy/n
	for i := range x {
		a, b := x[i]-mx, y[i]-my
		sxx, sxy, syy = sxx+a*a, sxy+a*b, syy+b*b
	}
	if !(sxx > 1e-9*n) {
		return fit2{left: math.Inf(1)}
	}
	b := sxy / sxx
	return fit2{b, mx, my, sxx, math.Sqrt(max(syy-b*sxy, 0) / (n - 2))}
}
