package coil

import (
	"math"

	"dutybench/signal/stat"
)

// ranBack says that the current came back to less than half of its highest:
// no plunger makes that, so the voltage did not stand.
func (e *edge) ranBack() bool {
	top, _ := e.top()
	n := len(e.i)
	tail := stat.Mean(e.i[n-max(4, (n-e.first)/20):]) - e.start
	return top > 10*e.noise && tail < top/2
}

// top is the highest mean of some readings above the start, and where.
func (e *edge) top() (top float64, at int) {
	width := max(4, (len(e.i)-e.first)/100)
	var sum float64
	for n := e.first; n < len(e.i); n++ {
		sum += e.i[n] - e.start
		if n >= e.first+width {
			sum -= e.i[n-width] - e.start
			if mean := sum / float64(width); mean > top {
				top, at = mean, n-width/2
			}
		}
	}
	return top, at
}

// pulse reads a coil that was fired from a capacitor: where the current left
// the start, the highest current, and what the circuit's equation says. A pulse
// of any shape begins and peaks like a polynomial.
func (e *edge) pulse(s Samples) *Edge {
	nan := math.NaN()
	out := &Edge{
		Start_A: stat.Exact(e.start).With("noise", e.startU, 0),
		Noise_A: e.noise, Rate_Hz: 1 / e.step, SNR_dB: nan,
		Onset_s: unknown(), Final_A: unknown(), Resistance_ohm: unknown(), Tau_s: unknown(), TauAfter_s: unknown(),
		Inductance_H: unknown(), InductanceAfter_H: unknown(),
		Peak_A: unknown(), Peak_s: unknown(),
		Missing: []string{"final current and time constant: the voltage did not stand, the current ran back to where it began"},
		Motion: Motion{
			Why:     "the voltage did not stand, the current ran back to where it began",
			Begin_s: unknown(), End_s: unknown(), Begin_A: unknown(), End_A: unknown(), Depth_A: unknown(), Dip_A: unknown(),
			Peak_s: nan, Peak_A: nan, Valley_s: nan, Valley_A: nan, Least_A: nan,
		},
	}
	top, at := e.top()
	// From a tenth of the height up to the top it bends by a cubic's worth.
	from := e.first
	for from < at && e.i[from]-e.start < top/10 {
		from++
	}
	rise, err := e.polynomial(from, from+(at-from)*3/4, 3)
	if err != nil {
		return out
	}
	// Back to the start, by Newton.
	x := -0.1
	value := func(x float64) (v, d float64) {
		c := rise.Coef
		return c[0] - e.start + x*(c[1]+x*(c[2]+x*c[3])), c[1] + x*(2*c[2]+x*3*c[3])
	}
	for range 20 {
		v, d := value(x)
		if !(d > 0) {
			return out
		}
		x -= v / d
	}
	if !(math.Abs(x) < 1) {
		return out
	}
	span := e.t[from+(at-from)*3/4-1] - e.t[from]
	_, slope := value(x)
	_, u := rise.Predict(1, x, x*x, x*x*x)
	onset := e.t[from] + x*span
	out.Onset_s = stat.Exact(onset).With("noise", math.Hypot(u, e.startU)/slope*span, float64(rise.DoF))
	e.summit(out, at, top, onset)
	e.circuit(out, s)
	return out
}

// slopeU is the standard uncertainty of a cubic's slope at x.
func slopeU(f *stat.Fit, x float64) float64 {
	d := [4]float64{0, 1, 2 * x, 3 * x * x}
	var v float64
	for a := range d {
		for b := range d {
			v += d[a] * d[b] * f.Cov.At(a, b)
		}
	}
	return math.Sqrt(v)
}

// polynomial fits the readings from one to before another, over their span
// from 0 to 1.
func (e *edge) polynomial(from, to, degree int) (*stat.Fit, error) {
	to = min(to, len(e.t))
	if to-from < 3*degree {
		return nil, ErrSamples
	}
	span := e.t[to-1] - e.t[from]
	x := make([]float64, to-from)
	for n := range x {
		x[n] = (e.t[from+n] - e.t[from]) / span
	}
	return stat.Polynomial(degree, x, e.i[from:to], nil)
}

// summit is the top of a parabola through what is above nine tenths of it.
func (e *edge) summit(out *Edge, at int, top, onset float64) {
	limit := 0.9*top + e.start
	from, to := at, at
	const width = 5
	mean := func(n int) float64 { return stat.Mean(e.i[max(0, n-width):min(len(e.i), n+width+1)]) }
	for from > e.first && mean(from) > limit {
		from--
	}
	for to < len(e.i)-1 && mean(to) > limit {
		to++
	}
	f, err := e.polynomial(from, to+1, 3)
	if err != nil {
		return
	}
	c := f.Coef
	x := 0.5
	for range 20 {
		x -= (c[1] + x*(2*c[2]+3*c[3]*x)) / (2*c[2] + 6*c[3]*x)
	}
	if !(x > 0 && x < 1) {
		return
	}
	v, u := f.Predict(1, x, x*x, x*x*x)
	span := e.t[to] - e.t[from]
	out.Peak_A = stat.Exact(v-e.start).With("noise", math.Hypot(u, e.startU), float64(f.DoF))
	bend := math.Abs(2*c[2] + 6*c[3]*x)
	out.Peak_s = stat.Exact(e.t[from]+x*span-onset).With("noise", slopeU(f, x)/bend*span, float64(f.DoF)).With("onset", out.Onset_s.U(), 0)
}

// circuit fits ∫U dt = L·i + R·∫i dt from the onset to as far behind the peak:
// no derivative is needed, and the voltage may do what it likes.
func (e *edge) circuit(out *Edge, s Samples) {
	if s.Supply_V == nil || math.IsNaN(out.Peak_s.Value) {
		out.Missing = append(out.Missing, "inductance: it needs the voltage beside each current")
		return
	}
	from := out.Onset_s.Value - 0.1*out.Peak_s.Value
	to := out.Onset_s.Value + 2*out.Peak_s.Value
	var x [][]float64
	var y []float64
	var flux, charge, last, lastU, lastI float64
	missing := 0
	for n, t := range s.Time_s {
		u, i := s.Supply_V[n], s.Current_A[n]-e.start
		if t < from || t > to || math.IsNaN(t) {
			continue
		}
		if math.IsNaN(u) || math.IsNaN(i) || math.IsInf(u, 0) || math.IsInf(i, 0) {
			missing++
			continue
		}
		if len(x) > 0 {
			flux += (u + lastU) / 2 * (t - last)
			charge += (i + lastI) / 2 * (t - last)
		}
		last, lastU, lastI = t, u, i
		x, y = append(x, []float64{1, i, charge}), append(y, flux)
	}
	if len(x) < 12 || missing > len(x)/10 {
		out.Missing = append(out.Missing, "inductance: it needs the voltage beside each current")
		return
	}
	f, err := stat.LeastSquares(x, y, nil)
	if err != nil {
		out.Missing = append(out.Missing, "inductance: "+err.Error())
		return
	}
	// Integrals of noise wander: neighbours are as one for a tenth of the
	// stretch (chosen), so that so few readings count.
	wide := math.Sqrt(float64(len(x)) / 10)
	out.Inductance_H = stat.Exact(f.Coef[1]).With("noise", f.U(1)*wide, float64(f.DoF))
	out.InductanceAfter_H = out.Inductance_H
	out.Resistance_ohm = stat.Exact(f.Coef[2]).With("noise", f.U(2)*wide, float64(f.DoF))
}
