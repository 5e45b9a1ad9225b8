package period

import (
	"fmt"
	"math"
	"slices"

	"dutybench/signal/stat"
)

// beats is for fewer samples in a period than straight lines take.
func (m *Means) beats(t, x []float64, p PWM, step float64) {
	m.Periods = (m.To_s - m.From_s) * p.Frequency_Hz
	if m.Periods < 1 {
		m.Why = tooShort(m.Periods)
		return
	}
	mean, n := raised(t, x)
	m.Shunt = stat.Quantity{Value: mean}.With("noise", m.samplesNoise(t, x, n), math.Max(1, n-1))
	places := inStep(t, p, step)
	swing := slices.Max(x) - slices.Min(x)
	switch {
	case places >= enough && !p.missed(places):
		m.How = Beats
		m.Shunt = m.Shunt.With("samples in a period", edges*swing/places, 0)
	case p.Ripple_A > 0 && p.Recirculation == Seen:
		m.How = InStep
		m.Shunt = m.Shunt.With("ripple", p.Ripple_A/math.Sqrt(12), 0)
	default:
		m.Why = stepped(p, step)
	}
}

func stepped(p PWM, step float64) string {
	return fmt.Sprintf("the PWM of %.6g Hz is in step with %.6g samples a second, or too near to it: they may lie at too few places of its period", p.Frequency_Hz, 1/step)
}

// missed says that of so many places in a period none need lie where the
// switch is closed, or open, while the readings jump between the two.
func (p PWM) missed(places float64) bool {
	d := p.share()
	return p.Recirculation != Seen && !(places*min(d, 1-d) >= 1)
}

// samplesNoise is the standard uncertainty of a mean weighted over n samples' worth.
func (m *Means) samplesNoise(t, x []float64, n float64) float64 {
	u := stat.MeanOver(t, x).U() // knows a slow wander, and beats that are slow
	_, sd := stat.MeanSD(x)
	if w := sd / math.Sqrt(n); !(u > w) {
		u = w
	}
	return u
}

// raised is the mean with the weights of a raised cosine over the window, and
// how many samples of equal weight tell as much.
func raised(t, x []float64) (mean, n float64) {
	from, span := t[0], t[len(t)-1]-t[0]
	var sum, squares float64
	for i, v := range x {
		left, right := t[max(i-1, 0)], t[min(i+1, len(t)-1)]
		w := (1 - math.Cos(2*math.Pi*(t[i]-from)/span)) * (right - left)
		sum += w
		squares += w * w
		mean += w * v
	}
	return mean / sum, sum * sum / squares
}

// inStep is at how many places of a period the samples lie, at worst within
// the frequency's tolerance: the lowest harmonic of the PWM that the sampling
// may fold to less than two beats in the window. Samples that jitter by much of
// a period lie everywhere.
func inStep(t []float64, p PWM, step float64) float64 {
	n := float64(len(t))
	var jitter float64
	for _, d := range steps(t) {
		if off := math.Abs(d - step); off < step { // not a gap
			jitter += off * off / n
		}
	}
	if math.Sqrt(jitter) > 0.3*min(1/p.Frequency_Hz, step) {
		return n
	}
	for k := 1.0; k < n/2; k++ {
		mid := k * p.Frequency_Hz * step
		off := mid*p.Tolerance + 2/n
		if math.Abs(mid-math.Round(mid)) <= off {
			return k
		}
	}
	return n / 2
}
