package motor

import (
	"fmt"
	"math"

	"dutybench/bench/kind"
	"dutybench/profiles"
	"dutybench/signal/period"
	"dutybench/signal/stat"
	"dutybench/signal/step"
	"dutybench/signal/trace"
)

// plateaus is the running current of each stretch that lasts.
func (d *detail) plateaus(tr *trace.Trace, p *profiles.Profile, m *kind.Measured, v taken) {
	t := tr.Time()
	tolerance := 0.0
	if p != nil {
		tolerance = p.Command.Tolerance
	}
	pwm := period.Of(tr, tolerance)
	top := math.NaN() // when the run begins
	up := true
	for i := range d.stretches {
		s := d.stretches[i]
		if !s.driven(stop) {
			up = true
			continue
		}
		if i > 0 && d.stretches[i-1].driven(stop) {
			up = s.up
		}
		if d.startedIn(s) && s.seconds(t) < 0.8 || s.seconds(t) < 0.3 || d.held(s) {
			continue
		}
		if d.startedIn(s) { // what comes before it runs is its start
			for s.from < s.to && t[s.from] < t[d.stretches[i].from]+s.seconds(t)/2 {
				s.from++
			}
		}
		q := step.Settle(tr, step.Step{From: s.from, To: s.to, Duty_pct: s.duty_pct, Supply: true, Up: up})
		current := q.Current
		if s.duty_pct < 99.5 && pwm.Frequency_Hz > 0 {
			mean := period.Over(t, tr.Current(), t[q.Start], t[q.End-1], pwm.At(s.duty_pct))
			switch {
			case !math.IsNaN(mean.Shunt.Value):
				current = mean.Shunt
			case averaged(tr):
				// The samples are means already.
			default:
				m.Warnings = append(m.Warnings, fmt.Sprintf("no mean of the current at %.3g %% duty: %s", s.duty_pct, mean.Why))
				continue
			}
		}
		m.Curve = append(m.Curve, kind.Point{Duty_pct: s.duty_pct, Up: up, Current: current, Supply_V: q.Supply_V, Start_s: t[q.Start], End_s: t[q.End-1]})
		if d.run == nil || s.duty_pct > d.run.duty_pct+0.5 || s.duty_pct > d.run.duty_pct-0.5 && s.to-s.from >= d.run.to-d.run.from {
			r := s
			r.from, r.to = q.Start, q.End
			d.run, d.run_A, top = &r, current.Value, m.Curve[len(m.Curve)-1].Start_s
		}
	}
	if d.run == nil {
		v.miss("the trace does not run it for long enough", Full)
		return
	}
	if d.run.duty_pct < full_pct {
		v.miss(fmt.Sprintf("the highest duty in the trace is %.0f %%", d.run.duty_pct), Full)
		return
	}
	// One plateau a duty and direction: of those at full the longest.
	keep := m.Curve[:0]
	for _, q := range m.Curve {
		if q.Start_s == top {
			v.add(Full, q.Current)
		}
		if q.Duty_pct < full_pct || q.Start_s == top {
			keep = append(keep, q)
		}
	}
	m.Curve = keep
}

// averaged says that a recording's samples are means over many periods of the
// switching: at rest under PWM they scatter by less than a hundredth, where single
// readings would by the ripple.
func averaged(tr *trace.Trace) bool {
	if on, _ := tr.Number(trace.KeyIntegrating); on == 1 {
		return true
	}
	f, ok := tr.Number(trace.KeyPWM)
	if !ok || !(f > 2*tr.Rate()) {
		return false
	}
	x := tr.Current()
	n := min(len(x), 1000)
	if n < 100 {
		return false
	}
	var steps []float64
	for i := 1; i < n; i++ {
		steps = append(steps, x[i]-x[i-1])
	}
	return stat.Autocorrelation(x[:n], 1) > 0.5 && stat.RobustSD(steps) < 0.01*math.Abs(stat.Median(x[:n]))
}

func (d *detail) startedIn(s stretch) bool {
	for _, q := range d.starts {
		if q.from == s.from {
			return true
		}
	}
	return false
}

// held says that a stretch is of a rotor that does not turn.
func (d *detail) held(s stretch) bool {
	for _, q := range d.starts {
		if q.from == s.from {
			return q.held
		}
	}
	return false
}

// exponent is how the current goes with duty: d(ln I)/d(ln duty). Friction alone
// keeps it nearly flat, a fan's wheel makes it near two.
func (d *detail) exponent(m *kind.Measured, v taken) {
	var duty, amps []float64
	lo, hi := math.Inf(1), 0.0
	for _, q := range m.Curve {
		if q.Current.Value > 0 {
			duty, amps = append(duty, math.Log(q.Duty_pct)), append(amps, math.Log(q.Current.Value))
			lo, hi = min(lo, q.Duty_pct), max(hi, q.Duty_pct)
		}
	}
	if !(hi > 1.1*lo) {
		v.miss("the trace holds one duty only", Friction)
		return
	}
	f, err := stat.Line(duty, amps, nil)
	if err != nil {
		v.miss("the plateaus make no line", Friction)
		return
	}
	u := 0.0
	for _, q := range m.Curve {
		if q.Current.Value > 0 {
			u = max(u, q.Current.U()/q.Current.Value)
		}
	}
	q := stat.Quantity{Value: f.Coef[1]}.With("currents", u*math.Sqrt2/math.Log(hi/lo), 0)
	if f.DoF > 0 {
		q = q.With("no straight line", f.U(1), float64(f.DoF))
	}
	v.add(Friction, q)
}
