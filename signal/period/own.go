package period

import (
	"math"
	"slices"

	"dutybench/signal/stat"
)

const (
	// continuous: while the switch is closed the current never lies below this
	// share of its most. Readings cannot tell less from a current that starts at
	// nought (chosen: a quarter; a triangle from nought has a quarter of its
	// readings there).
	continuous = 0.25
	// shut tells a closed switch from an open one, as a share of the most.
	shut = 0.1
)

// own finds the unit's own mean and ripple.
func (m *Means) own(t, x []float64, p PWM, step float64) {
	switch p.Recirculation {
	case Seen:
		m.Unit = m.Shunt
		m.swing(t, x, p, step)
		return
	case Unknown:
		m.NoUnit = "the trace does not say whether what recirculates is seen"
		m.NoRipple = m.NoUnit
		return
	}
	d := p.share()
	if math.IsNaN(d) {
		m.NoUnit = "the duty is not known"
		m.NoRipple = m.NoUnit
		return
	}
	c := closed(x, d)
	if len(c.on) < fewPeriods {
		m.NoUnit = "too few samples lie where the switch is closed"
		m.NoRipple = m.NoUnit
		return
	}
	least, most := c.least, c.most
	m.Least_A, m.Most_A = least, most
	if !(least >= continuous*most) {
		m.NoUnit = "conduction may not be continuous: while the switch is closed the current starts near nought, and what flows while it is open is not seen"
		m.NoRipple = m.NoUnit
		return
	}
	conducted := stat.Quantity{Value: c.mean}.
		With("noise", c.noise/math.Sqrt(float64(len(c.on))), float64(len(c.on)-1)).
		With("samples in a period", (most-least)/math.Sqrt(12)/c.run, 0)
	// The mean of an exponential fall lies between that of a straight one and
	// that of a fall towards nought, the logarithmic mean.
	straight, bent := (least+most)/2, logarithmic(least, most)
	u := conducted
	u.Value = d*c.mean + (1-d)*(straight+bent)/2
	m.Unit = u.With("fall while open", (1-d)*math.Abs(straight-bent)/2/math.Sqrt(3), 0).
		With("ends of the swing", (1-d)*c.end, 0)
	m.Shunt = conducted.Scale(d)
	if p.DutyU_pct > 0 {
		m.Shunt = m.Shunt.With("duty", c.mean*p.DutyU_pct/100, 0)
	}
	m.Ripple = stat.Quantity{Value: most - least}.With("ends of the swing", math.Sqrt2*c.end, 0)
}

// logarithmic is the mean of an exponential fall towards nought from one value
// to another: (b-a)/ln(b/a).
func logarithmic(a, b float64) float64 {
	if l := math.Log(b / a); math.Abs(l) > 1e-6 {
		return (b - a) / l
	}
	return (a + b) / 2
}

// conducting is what the readings show while the switch is closed.
type conducting struct {
	on          []float64
	run         float64 // of them in a row, on average
	mean        float64
	least, most float64 // as the switch closes, and as it opens
	end         float64 // standard uncertainty of either
	noise       float64
}

// ramp is how many readings in a row show how the current begins and ends.
const ramp = 8

// closed gathers them. At the ends of a run of four or more one is left out,
// which a filter may have rounded. From runs of eight on, the ends of the swing
// are carried on from what is left by the slope there: the edge lies from one
// to two samples away. Shorter runs lie anywhere in the swing.
func closed(x []float64, share float64) (c conducting) {
	s := slices.Clone(x)
	slices.Sort(s)
	limit := shut * quantile(s, 1-share/4)
	var runs, first, last, rise, fall, ends float64
	for i := 0; i < len(x); {
		j := i
		for j < len(x) && x[j] > limit {
			j++
		}
		if j == i {
			i++
			continue
		}
		r, whole := x[i:j], i > 0 && j < len(x)
		i = j
		if len(r) >= 4 {
			if !whole {
				continue // at an end of the window
			}
			r = r[1 : len(r)-1]
		}
		if k := len(r); k >= ramp-2 {
			first, last = first+r[0], last+r[k-1]
			rise, fall = rise+(r[3]-r[0])/3, fall+(r[k-1]-r[k-4])/3
			ends++
		}
		c.on = append(c.on, r...)
		runs++
	}
	n := float64(len(c.on))
	if n < 3 {
		return c
	}
	c.run, c.mean, c.noise = n/runs, stat.Mean(c.on), scatter(c.on)
	if ends > 0 && ends >= runs-2 {
		first, last, rise, fall = first/ends, last/ends, rise/ends, fall/ends
		c.least, c.most = first-1.5*rise, last+1.5*fall
		// Where in the sample the edge lies, and what noise the slope has.
		c.end = math.Hypot(max(math.Abs(rise), math.Abs(fall))/math.Sqrt(12), 1.5*c.noise/math.Sqrt(ends))
		c.mean = (n*c.mean + runs*(first-rise+last+fall)) / (n + 2*runs)
		return c
	}
	on := slices.Clone(c.on)
	slices.Sort(on)
	c.least, c.most = quantile(on, 0.03), quantile(on, 0.97)
	c.end = c.noise + (c.most-c.least)/math.Sqrt(12)/c.run
	_, sd := stat.MeanSD(c.on)
	c.noise = max(c.noise, sd/2)
	return c
}

