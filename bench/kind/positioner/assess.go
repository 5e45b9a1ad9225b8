package positioner

import (
	"fmt"
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/bench/kind/weigh"
	"dutybench/bench/result"
	"dutybench/profiles"
)

// notTested is what no test on a bench at one temperature shows.
var notTested = []string{"force at the lever", "tightness of the flap", "hot running", "cold start", "wear to come"}

// Assess holds what was measured against a profile.
func (Kind) Assess(m *kind.Measured, p *profiles.Profile, c kind.Conditions) *kind.Assessment {
	d := m.Detail.(*detail)
	f := d.state(m, p)
	t := weigh.Hold(m, p, c, rules, 2)
	t.Detail = d
	holdMissing(m, p, t)
	d.points(m, p, t)
	a := t.Assessment(notTested)
	a.Stark = f.state != ran && f.state != idle && f.state != untold
	if a.Stark {
		a.Lacking = nil // what it did instead is the finding
	}
	switch f.state {
	case idle:
		a.Lacking = append(a.Lacking, "the trace never commands the unit to move")
	case untold:
		a.Lacking = append(a.Lacking, "the trace holds no position")
	}
	if f.stalled && f.state == ran {
		a.Lacking = nil
	}
	a.Reached = f.state == ran || f.state == pushing || f.drives || f.line && f.charged
	a.Final = f.state == unpowered
	if f.state != idle && weigh.Odd(a) {
		t.Conclude(a, f.state, d.modes(f), apart)
		a.Seen = d.seen(a)
	}
	weigh.TakeMisread(a, m.Trace, p, Quiet)
	a.Curve = d.curvePoints(m, p)
	a.Views = d.views()
	return a
}

// points puts the place into the notes of what has one.
func (d *detail) points(m *kind.Measured, p *profiles.Profile, t *weigh.Table) {
	for name, at := range map[string]float64{StrokeBinding: d.binding, TrackNoise: d.noisy, Jumps: d.jumpAt, SlowPlace: d.slowAt} {
		if k := t.Get(name); k.Measured() && !math.IsNaN(at) {
			k.Note += fmt.Sprintf("; at %.0f %% of the travel", at)
			if name == SlowPlace && !math.IsNaN(d.slow_A) {
				k.Note += fmt.Sprintf(", where it draws %.2g times what it does along it", d.slow_A)
			}
		}
	}
}

// seen adds the place to what the unit did.
func (d *detail) seen(a *kind.Assessment) string {
	for _, s := range []struct {
		of string
		at float64
	}{{StrokeBinding, d.binding}, {TrackNoise, d.noisy}, {Jumps, d.jumpAt}, {SlowPlace, d.slowAt}} {
		if slices.Contains(a.Carried, s.of) && !math.IsNaN(s.at) && len(a.Carried) > 0 && a.Carried[0] == s.of {
			return fmt.Sprintf("%s, at %.0f %% of the travel", a.Seen, s.at)
		}
	}
	return a.Seen
}

// apart is the one further test that tells two causes apart.
func apart(pair []result.Cause) string {
	has := func(c result.Cause) bool { return slices.Contains(pair, c) }
	switch {
	case has(result.Bench):
		return "test a known-good unit on the same bench: the same again means the bench"
	case has(result.Wiring):
		return "measure supply, signal and position at the unit's own pins while it is commanded: wrong there means the unit"
	}
	return ""
}

// curvePoints is the current standing at each step, with good units' band.
func (d *detail) curvePoints(m *kind.Measured, p *profiles.Profile) (out []result.Point) {
	band := weigh.Rule{Low: true, High: true, Log: true, Share: 0.02}
	for _, q := range m.Curve {
		pt := result.Point{Duty: q.Duty_pct, Direction: "down", Current: q.Current.Value, Uncertainty: 2 * orZero(q.Current.U()), Supply: weigh.Finite(q.Supply_V)}
		if q.Up {
			pt.Direction = "up"
		}
		if math.IsInf(pt.Uncertainty, 0) {
			pt.Uncertainty = 0
		}
		if good := weigh.Row(p, q.Duty_pct, q.Up); len(good) >= 2 {
			low, high, _ := band.Limits(good, float64(len(m.Curve)))
			pt.Low, pt.High = weigh.Finite(low), weigh.Finite(high)
		}
		out = append(out, pt)
	}
	return out
}
