package coil

import (
	"fmt"
	"math"

	"dutybench/signal/stat"
)

// motion fills what is known of the plunger's way.
func (a *adjusted) motion(out *Edge) {
	m := &out.Motion
	nan := math.NaN()
	*m = Motion{
		Found: a.found, Why: a.why, Evidence: a.evidence, Needed: a.needed,
		Begin_s: unknown(), End_s: unknown(), Begin_A: unknown(), End_A: unknown(),
		Depth_A: unknown(), Dip_A: unknown(), Peak_s: nan, Peak_A: nan, Valley_s: nan, Valley_A: nan, Least_A: nan,
	}
	fit := &a.rest
	if a.found == Moved {
		fit = &a.moving
	}
	g := a.last.g
	m.Curve_s = g.t
	m.Curve_A, m.Held_A = make([]float64, len(g.t)), make([]float64, len(g.t))
	a.m.parts = a.parts
	a.m.current(&fit.p, g.t, m.Curve_A, a.found == Moved)
	a.m.current(&fit.p, g.t, m.Held_A, false)
	if a.found == Moved {
		a.times(m, out.Onset_s.Value)
		a.heights(m, out.Onset_s.Value)
		m.Least_A = m.Depth_A.Value * (math.Sqrt(a.needed) + stat.Normal(0.9)) / math.Sqrt(a.evidence)
		if !(m.Depth_A.Value > 0) {
			// No dip: eddies made the kink, and no plunger.
			m.Found = Still
			m.Begin_s, m.End_s, m.Begin_A, m.End_A, m.Depth_A = unknown(), unknown(), unknown(), unknown(), unknown()
		}
	}
	if m.Found == Still {
		m.Least_A = a.least()
		switch {
		case math.IsInf(m.Least_A, 1):
			m.Found, m.Why = NotMeasured, "noise or sampling would hide any motion; sample faster or use a larger shunt"
		case a.rise && !out.Settled:
			m.Found, m.Why = NotMeasured, "the current did not settle; leave the coil on for five time constants"
		}
	}
	if tau := math.Exp(-fit.p[pRate]); tau < half*a.step && m.Found != NotMeasured {
		// A kink wants so many readings on each side, and plungers move within few time
		// constants: here a motion may be over before the first that could show it, and
		// what looks like one may be the sampling's.
		m.Found, m.Why = NotMeasured, fmt.Sprintf("sampled too slowly to see the plunger: record at least %.2g kHz", math.Ceil(half/tau/1e2)/10)
	}
	for n := range m.Curve_A {
		m.Curve_A[n] += a.start
		m.Held_A[n] += a.start
	}
}

// times takes the end from the whole fit, or from the kink alone where that
// leaves more than noise, and the begin from the first part of the motion.
func (a *adjusted) times(m *Motion, onset float64) {
	dof := float64(max(a.moving.dof, 1))
	end := a.quantity(&a.moving, pEnd)
	if a.moving.chi2 > enough(a.moving.dof)*dof {
		if a.place.gain > significant {
			end = stat.Exact(a.place.at).With("noise", a.place.u, dof).With("shape of the motion", a.place.width/half/2, 0)
		} else {
			end = end.With("shape of the motion", a.place.width/4, 0)
		}
	} else if a.switched {
		// Switching on is a kink too, of a known time: what eddies make of it beyond
		// the model they make of the end.
		end = end.With("the onset by the same fit", math.Abs(a.moving.p[pOnset]-onset), 0)
	}
	if a.place.gain < significant {
		end = end.With("place of the end", a.place.width/6, 0)
	}
	for _, k := range a.strongest {
		// Eddies that die out kink a fall too: where another place is called as well, the
		// end may be there.
		if off := math.Abs(k.at - a.place.at); !a.rise && k.gain > a.kinked && off > a.place.width {
			end = end.With("another place of the end", off/2, 0)
		}
	}
	end.Value -= onset
	m.End_s = end.With("sampling", a.step/math.Sqrt(12), 0)
	length := math.Exp(a.moving.p[pLength])
	begin := stat.Exact(a.moving.p[pEnd]-length).With("noise", length*math.Sqrt(a.moving.cov[pLength][pLength]), dof)
	if l := &a.leaving; l.dof > 0 && !l.bad {
		whole := begin.Value
		begin = stat.Exact(l.p[pEnd]-math.Exp(l.p[pLength])).With("noise", max(a.doubt_s, a.worth(l)*math.Sqrt(l.cov[pEnd][pEnd])), float64(l.dof))
		// What the first part says and what the whole motion says.
		begin = begin.With("shape of the start", math.Abs(whole-begin.Value)/2, 0)
	}
	begin.Value -= onset
	if begin.Value > m.End_s.Value || begin.Value < 0 {
		begin.Value = min(max(begin.Value, 0), m.End_s.Value)
	}
	m.Begin_s = begin.With("sampling", a.step/math.Sqrt(12), 0)
}

