package pump

import (
	"fmt"
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/bench/kind/weigh"
	"dutybench/profiles"
	"dutybench/signal/startup"
	"dutybench/signal/stat"
	"dutybench/signal/step"
	"dutybench/signal/trace"
)

// Names of a pump's measurements.
const (
	SwitchOnCharge = "switch_on_charge"
	Quiet          = "quiet_current"
	StartAttempts  = "start_attempts"
	StartDelay     = "start_delay"
	StartSettle    = "start_settle"
	StartPeak      = "start_peak"
	StartLevel     = "start_level"
	Full           = "full_current"
	Response       = "response"
	Hysteresis     = "hysteresis"
	DropOuts       = "drop_outs"
	Rotation       = "rotation_line"
	Unrest         = "unrest"
	SupplyDrop     = "supply_drop"
	SupplyFold     = "supply_fold"
)

// detail is what Assess needs beyond named values.
type detail struct {
	plateaus []step.Plateau // commanded to run, supply on
	start    startup.Startup
	pattern  startup.Pattern   // of its attempts
	later    []startup.Startup // runs commanded after the first
	laterBy  []startup.Pattern
	quiet    float64 // A, NaN when not measured
	noise    float64 // sample noise at rest, A
	level    float64 // A, start level
	highest  float64 // A, the highest plateau
	early    float64 // A, mean before any command with supply on, switch-on peak left out
	quietU   float64 // standard uncertainty of quiet, A
	charge   *stat.Quantity
	stop     float64
	settles  float64 // s that good units take from an attempt until they run, 0 not known
	faint    bool    // it runs, at so little beside its start that attempts cannot be told
	gaps     []int   // drop-outs in each plateau of a unit that ran
	missing  map[step.Line]float64
	clamped  float64 // see there

	supplyKnown bool // the voltage at the plug was sampled over enough currents
}

// Measure takes from a trace what a pump shows.
func (Kind) Measure(tr *trace.Trace, p *profiles.Profile) (*kind.Measured, error) {
	if tr.Len() == 0 {
		return nil, fmt.Errorf("pump: %s holds no sample: record the test again", tr.Source)
	}
	m := &kind.Measured{Trace: tr}
	d := &detail{stop: stopDuty(p), quiet: math.NaN(), early: math.NaN(), clamped: math.NaN(), settles: typicalSettle(p)}
	m.Detail = d
	d.findStarts(tr, running(p))
	m.Startup = d.start
	d.measurePlateaus(tr, p, m)
	d.measureQuiet(tr, m)
	d.faint = !d.start.Ran && d.followsDuty()
	d.measureStart(tr, m)
	d.measureCurve(m, fullDuty(p))
	d.measureSwing(tr, m)
	d.measureRotation(tr, sectionOf(p), m)
	atFullOnly(m)
	d.measureWarm(tr, m)
	d.measureSupply(tr, m)
	d.missing = step.Undriven(tr, weigh.Lines(tr, p))
	measureSurroundings(tr, p, m)
	weigh.Gains(tr, m)
	return m, nil
}

// atFullOnly takes back what was measured at the highest duty of a trace that
// never got to full: good units have it at full.
func atFullOnly(m *kind.Measured) {
	full := m.Get(Full)
	if full == nil || full.Missing == "" {
		return
	}
	for _, n := range []string{ShaftSpeed, Ripple} {
		if v := m.Get(n); v != nil && v.Missing == "" {
			v.Q, v.Missing = stat.Quantity{}, full.Missing
		}
	}
}

// typicalSettle is what good units take to settle, the mean, in s; 0 when not
// known.
func typicalSettle(p *profiles.Profile) float64 {
	if p == nil {
		return 0
	}
	return weigh.MeanOf(p, StartSettle)
}

// stopDuty is the profile's, else 0.
func stopDuty(p *profiles.Profile) float64 {
	if p != nil {
		return p.Command.Stop_pct
	}
	return 0
}

// running is what a profile's good units draw above rest at a duty; nil
// without a profile.
func running(p *profiles.Profile) func(float64) float64 {
	if p == nil || len(p.Good) == 0 {
		return nil
	}
	mean := make([]float64, len(p.Grid))
	for i := range mean {
		for _, g := range p.Good {
			mean[i] += g.Up[i] / float64(len(p.Good))
		}
	}
	quiet := weigh.MeanOf(p, Quiet)
	return func(duty float64) float64 {
		y, ok := interpolate(p.Grid, mean, duty)
		if !ok {
			return math.NaN()
		}
		return y - quiet
	}
}

