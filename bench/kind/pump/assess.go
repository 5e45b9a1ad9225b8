package pump

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"dutybench/bench/kind"
	"dutybench/bench/kind/weigh"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/startup"
	"dutybench/signal/stat"
)

// Assess holds what was measured against a profile.
func (Kind) Assess(m *kind.Measured, p *profiles.Profile, c kind.Conditions) *kind.Assessment {
	d := m.Detail.(*detail)
	y := weigh.NewYardstick(m.Trace, p, c)
	r := refer(m, y)
	n := 0 // findings at stake
	for _, ru := range rules {
		if v := m.Get(ru.Name); v != nil && v.Missing == "" {
			n++
		}
	}
	n += 2 // the curve up and down
	share := float64(len(contrasts)) / contrastShare
	others := float64(n) / (1 - contrastShare)
	a := &kind.Assessment{NotTested: notTested, Refusal: weigh.RefusalOf(p, rules), Chance: 1}
	a.Elsewhere, a.ElsewhereNext = r.around.outside()
	a.Warnings = append(a.Warnings, r.around.unrecorded()...)
	weigh.OtherPart(m.Trace, p, a)
	e := evidence{checks: map[string]*weigh.Check{}}
	keep := func(k weigh.Check) *weigh.Check {
		if k.Hollow {
			k.Note = strings.TrimPrefix(k.Note+"; "+kind.HollowWords, "; ")
			a.Hollow = append(a.Hollow, k.Name)
		}
		a.Findings = append(a.Findings, k.Finding)
		a.Chance = min(a.Chance, k.Chance)
		e.checks[k.Name] = &k
		return &k
	}
	e.fit = newCurveFit(r, y)
	e.fit.blind, e.fit.wake = !d.supplyKnown, p.Command.Wake_pct
	var core []*weigh.Check
	for _, ru := range rules {
		v := m.Get(ru.Name)
		if ru.Name == Full {
			v = r.atGoodSupply(v, m, p)
		}
		if k := keep(ru.Hold(v, y, others)); k.Rule.Core {
			core = append(core, k)
		}
	}
	for _, up := range []bool{true, false} {
		name := CurveDown
		if up {
			name = CurveUp
		}
		k, points := r.holdCurve(name, up, y, others)
		a.Curve = append(a.Curve, points...)
		if q := keep(k); q.Rule.Core {
			core = append(core, q)
		}
	}
	for _, ct := range contrasts {
		k, unseen := ct.hold(e.fit, y, share)
		keep(k)
		if unseen != "" {
			a.Unseen = append(a.Unseen, unseen)
		}
	}
	if s := d.ranFor(m); s > 0 && e.checks[DropOuts].Value != nil {
		// Events at random: nine of ten such units show one in ln 10 of their
		// mean interval.
		a.Unseen = append(a.Unseen, fmt.Sprintf("drop-outs once in %.0f s", s/math.Ln10))
	}
	if v := m.Get(WarmDrift); v != nil && v.Missing == "" {
		a.Soaked = true
		a.NotTested = slices.DeleteFunc(slices.Clone(a.NotTested), func(s string) bool { return s == hotRunning })
	}
	for _, f := range d.missingFindings(y, r) {
		keep(f)
	}
	a.Curve = append(a.Curve, outside(m, r)...)
	e.state = d.state(m, p, r)
	a.Stark = e.state != ran && e.state != idle
	a.Sketchy = e.state == ran && !e.fit.ok
	a.Final = (e.state == nothing || e.state == unpowered) && weigh.Waited(m.Trace, p, StartDelay, d.start.Commanded_s)
	if e.state == shorted && d.plugReversed(m) {
		x := 1.0
		e.checks[plugReversed] = &weigh.Check{Finding: result.Finding{Name: plugReversed, Value: &x, Result: result.Failed}, Z: 10}
	}
	d.looks(&e, p, r)
	d.conclude(a, e, m, p, c)
	for _, k := range core {
		if k.Result == result.NotMeasured && (len(p.Good) > 0 || k.Low != nil || k.High != nil || isStated(p, k.Name)) {
			a.Lacking = append(a.Lacking, "not measured: "+weigh.Words(k.Name)+" ("+k.Note+")")
		}
	}
	if len(p.Good) == 0 && len(p.Stated) == 0 {
		a.Lacking = append(a.Lacking, "profile "+p.Name+" holds neither good units nor stated limits")
	}
	if math.IsNaN(d.start.Commanded_s) {
		a.Lacking = append(a.Lacking, "the trace never commands the unit to run")
	}
	return a
}