// heights reads the fitted curve: currents at begin and end, depth, and
// whether it turns.
func (a *adjusted) heights(m *Motion, onset float64) {
	begin, end := onset+m.Begin_s.Value, onset+m.End_s.Value
	at := func(t float64) (i, slope float64) {
		k := 1
		for k < len(m.Curve_s)-1 && m.Curve_s[k] < t {
			k++
		}
		slope = (m.Curve_A[k] - m.Curve_A[k-1]) / (m.Curve_s[k] - m.Curve_s[k-1])
		return m.Curve_A[k-1] + slope*(t-m.Curve_s[k-1]), slope
	}
	// The level of a curve through so many readings as a third of the way has.
	level := a.noise / math.Sqrt(max(1, (end-begin)/3/a.step))
	i, slope := at(begin)
	m.Begin_A = stat.Exact(i+a.start).With("time", math.Abs(slope)*m.Begin_s.U(), 0).With("noise", level, 0)
	i, slope = at(end)
	m.End_A = stat.Exact(i+a.start).With("time", math.Abs(slope)*m.End_s.U(), 0).With("noise", level, 0)
	sign := a.sign()
	depth, dip := 0.0, 0.0
	peak := -1
	var from, to int
	for k, t := range m.Curve_s {
		if t < begin || t > end+a.step {
			continue
		}
		depth = max(depth, sign*(m.Held_A[k]-m.Curve_A[k]))
		if peak < 0 || sign*m.Curve_A[k] > sign*m.Curve_A[peak] {
			peak = k
		}
		if d := sign * (m.Curve_A[peak] - m.Curve_A[k]); d > dip {
			dip, from, to = d, peak, k
		}
	}
	m.Depth_A = stat.Exact(depth).With("noise", depth/math.Sqrt(max(a.evidence, 1)), 0)
	u := math.Sqrt2 * level
	if dip > 3*u {
		m.Turns = true
		m.Peak_s, m.Peak_A = m.Curve_s[from]-onset, m.Curve_A[from]+a.start
		m.Valley_s, m.Valley_A = m.Curve_s[to]-onset, m.Curve_A[to]+a.start
		m.Dip_A = stat.Exact(dip).With("noise", u, 0)
	}
}

// least is the smallest depth that would have been found: the trace that a
// small motion leaves in the current, of two lengths, grows until its kink is
// called one in 9 of 10 cases; the less conspicuous counts.
func (a *adjusted) least() float64 {
	span := a.t[len(a.t)-1] - a.onset
	p := a.rest.p
	a.setParts(fewParts)
	copy(p[pSpeed:], a.prior.mean[pSpeed:])
	end := min(max(2*math.Exp(-p[pRate]), 40*a.step), span/2)
	shadow := *a.edge
	t := a.t[a.first:]
	base := make([]float64, len(t))
	shadow.t, shadow.i, shadow.first = t, make([]float64, len(t)), 0
	a.m.current(&p, t, base, false)
	worst := 0.0
	for _, share := range []float64{0.3, 0.7} {
		p[pEnd], p[pLength], p[pGain] = a.onset+end, math.Log(end*share), 0.01
		if !a.rise {
			p[pGain] = -0.01
		}
		a.m.current(&p, t, shadow.i, true)
		depth, gain := 0.0, 0.0
		for k := range base {
			shadow.i[k] -= base[k]
			depth = max(depth, math.Abs(shadow.i[k]))
		}
		shadow.kinks(a.sign(), func(k kink) { gain = max(gain, k.gain) })
		if gain > 0 {
			worst = max(worst, depth*(math.Sqrt(a.kinked)+stat.Normal(0.9))/math.Sqrt(gain))
		}
	}
	if worst == 0 || worst > a.m.scale_A {
		return math.Inf(1)
	}
	return worst
}

// sign is that of a current which makes a motion a dip: a fall stands on its head.
func (a *adjusted) sign() float64 {
	if a.rise {
		return 1
	}
	return -1
}