func (d *detail) measurePlateaus(tr *trace.Trace, p *profiles.Profile, m *kind.Measured) {
	at, lines := weigh.Lines(tr, p), tr.Values(trace.ColLineDuty) != nil
	for _, s := range step.Find(tr) {
		// A step ends where the bench lets go of the line, whatever its duty
		// column says from there on.
		to := s.To
		if lines {
			to = s.From
		}
		for to < s.To && at(to) == step.Commanded {
			to++
		}
		if !s.Supply || s.Duty_pct <= d.stop+0.5 || to == s.From || tr.Time()[to-1]-tr.Time()[s.From] < step.Shortest_s {
			continue
		}
		s.To = to
		if d.start.Ran {
			// What comes before the unit runs is its start, no plateau.
			whole := s.To - s.From
			from := d.runningFrom(tr.Time()[s.From])
			for s.From < s.To && tr.Time()[s.From] < from {
				s.From++
			}
			if (s.To-s.From)*2 < whole {
				continue
			}
		}
		d.plateaus = append(d.plateaus, step.Settle(tr, s))
	}
	for _, q := range d.plateaus {
		t := tr.Time()
		m.Curve = append(m.Curve, kind.Point{Duty_pct: q.Duty_pct, Up: q.Up, Current: q.Current, Supply_V: q.Supply_V, Start_s: t[q.Start], End_s: t[q.End-1]})
	}
}

// runningFrom is the time from which a unit was running that had been commanded
// to at an instant, by the last start before it; never, when that failed.
func (d *detail) runningFrom(at_s float64) float64 {
	s := d.start
	for _, l := range d.later {
		if l.Commanded_s <= at_s {
			s = l
		}
	}
	if !s.Ran {
		return math.Inf(1)
	}
	a := s.Attempts[len(s.Attempts)-1]
	from := a.Start_s + d.settles
	if math.IsNaN(s.Settled_s) {
		return from
	}
	return max(from, s.Settled_s)
}

func add(m *kind.Measured, name, unit string, q stat.Quantity) {
	m.Values = append(m.Values, kind.Value{Name: name, Unit: unit, Q: q})
}

func miss(m *kind.Measured, name, unit, why string) {
	m.Values = append(m.Values, kind.Value{Name: name, Unit: unit, Missing: why})
}

// measureQuiet reads switch-on charge and quiet current from the stretch
// between switch-on and the first command.
func (d *detail) measureQuiet(tr *trace.Trace, m *kind.Measured) {
	t, x, on := tr.Time(), tr.Current(), step.Energised(tr)
	duty := tr.Duty()
	from := 0
	for from < len(t) && !on(from) {
		from++
	}
	energised := from > 0 && from < len(t)
	to := from
	for to < len(t) && duty[to] <= d.stop+0.5 && on(to) {
		to++
	}
	settle := from
	for settle < to && t[settle] < t[from]+0.1 {
		settle++
	}
	if to-settle >= 10 {
		resolution := 0.0
		if c := tr.Column(trace.ColCurrent); c != nil {
			resolution = c.Resolution
		}
		q := stat.MeanOf(x[settle:to]).With("resolution", resolution/math.Sqrt(12), 0)
		q.Value = trimmed(x[settle:to], resolution)
		d.quiet, d.quietU, d.early = q.Value, q.U(), q.Value
		d.noise = stat.RobustSD(x[settle:to])
		add(m, Quiet, "A", q)
	} else {
		miss(m, Quiet, "A", "the trace has no rest with supply on and the stop command")
	}
	switch {
	case !energised:
		miss(m, SwitchOnCharge, "C", "the trace does not show the supply going on")
	case tr.Rate() < 1000:
		miss(m, SwitchOnCharge, "C", "the charging peak lasts under a millisecond, and the sampling is slower than that")
	case slowSupply(t, tr.Values(trace.ColSupply), from, to):
		miss(m, SwitchOnCharge, "C", "the supply came up more slowly than the capacitor charges")
	default:
		q := switchOnCharge(t, x, from, to, integrating(tr))
		if top, ok := tr.Number("x-current-range-A"); ok && slices.Max(x[from:max(to, from+1)]) >= 0.999*top {
			q = q.With("peak beyond the converter's range", q.Value/math.Sqrt(3), 0)
			m.Warnings = append(m.Warnings, fmt.Sprintf("the charging peak went beyond the converter's range: the charge is at least %.3g C", q.Value))
		}
		d.charge = &q
		add(m, SwitchOnCharge, "C", q)
	}
}

// trimmed is the mean without what lies far from the median: a charging peak
// that the trace does not announce must not lift the resting level.
func trimmed(x []float64, resolution float64) float64 {
	med := stat.Median(x)
	far := max(8*stat.RobustSD(x), 3*resolution)
	var sum float64
	n := 0
	for _, v := range x {
		if math.Abs(v-med) <= far {
			sum += v
			n++
		}
	}
	return sum / float64(n)
}

// integrating says that the samples are means over the whole interval between
// them, as a converter that integrates gives them, so that nothing is lost
// between two.
func integrating(tr *trace.Trace) bool {
	on, _ := tr.Number(trace.KeyIntegrating)
	return on == 1
}

