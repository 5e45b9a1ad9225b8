package period

import (
	"math"
	"slices"

	"dutybench/signal/stat"
)

// area is the integral of the straight lines between samples, and the integral
// of that, so that means over any stretch are exact for such lines.
type area struct {
	t, x        []float64
	once, twice []float64 // at the samples
	mean        float64   // taken off x first, for the sake of the digits
}

func areaOf(t, x []float64) *area {
	a := &area{t: t, x: x, mean: stat.Mean(x), once: make([]float64, len(t)), twice: make([]float64, len(t))}
	for i := range len(t) - 1 {
		h := t[i+1] - t[i]
		p, q := x[i]-a.mean, x[i+1]-a.mean
		a.once[i+1] = a.once[i] + h*(p+q)/2
		a.twice[i+1] = a.twice[i] + h*a.once[i] + h*h*(2*p+q)/6
	}
	return a
}

// at is both integrals at a time within the samples.
func (a *area) at(u float64) (once, twice float64) {
	i, _ := slices.BinarySearch(a.t, u)
	i = min(max(i-1, 0), len(a.t)-2)
	h, w := a.t[i+1]-a.t[i], u-a.t[i]
	p := a.x[i] - a.mean
	slope := 0.0
	if h > 0 {
		slope = (a.x[i+1] - a.x[i]) / h
	}
	return a.once[i] + w*(p+slope*w/2), a.twice[i] + w*a.once[i] + w*w*(p/2+slope*w/6)
}

// over is the mean from one time to another.
func (a *area) over(from, to float64) float64 {
	p, _ := a.at(from)
	q, _ := a.at(to)
	return a.mean + (q-p)/(to-from)
}

// overTwice is the mean, over the windows of one period that lie from..to, of
// their means.
func (a *area) overTwice(from, to, period float64) float64 {
	_, p := a.at(from)
	_, q := a.at(from + period)
	_, r := a.at(to - period)
	_, s := a.at(to)
	return a.mean + (s-r-q+p)/(period*(to-from-period))
}

// whole is for several samples in a period.
func (m *Means) whole(t, x []float64, p PWM, step float64) {
	period := 1 / p.Frequency_Hz
	t, x = longestRun(t, x, period)
	n := math.Floor((t[len(t)-1]-t[0])/period + 1e-6)
	if n < 1 {
		m.Why = tooShort((t[len(t)-1] - t[0]) / period)
		return
	}
	a := areaOf(t, x)
	m.How, m.Periods = Whole, n
	m.From_s, m.To_s = t[0], min(t[0]+n*period, t[len(t)-1])
	mean := a.over(m.From_s, m.To_s)
	if n >= 2 {
		mean = a.overTwice(m.From_s, m.To_s, period)
	}
	m.Shunt = m.noise(a, x, period, step).at(mean)
	left := p.Tolerance / 2 // of a period, each way off: half the swing at most
	if n < 2 {
		left = p.Tolerance
	}
	swing := slices.Max(x) - slices.Min(x)
	if u := swing * left / n; u > 0 {
		m.Shunt = m.Shunt.With("part of a period", u/math.Sqrt(3), 0)
	}
	places := max(inStep(t, p, step), math.Floor(period/step))
	if p.missed(places) {
		m.Why = stepped(p, step)
		return
	}
	m.Shunt = m.Shunt.With("samples in a period", edges*jump(x, period/step)/places, 0)
}

// uncertain is a budget that waits for its value.
type uncertain stat.Quantity

func (u uncertain) at(v float64) stat.Quantity { return stat.Quantity{Value: v, Budget: u.Budget} }

// fewPeriods have means that say too little of their own scatter.
const fewPeriods = 8

// noise is that of the mean: from the scatter of the periods' means, or where
// they are few from that of the samples about straight lines.
func (m *Means) noise(a *area, x []float64, period, step float64) uncertain {
	if m.Periods >= fewPeriods {
		means := make([]float64, int(m.Periods))
		for i := range means {
			at := m.From_s + float64(i)*period
			means[i] = a.over(at, min(at+period, a.t[len(a.t)-1]))
		}
		return uncertain(stat.MeanOf(means))
	}
	n := float64(len(x))
	return uncertain(stat.Quantity{}.With("noise", scatter(x)/math.Sqrt(n), max(1, n/3)))
}

// second is the differences of differences of neighbours.
func second(x []float64) []float64 {
	d := make([]float64, len(x)-2)
	for i := range d {
		d[i] = x[i] - 2*x[i+1] + x[i+2]
	}
	return d
}

// scatter is the samples' noise: of most of them, which lie on straight lines.
// The variance of a second difference of white noise is six times that of it.
func scatter(x []float64) float64 { return stat.RobustSD(second(x)) / math.Sqrt(6) }

// robust is from how many samples a period most second differences hold no
// edge: two edges touch four of them.
const robust = 12

// jump is the height of the two jumps in a period, from the power of the second
// differences beyond the noise: each jump makes two of its own height.
func jump(x []float64, perPeriod float64) float64 {
	d := second(x)
	var power float64
	for _, v := range d {
		power += v * v / float64(len(d))
	}
	if perPeriod >= robust {
		σ := stat.RobustSD(d)
		power = max(power-σ*σ, 0)
	}
	return math.Sqrt(power * perPeriod / 4)
}