func quantile(sorted []float64, q float64) float64 {
	return sorted[min(max(int(q*float64(len(sorted))), 0), len(sorted)-1)]
}

// swing is the ripple of readings that hold all of the unit's current: its
// waveform over the period, gathered over all periods, from lowest to highest.
func (m *Means) swing(t, x []float64, p PWM, step float64) {
	period := 1 / p.Frequency_Hz
	perPeriod := period / step
	if perPeriod < rippled {
		m.NoRipple = "fewer than eight samples lie in a period of the PWM"
		return
	}
	t, x = longestRun(t, x, period)
	a := areaOf(t, x)
	f := frequency(t, x, a.mean, p)
	bins := int(min(perPeriod, 64))
	sum, n := make([]float64, bins), make([]float64, bins)
	for i, u := range t {
		if u-period/2 < t[0] || u+period/2 > t[len(t)-1] {
			continue
		}
		_, at := math.Modf((u - t[0]) * f)
		b := min(int(at*float64(bins)), bins-1)
		sum[b] += x[i] - a.over(u-period/2, u+period/2) // a slow change is no ripple
		n[b]++
	}
	least, most, fewest := math.Inf(1), math.Inf(-1), math.Inf(1)
	for b := range sum {
		fewest = min(fewest, n[b])
		sum[b] /= n[b]
		least, most = min(least, sum[b]), max(most, sum[b])
	}
	if !(fewest >= 1) {
		m.NoRipple = "some part of the period has no samples"
		return
	}
	width := 0.0 // how much the current changes from one place to the next
	for b := range sum {
		width = max(width, math.Abs(sum[b]-sum[(b+1)%bins]))
	}
	m.Ripple = stat.Quantity{Value: most - least}.
		With("noise", 2*scatter(x)/math.Sqrt(fewest), 0).
		With("samples in a period", width/math.Sqrt(3), 0)
	m.Least_A, m.Most_A = m.Shunt.Value+least, m.Shunt.Value+most
}

// frequency is that of the PWM as the samples show it, within its tolerance:
// from the turn of its phase between the halves of ever longer stretches.
func frequency(t, x []float64, mean float64, p PWM) float64 {
	f, end := p.Frequency_Hz, t[len(t)-1]
	for length := 2 / f; t[0]+2*length <= end; length *= 2 {
		n := math.Floor(length*f + 0.5)
		l := n / f
		if t[0]+2*l > end {
			break
		}
		first, second := phase(t, x, mean, f, t[0], t[0]+l), phase(t, x, mean, f, t[0]+l, t[0]+2*l)
		turn := math.Remainder(second-first, 2*math.Pi)
		f = min(max(f+turn/(2*math.Pi*l), p.Frequency_Hz*(1-p.Tolerance)), p.Frequency_Hz*(1+p.Tolerance))
	}
	return f
}

// phase of the part at f, from one time to another.
func phase(t, x []float64, mean, f, from, to float64) float64 {
	var re, im float64
	for i, u := range t {
		if u < from || u >= to {
			continue
		}
		s, c := math.Sincos(2 * math.Pi * f * (u - t[0]))
		re += (x[i] - mean) * c
		im -= (x[i] - mean) * s
	}
	return math.Atan2(im, re)
}