// outside is the plateaus that the profile says nothing about.
func outside(m *kind.Measured, r *reference) []result.Point {
	var out []result.Point
	for _, q := range m.Curve {
		known := false
		for _, k := range r.points {
			known = known || k.Start_s == q.Start_s
		}
		if !known {
			out = append(out, result.Point{Duty: q.Duty_pct, Direction: direction(q.Up), Current: q.Current.Value, Uncertainty: 2 * q.Current.U(), Supply: weigh.Finite(q.Supply_V)})
		}
	}
	return out
}

// state says how far the unit got.
func (d *detail) state(m *kind.Measured, p *profiles.Profile, r *reference) state {
	full := r.full_A
	if full == 0 {
		if l, ok := weigh.Stated(p, Full); ok && !math.IsNaN(l.Low) {
			full = l.Low
		}
	}
	highest := d.peak(m)
	rest := max(r.quiet, 0)
	switch {
	case weigh.Tripped(m.Trace) && !d.start.Ran:
		return shorted
	case d.unpowered(m, p, highest):
		return unpowered
	case full > 0 && d.least() > max(1.5*full, full+2):
		return shorted
	case full > 0 && !math.IsNaN(d.early) && d.early > rest+0.3*(full-rest):
		return constant
	case math.IsNaN(d.start.Commanded_s):
		return idle
	case !d.ran(p) && math.IsNaN(d.quiet) && d.runsUnseen(r):
		if d.flat(r) {
			return constant
		}
		return ran
	case !d.ran(p) && d.tried(p):
		return tries
	case !d.ran(p):
		// A millisecond of charging is a sign of life as good as any.
		if d.reachedAtAll(p, highest) {
			return noTry
		}
		return nothing
	case d.flat(r):
		return constant
	}
	return ran
}

// ranFor is how long the unit was watched running at a held duty.
func (d *detail) ranFor(m *kind.Measured) (s float64) {
	t := m.Trace.Time()
	for _, p := range d.plateaus {
		s += t[p.To-1] - t[p.From]
	}
	return s
}

// ran says that the unit ran: at half of its plateaus at least it drew a third
// of what good units draw above rest, or more. An awake board between attempts
// does not, and attempts fill few plateaus. A unit that has lost its water may
// draw less than that; it runs at the first try, and its current follows the
// duty.
func (d *detail) ran(p *profiles.Profile) bool {
	expect := running(p)
	if d.faint {
		return true
	}
	if !d.start.Ran || expect == nil {
		return d.start.Ran
	}
	n, of := 0, 0
	var duty, amps []float64
	for _, q := range d.plateaus {
		good, above := expect(q.Duty_pct), q.Median_A-d.rest()
		if math.IsNaN(good) {
			continue
		}
		of++
		if above > 0.3*good {
			n++
		}
		duty, amps = append(duty, q.Duty_pct), append(amps, above)
	}
	if of == 0 {
		return true
	}
	follows := len(d.start.Attempts) == 1 && stat.RankCorrelation(duty, amps) > 0.9 && slices.Max(amps) > 1.5*slices.Min(amps)
	return 2*n >= of || follows
}

// followsDuty says that the current of the plateaus goes with the duty as only
// that of a turning rotor does: rising over five duties or more without one
// out of place in twenty, by half as much again, each steady. An awake board
// between attempts draws the same whatever the duty.
func (d *detail) followsDuty() bool {
	var duty, amps []float64
	for _, q := range d.plateaus {
		above := q.Median_A - d.rest()
		if above <= 0 || q.SD_A > above/3 {
			return false
		}
		duty, amps = append(duty, q.Duty_pct), append(amps, above)
	}
	if len(duty) < 5 {
		return false
	}
	return stat.RankCorrelation(duty, amps) > 0.95 && slices.Max(amps) > 1.5*slices.Min(amps)
}

