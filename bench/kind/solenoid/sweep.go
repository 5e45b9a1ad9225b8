package solenoid

import (
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/profiles"
	"dutybench/signal/period"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// swing is one plateau of a sweep under PWM: the mean of the current, and the
// inductance that its ripple tells.
type swing struct {
	duty_pct float64
	up       bool
	amp      stat.Quantity
	henry    stat.Quantity // NaN not known
	why      string
}

const (
	// diode_V is what a free-wheel diode takes, and how far it may lie off
	// (rectifiers at some amperes: 0.5 to 0.9 V, common practice).
	diode_V, diodeU_V = 0.7, 0.15
	// settling of a plateau that is left out, as a share.
	settling = 0.5
)

// measureSweep reads mean current and ripple at each duty, and from the ripple
// where the plunger stands: it goes with 1/L, and L with the plunger's place.
func (d *detail) measureSweep(tr *trace.Trace, cuts []stretch, p *profiles.Profile, m *kind.Measured) {
	tolerance := 0.01
	if p != nil {
		tolerance = p.Command.Tolerance
	}
	pwm := period.Of(tr, tolerance)
	t, x := tr.Time(), tr.Current()
	ohms := d.lastOhms()
	before := 0.0
	for _, c := range cuts {
		duty := c.duty_pct
		if c.how != chopped {
			if duty = 0; c.how == closed {
				duty = 100
			}
			before = duty
			continue
		}
		up := duty > before
		before = duty
		long := t[c.to-1] - t[c.from]
		if long < shortest_s {
			continue
		}
		from := t[c.from] + settling*long
		q := pwm.At(duty)
		w := period.Over(t[c.from:c.to], x[c.from:c.to], from, t[c.to-1], q)
		s := swing{duty_pct: duty, up: up, amp: w.Unit, henry: none, why: w.NoUnit}
		v := voltage(tr, c.from, c.to)
		if !math.IsNaN(w.Unit.Value) {
			m.Curve = append(m.Curve, kind.Point{Duty_pct: duty, Up: up, Current: w.Unit, Supply_V: v.Value, Start_s: from, End_s: t[c.to-1]})
		}
		switch {
		case q.Recirculation == period.Unseen:
			s.why = "the current that recirculates is not in the readings, so its ripple is not"
		case !math.IsNaN(w.Unit.Value) && ohms.Value > 0 && v.Value > 0 && q.Frequency_Hz > 0:
			var rms stat.Quantity
			if rms, s.why = ripple(t[c.from:c.to], x[c.from:c.to], w.From_s, w.To_s, q.Frequency_Hz, d.noise_A); s.why == "" {
				s.henry = rippled(rms, v, ohms, duty/100, q.Frequency_Hz)
			}
		}
		d.points = append(d.points, s)
	}
	slices.SortStableFunc(m.Curve, func(a, b kind.Point) int {
		switch {
		case a.Start_s < b.Start_s:
			return -1
		case a.Start_s > b.Start_s:
			return 1
		}
		return 0
	})
	d.putSweep(m)
}

// swung is the root mean square of a coil's ripple under PWM with the switch closed
// for a share of the period: between exponentials towards V/R and towards nought,
// hi = V/R·(1−a)/(1−ab) and lo = hi·b, with a = e^(−share·T/τ), b = e^(−(1−share)·T/τ).
func swung(volt, ohm, tau, share, period_s float64) float64 {
	a, b := math.Exp(-share*period_s/tau), math.Exp(-(1-share)*period_s/tau)
	top := volt / ohm
	hi := top * (1 - a) / (1 - a*b)
	below := hi*b - top // lo against where it is bound for
	on := share * period_s
	first := top*on + below*tau*(1-a) + hi*tau*(1-b)
	second := top*top*on + 2*top*below*tau*(1-a) + below*below*tau/2*(1-a*a) + hi*hi*tau/2*(1-b*b)
	mean := first / period_s
	return math.Sqrt(max(0, second/period_s-mean*mean))
}

// fewest samples that a period needs to show its ripple, and periods for its scatter.
const (
	samplesPerPeriod = 8
	fewestPeriods    = 5
)

// ripple is the root mean square of the current about its mean, period by period
// from from_s on, noise taken off.
func ripple(t, x []float64, from_s, to_s, hertz, noise_A float64) (stat.Quantity, string) {
	var list []float64
	i := 0
	for i < len(t) && t[i] < from_s {
		i++
	}
	for k := 1.0; from_s+k/hertz <= to_s+0.5/hertz; k++ {
		var r stat.Running
		for ; i < len(t) && t[i] < from_s+k/hertz; i++ {
			r.Add(x[i])
		}
		if r.N() < samplesPerPeriod {
			break
		}
		list = append(list, r.SD()*r.SD()-noise_A*noise_A)
	}
	if len(list) < fewestPeriods {
		return none, "a period of the PWM holds too few samples, or the plateau too few periods, for its ripple"
	}
	mean, sd := stat.MeanSD(list)
	if !(mean > 0) {
		return none, "the ripple does not stand out of the noise"
	}
	rms := math.Sqrt(mean)
	n := float64(len(list))
	return stat.Quantity{Value: rms}.With("scatter of the ripple", sd/math.Sqrt(n)/(2*rms), n-1), ""
}

// rippled is the inductance that a ripple tells.
func rippled(rms, volt, ohms stat.Quantity, share, hertz float64) stat.Quantity {
	solve := func(rms, v, r float64) float64 {
		lo, hi := 1e-6, 10.0 // s; the swing falls as tau rises
		for range 60 {
			if mid := math.Sqrt(lo * hi); swung(v, r, mid, share, 1/hertz) > rms {
				lo = mid
			} else {
				hi = mid
			}
		}
		return math.Sqrt(lo*hi) * r
	}
	v := volt.Value + diode_V
	l := solve(rms.Value, v, ohms.Value)
	if !(l > 1.1e-6*ohms.Value && l < 9*ohms.Value) {
		return none
	}
	q := stat.Quantity{Value: l}
	q = q.With("ripple", math.Abs(solve(rms.Value+rms.U(), v, ohms.Value)-l), rms.DoF())
	q = q.With("voltage", math.Abs(solve(rms.Value, v+volt.U(), ohms.Value)-l), 0)
	return q.WithShared("voltage of the free-wheel diode", math.Abs(solve(rms.Value, v+diodeU_V, ohms.Value)-l))
}

// putSweep names what the sweep shows.
func (d *detail) putSweep(m *kind.Measured) {
	var up, down []swing
	why := "the trace holds no sweep of duty"
	for _, s := range d.points {
		switch {
		case math.IsNaN(s.henry.Value):
			if s.why != "" {
				why = s.why
			}
		case s.up:
			up = append(up, s)
		default:
			down = append(down, s)
		}
	}
	byDuty := func(a, b swing) int { return int(math.Copysign(1, a.duty_pct-b.duty_pct)) }
	slices.SortFunc(up, byDuty)
	slices.SortFunc(down, byDuty)
	if len(up) < 3 {
		for _, n := range []string{RippleOut, RippleIn} {
			miss(m, n, "H", why)
		}
		miss(m, MotionA, "A", why)
		miss(m, Hysteresis, "%", why)
		return
	}
	add(m, RippleOut, "H", up[0].henry)
	add(m, RippleIn, "H", up[len(up)-1].henry)
	rise, ok := crossing(up, up)
	if !ok {
		miss(m, MotionA, "A", "the ripple does not tell a motion")
		miss(m, Hysteresis, "%", "the ripple does not tell a motion")
		return
	}
	add(m, MotionA, "A", rise)
	fall, ok := crossing(down, up)
	if !ok || len(down) < 3 {
		miss(m, Hysteresis, "%", "the ripple does not tell a motion on the way down")
		return
	}
	full := up[len(up)-1].amp.Value
	add(m, Hysteresis, "%", stat.Quantity{Value: 100 * (rise.Value - fall.Value) / full}.
		With("current at half way, rising", 100*rise.U()/full, 0).With("and falling", 100*fall.U()/full, 0))
}

// crossing is the current at which the inductance is half way between those of the
// two ends of ends.
func crossing(list, ends []swing) (stat.Quantity, bool) {
	lo, hi := ends[0].henry, ends[0].henry
	for _, s := range ends {
		if s.henry.Value > hi.Value {
			hi = s.henry
		}
	}
	span := hi.Value - lo.Value
	own, _ := hi.Split()
	if !(span > 0.05*lo.Value && span > 6*own) {
		return none, false
	}
	half := lo.Value + span/2
	for i := 1; i < len(list); i++ {
		a, b := list[i-1], list[i]
		if a.henry.Value < half && b.henry.Value >= half {
			f := (half - a.henry.Value) / (b.henry.Value - a.henry.Value)
			slope := (b.amp.Value - a.amp.Value) / (b.henry.Value - a.henry.Value)
			ua, _ := a.henry.Split()
			ub, _ := b.henry.Split()
			q := stat.Quantity{Value: a.amp.Value + f*(b.amp.Value-a.amp.Value)}
			q = q.With("inductance from ripple", math.Abs(slope)*math.Hypot((1-f)*ua, f*ub), 0)
			return q.With("current", math.Hypot((1-f)*a.amp.U(), f*b.amp.U()), 0), true
		}
	}
	return none, false
}