// switchOnCharge is the integral of current over the first 20 ms above the
// level that follows. Between samples of a converter that does not integrate
// the current is not known: one sample interval at the peak enters as
// uncertainty. Of one that does, the intervals in which the peak begins and
// ends may miss up to half of what the first holds.
func switchOnCharge(t, x []float64, from, to int, whole bool) stat.Quantity {
	end := from
	for end < to && t[end] < t[from]+0.02 {
		end++
	}
	after := end
	for after < to && t[after] < t[from]+0.1 {
		after++
	}
	level := 0.0
	if after > end {
		level = stat.Median(x[end:after])
	}
	var q, peak, dt float64
	for i := max(straddling(x, from, end), 1); i < end; i++ {
		dt = t[i] - t[i-1]
		q += (x[i] - level) * dt
		peak = max(peak, x[i]-level)
	}
	if whole {
		return stat.Quantity{Value: q}.With("edges of the intervals", math.Abs(x[min(from, len(x)-1)]-level)*dt/2/math.Sqrt(3), 0)
	}
	return stat.Quantity{Value: q}.With("peak between samples", peak*dt/math.Sqrt(3), 0)
}

// slowSupply says that the voltage at the plug had not come up when the charge
// was added up: what flowed until then is not the capacitor's charge at the
// supply. A twentieth short counts: with it the charge is off by as much, which
// is little against what good units differ by.
func slowSupply(t, supply_V []float64, from, to int) bool {
	early, later := math.NaN(), []float64(nil)
	for i := from; i < to && i < len(supply_V); i++ {
		switch since := t[i] - t[from]; {
		case math.IsNaN(supply_V[i]):
		case since <= 0.02:
			early = supply_V[i]
		case since > 0.1:
			later = append(later, supply_V[i])
		}
	}
	return len(later) > 0 && early < 0.95*stat.Median(later)
}

// straddling is the first sample of the charging peak: one before from when
// that was under way at switch-on, its middle before it. Its current then
// stands out from those without supply, and is no small part of the peak.
func straddling(x []float64, from, end int) int {
	const some = 10 // samples, to know the noise without supply
	if from < some || from >= end {
		return from
	}
	off := x[max(0, from-5*some) : from-1]
	peak := slices.Max(x[from-1 : end])
	if x[from-1] > stat.Median(off)+8*stat.RobustSD(off)+peak/100 {
		return from - 1
	}
	return from
}

// fullDuty is the duty from which a unit runs at full: the profile's, else 95 %,
// as types that keep the last per cents for other messages run at full there.
func fullDuty(p *profiles.Profile) float64 {
	if p != nil && p.Command.Full_pct > 0 {
		return min(95, p.Command.Full_pct-0.5)
	}
	return 95
}

// measureCurve reads full current, response to duty and hysteresis.
func (d *detail) measureCurve(m *kind.Measured, full float64) {
	if len(d.plateaus) == 0 {
		for _, n := range []string{Full, Response, Hysteresis} {
			miss(m, n, ruleFor(n).Unit, "no step of the trace lasts long enough for a plateau")
		}
		return
	}
	top := d.plateaus[0]
	lo, hi := d.plateaus[0], d.plateaus[0]
	for _, q := range d.plateaus {
		if q.Duty_pct > top.Duty_pct+0.5 || math.Abs(q.Duty_pct-top.Duty_pct) <= 0.5 && q.End-q.Start > top.End-top.Start {
			top = q
		}
		if q.Median_A < lo.Median_A {
			lo = q
		}
		if q.Median_A > hi.Median_A {
			hi = q
		}
	}
	d.highest = max(0, hi.Median_A)
	if top.Duty_pct >= full {
		add(m, Full, "A", top.Current)
	} else {
		miss(m, Full, "A", fmt.Sprintf("the highest duty in the trace is %.0f %%", top.Duty_pct))
	}
	if len(d.plateaus) >= 2 {
		full := max(hi.Median_A, 1e-9)
		add(m, Response, "%", stat.Quantity{Value: 100 * (hi.Median_A - lo.Median_A) / full}.
			With("highest plateau", 100*hi.Current.U()*math.Abs(lo.Median_A)/(full*full), 0).With("lowest plateau", 100*lo.Current.U()/full, 0))
	} else {
		miss(m, Response, "%", "the trace holds one duty only")
	}
	var diffs []float64
	for _, u := range d.plateaus {
		for _, v := range d.plateaus {
			if u.Up && !v.Up && v.Start > u.Start && math.Abs(u.Duty_pct-v.Duty_pct) < 0.5 && u.Current.Value+v.Current.Value > 0 {
				diffs = append(diffs, 200*(u.Current.Value-v.Current.Value)/(u.Current.Value+v.Current.Value))
				break
			}
		}
	}
	if len(diffs) >= 2 {
		add(m, Hysteresis, "%", stat.Quantity{Value: stat.Mean(diffs)}.With("scatter over duties", stat.SD(diffs)/math.Sqrt(float64(len(diffs))), float64(len(diffs)-1)))
	} else {
		miss(m, Hysteresis, "%", "fewer than two duties were measured both rising and falling")
	}
}
