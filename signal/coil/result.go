package coil

import (
	"math"

	"dutybench/signal/stat"
)

// result puts what was fitted into the caller's terms.
func (a *adjusted) result(s Samples, k Known) *Edge {
	fit := &a.rest
	if a.found == Moved {
		fit = &a.moving
	}
	out := &Edge{
		Start_A: stat.Exact(a.m.start+a.start).With("noise", a.startU, 0),
		Onset_s: a.quantity(fit, pOnset),
		Final_A: a.quantity(fit, pFinal),
		Noise_A: a.reading, Rate_Hz: 1 / a.step,
		SNR_dB:         20 * math.Log10(math.Abs(fit.p[pFinal]-a.m.start)/a.reading),
		Resistance_ohm: unknown(), Tau_s: unknown(), TauAfter_s: unknown(),
		Inductance_H: unknown(), InductanceAfter_H: unknown(),
		Held: true, Peak_A: unknown(), Peak_s: unknown(),
	}
	out.Final_A = out.Final_A.With("start", a.startU, 0)
	out.Final_A.Value += a.start
	if a.switched = k.Switched; a.switched {
		// Better known than fitted: what the model lacks, its onset takes up.
		out.Onset_s = stat.Exact(k.Switched_s+a.step/2).With("sampling", a.step/math.Sqrt(12), 0)
	}
	out.Settled = a.reached(fit)
	if a.clipped > 0 {
		out.Settled = false
		out.Missing = append(out.Missing, "final current: readings stand at the converter's end; take a smaller shunt or gain")
	}
	out.Tau_s, out.TauAfter_s = a.taus(fit)
	a.ohms(out, s, k)
	a.motion(out)
	return out
}

func (a *adjusted) quantity(fit *solution, p int) stat.Quantity {
	return stat.Exact(fit.p[p]).With("noise", a.worth(fit)*math.Sqrt(fit.cov[p][p]), float64(max(fit.dof, 1)))
}

// worth widens what the covariance says where the model leaves more than noise.
func (a *adjusted) worth(fit *solution) float64 {
	return math.Sqrt(max(1, fit.chi2/float64(max(fit.dof, 1))))
}

// reached says whether the current came to where it goes.
func (a *adjusted) reached(fit *solution) bool {
	n := len(a.last.g.t)
	all := make([]float64, n)
	a.m.parts = a.parts
	a.m.current(&fit.p, a.last.g.t, all, fit == &a.moving)
	return math.Abs(all[n-1]-fit.p[pFinal]) < 0.01*a.m.scale_A
}

func (a *adjusted) taus(fit *solution) (before, after stat.Quantity) {
	w := a.worth(fit)
	tau := math.Exp(-fit.p[pRate])
	u := tau * math.Sqrt(fit.cov[pRate][pRate]) * w
	before = stat.Exact(tau).With("noise", u, float64(max(fit.dof, 1)))
	if fit != &a.moving {
		return before, before
	}
	tau *= math.Exp(fit.p[pGain])
	v := fit.cov[pRate][pRate] + fit.cov[pGain][pGain] - 2*fit.cov[pRate][pGain]
	after = stat.Exact(tau).With("noise", tau*math.Sqrt(max(v, 0))*w, float64(max(fit.dof, 1)))
	return before, after
}

// ohms fills resistance and inductances, where a voltage or a resistance is
// known.
func (a *adjusted) ohms(out *Edge, s Samples, k Known) {
	r := k.Resistance_ohm
	if a.rise && s.Supply_V != nil {
		var volts []float64
		for n, u := range s.Supply_V {
			if s.Time_s[n] >= out.Onset_s.Value && !math.IsNaN(u) && !math.IsInf(u, 0) {
				volts = append(volts, u)
			}
		}
		switch {
		case len(volts) == 0:
			out.Missing = append(out.Missing, "resistance: the voltage was never sampled while the coil was on")
		case !out.Settled:
			out.Missing = append(out.Missing, "resistance: the current did not settle; leave the coil on for five time constants")
		default:
			u := stat.MeanOf(volts)
			r = ratio(u, out.Final_A)
			out.Resistance_ohm = r
		}
	}
	if !(r.Value > 0) {
		out.Missing = append(out.Missing, "inductance: no resistance is known; sample the voltage or give the resistance")
		return
	}
	if out.Tau_s.Value < half/4*a.step {
		out.Missing = append(out.Missing, "inductance: there are too few samples in the coil's time constant; sample faster")
		return
	}
	if !a.rise && k.Resistance_ohm.Value > 0 {
		out.Resistance_ohm = r
	}
	out.Inductance_H = product(r, out.Tau_s)
	out.InductanceAfter_H = product(r, out.TauAfter_s)
}

func ratio(a, b stat.Quantity) stat.Quantity {
	q := a.Scale(1 / b.Value)
	q.Budget = append(q.Budget, b.Scale(a.Value/(b.Value*b.Value)).Budget...)
	return q
}

func product(a, b stat.Quantity) stat.Quantity {
	q := a.Scale(b.Value)
	q.Budget = append(q.Budget, b.Scale(a.Value).Budget...)
	return q
}

// decide says whether the plunger moved.
func (a *adjusted) decide() {
	rate := a.falseAlarm
	if !(rate > 0 && rate < 1) {
		rate = DefaultFalseAlarm
	}
	// Two tests share the rate. The gain of a kink has no tabulated law: in 6000
	// edges of normal noise 8.1 was passed by 1 in 100, 9.7 by 1 in 1000, 10.2
	// by 1 in 2000, so 1.6 a decade; taken with a margin. The notch is normal,
	// and some 50 of its places are independent (3.6 was passed by 1 in 100 and
	// 4.1 by 1 in 1000, where this gives 3.5 and 4.1).
	var notched float64
	a.kinked, notched = 9-1.8*math.Log10(rate/2/0.01), stat.Normal(1-rate/2/50)
	a.kinked = max(a.kinked, 5)
	gain := 0.0
	for _, k := range a.strongest {
		gain = max(gain, k.gain)
	}
	dip := a.dip.z
	a.evidence, a.needed = gain, a.kinked
	if dip/notched > math.Sqrt(gain/a.kinked) {
		a.evidence, a.needed = dip*dip, notched*notched
	}
	a.found = Still
	if a.evidence > a.needed {
		a.found = Moved
	}
}