// runsUnseen says that a unit whose rest the trace does not hold draws running
// current throughout: its start was not seen, which is no failure to start.
func (d *detail) runsUnseen(r *reference) bool {
	for _, q := range r.points {
		if q.Current.Value < 0.3*q.level {
			return false
		}
	}
	return len(r.points) > 0
}

// least is the least that the unit ever drew for long with supply on: before
// any command, or where the trace does not hold that, at any plateau. NaN when
// neither was seen.
func (d *detail) least() float64 {
	if !math.IsNaN(d.early) || len(d.plateaus) == 0 {
		return d.early
	}
	l := math.Inf(1)
	for _, q := range d.plateaus {
		l = min(l, q.Median_A)
	}
	return l
}

// peak is the highest mean level anywhere in the trace, single samples left
// out.
func (d *detail) peak(m *kind.Measured) float64 {
	h := d.highest
	for _, a := range d.start.Attempts {
		h = max(h, a.Mean_A)
	}
	if !math.IsNaN(d.early) {
		h = max(h, d.early)
	}
	return h
}

// tried says that an attempt was more than a wake-up: its level stands above a
// sixth of that of a good unit's attempt, far above what an awake board draws
// and far below what turns a rotor.
func (d *detail) tried(p *profiles.Profile) bool {
	good := weigh.MeanOf(p, StartLevel)
	return slices.ContainsFunc(d.start.Attempts, func(a startup.Attempt) bool { return a.Mean_A-d.rest() > good/6 })
}

// reachedAtAll says that some current proves supply and ground at the unit:
// resting current clear of zero, a charging peak, or a wake-up.
func (d *detail) reachedAtAll(p *profiles.Profile, highest float64) bool {
	if q := weigh.MeanOf(p, Quiet); q > 0 && d.quiet > 0.3*q && d.quiet > 3*d.quietU {
		return true
	}
	if d.charge != nil {
		if good := weigh.MeanOf(p, SwitchOnCharge); good > 0 && d.charge.Value > 0.2*good {
			return true
		}
	}
	if good := weigh.MeanOf(p, StartLevel); good > 0 && highest > 0.02*good && highest > 6*d.noise {
		return true
	}
	return false
}

// flat says that a running unit's current does not follow the duty where that
// of good units does.
func (d *detail) flat(r *reference) bool {
	if len(r.points) < 3 {
		return false
	}
	lo, hi, glo, ghi := math.Inf(1), 0.0, math.Inf(1), 0.0
	for _, q := range r.points {
		lo, hi = min(lo, q.Current.Value), max(hi, q.Current.Value)
		glo, ghi = min(glo, q.level), max(ghi, q.level)
	}
	return ghi-glo > 0.3*ghi && hi-lo < 0.15*(ghi-glo)*hi/ghi
}

// looks measures what the attempts look like beside those of good units.
func (d *detail) looks(e *evidence, p *profiles.Profile, r *reference) {
	e.empty, e.brief = math.NaN(), math.NaN()
	if good := weigh.MeanOf(p, StartLevel); good > 0 && d.level > 0 {
		rest := d.rest()
		e.attemptLevel = math.Log(max(d.level-rest, good/1000) / max(good-r.quiet, good/2))
	}
	var lengths, empties []float64
	for _, a := range d.start.Attempts {
		if !a.Running {
			lengths = append(lengths, a.Length_s)
			if !math.IsNaN(a.Empty) {
				empties = append(empties, a.Empty)
			}
		}
	}
	if len(empties) > 0 {
		e.empty = stat.Median(empties)
	}
	if len(lengths) >= 2 {
		mean, sd := stat.MeanSD(lengths)
		e.uneven = sd / mean
	}
	e.clamped = d.clamped
	e.full, e.resets = d.pattern.Full, d.pattern.Resets
	for _, l := range d.laterBy {
		e.laterFull += l.Full
	}
	if settle := weigh.MeanOf(p, StartSettle); settle > 0 && len(lengths) > 0 {
		e.brief = stat.Mean(lengths) / settle
	}
}
