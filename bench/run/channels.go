package run

import (
	"fmt"
	"math"
	"strconv"
	"time"

	"dutybench/bench/rig"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// mostSamples bounds what is laid out before a run: 8 columns of them take
// 256 MB. A longer run goes on, with the columns growing.
const mostSamples = 4_000_000

// channels are the trace's columns, laid out before the run.
type channels struct {
	t, duty, current, on, supply, lineDuty, line, temperature []float64
	position                                                  placed
}

func (c *channels) make(d, interval time.Duration) {
	n := 1000
	if interval > 0 {
		n += int(min(int64(d)/int64(interval)*11/10, mostSamples))
	}
	for _, col := range c.all() {
		*col = make([]float64, 0, n)
	}
}

func (c *channels) all() []*[]float64 {
	out := []*[]float64{&c.t, &c.duty, &c.current, &c.on, &c.supply, &c.lineDuty, &c.line, &c.temperature}
	if c.position.profile != nil {
		out = append(out, &c.position.read, &c.position.told_pct)
	}
	return out
}

func (c *channels) len() int { return len(c.t) }

func (c *channels) add(t_s float64, st *state, current float64, s *rig.Sample) {
	on := 0.0
	if st.on {
		on = 1
	}
	c.t = append(c.t, micro(t_s))
	c.duty = append(c.duty, st.duty_pct)
	c.current = append(c.current, micro(current))
	c.on = append(c.on, on)
	c.supply = append(c.supply, micro(s.Supply_V))
	c.lineDuty = append(c.lineDuty, st.lineDuty_pct)
	c.line = append(c.line, micro(s.Line_V))
	c.temperature = append(c.temperature, micro(s.Temperature_C))
	c.position.add(s)
}

// micro rounds to a millionth, far below what converters resolve.
func micro(x float64) float64 { return math.Round(x*1e6) / 1e6 }

// trace is the trace so far. Its columns are the run's own.
func (x *runner) trace() *trace.Trace {
	x.flush()
	columns := x.columns()
	for i := range columns {
		col := &columns[i]
		col.Values = col.Values[:len(col.Values):len(col.Values)]
		col.Missing = missing(col.Values)
	}
	return &trace.Trace{Source: x.rig.Name, Meta: x.meta(x.ended(), x.zeroKnown), Columns: columns, Warnings: x.out.Warnings}
}

// columns are the trace's, with the values so far.
func (x *runner) columns() []trace.Column {
	a, c := x.rig.Accuracy, &x.ch
	return append([]trace.Column{
		{Name: trace.ColTime, Values: c.t},
		{Name: trace.ColDuty, Values: c.duty},
		{Name: trace.ColCurrent, Values: c.current, Resolution: a.CurrentStep_A},
		{Name: trace.ColSupplyOn, Values: c.on},
		{Name: trace.ColSupply, Values: c.supply, Resolution: a.VoltageStep_V},
		{Name: trace.ColLineDuty, Values: c.lineDuty},
		{Name: trace.ColLine, Values: c.line, Resolution: a.VoltageStep_V},
		{Name: trace.ColTemperature, Values: c.temperature},
	}, c.position.columns(a)...)
}

// missing counts what was not sampled.
func missing(values []float64) (n int) {
	for _, v := range values {
		if math.IsNaN(v) {
			n++
		}
	}
	return n
}

// meta is the trace's comment lines: why the test ended, and whether the zero
// has been taken from the current.
func (x *runner) meta(ended string, zeroed bool) []trace.Entry {
	num := func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
	m := []trace.Entry{{Key: trace.KeyTrace, Value: trace.Format}}
	add := func(key, value string) {
		if value = line(value); value != "" {
			m = append(m, trace.Entry{Key: key, Value: value})
		}
	}
	add(trace.KeyUnit, x.o.Unit)
	add(trace.KeyKind, x.profile.Kind)
	add(trace.KeyNominal, num(x.profile.Supply.Nominal_V))
	add(trace.KeyPWM, num(x.profile.Command.Frequency_Hz))
	if i := x.rig.Sampler.Interval(); i > 0 {
		add(trace.KeySampleRate, num(math.Round(1e4/i.Seconds())/1e4))
	}
	if d := x.thinned(); d > 0 {
		add(trace.KeyThinned, num(d.Seconds()))
	}
	add(trace.KeyEnded, ended)
	add(trace.KeyEnough, x.out.Enough)
	add(trace.KeyLost, strconv.Itoa(x.lost))
	add(trace.KeyRig, x.rig.Name)
	m = append(m, x.o.Circumstances...)
	a := x.rig.Accuracy
	for _, e := range []struct {
		key string
		u   float64
	}{{trace.KeyCurrentGainU, a.CurrentGain}, {trace.KeyVoltageGainU, a.VoltageGain}, {trace.KeyDutyU, 100 * x.edge_s() * x.profile.Command.Frequency_Hz}} {
		if e.u > 0 {
			add(e.key, num(e.u))
		}
	}
	if l := x.rig.Load; l != nil && x.profile.Command.Type == profiles.Switched {
		seen := trace.RecirculationUnseen
		if l.Seen {
			seen = trace.RecirculationSeen
		}
		add(trace.KeyRecirculation, seen)
	}
	if x.rig.Integrating {
		add(trace.KeyIntegrating, "1")
	}
	switch {
	case zeroed:
		add(trace.KeyCurrentOffsetU, num(x.out.Zero.U()))
	case x.zeroKnown && a.CurrentOffset_A > 0:
		add(trace.KeyCurrentOffsetU, num(a.CurrentOffset_A))
	}
	add("program", x.o.Program)
	add("profile", fmt.Sprintf("%s revision %d", x.profile.Name, x.profile.Revision))
	switch {
	case zeroed:
		add("x-zero-A", num(x.zero_A))
	case x.zeroKnown:
		add("x-zero-not-taken-A", num(x.zero_A))
	}
	if r := x.rig.Accuracy.CurrentRange_A; r > 0 {
		add("x-current-range-A", num(r-x.zero_A))
	}
	for _, k := range x.marks {
		what := num(k.step.Command_pct)
		switch names := [...]string{"", "released", "low", "high"}; {
		case k.step.Line > 0 && int(k.step.Line) < len(names):
			what = names[k.step.Line]
		}
		to := k.to
		if to == 0 {
			to = x.rig.Clock.Now() // under way when a panic came
		}
		add("step", fmt.Sprintf("%s %.4f %.4f %s", k.step.Name, (k.from-x.start).Seconds(), (to-x.start).Seconds(), what))
	}
	m, x.refused = trace.Fit(m) // told by the outcome; samples are never given up for a comment
	return m
}

// outcome closes the account.
func (x *runner) outcome() *Outcome {
	x.out.Began = x.start
	x.out.Unbegun = x.testing
	if x.out.Trip = x.guard.Tripped(); x.out.Trip != nil && x.out.Ended == "" {
		x.out.Ended = x.out.Trip.Reason
	}
	n := x.ch.len()
	if x.lost > 0 {
		x.warn("%d of %d samples were lost, the first of them at %.3f s.", x.lost, n+x.lost, x.firstLost.Seconds())
	}
	if x.rig.Rescued != nil && x.rig.Rescued() > 0 {
		x.warn("The bus failed %d times and answered when asked again: check its plugs, its pull-ups and what switches near it.", x.rig.Rescued())
	}
	if x.late > 0 {
		x.warn("%d of %d samples came late by more than half an interval.", x.late, n)
	}
	if x.clipped > 0 {
		x.warn("%d current samples stand at the end of the range: the true current was at least what they say, and after the charging peak they count as the peak limit.", x.clipped)
	}
	if _, ever := x.guard.LastOff(); ever && math.IsNaN(x.supply_V) {
		x.warn("The supply at the unit was not sampled, so its range was not guarded.")
	}
	x.account()
	x.out.Trace = x.trace()
	for _, why := range x.refused {
		x.warn("A comment line of the trace was left out: %s.", why)
	}
	x.out.Trace.Warnings = x.out.Warnings
	return &x.out
}

// ended is why the test ended, with the guard's rule before its reason.
func (x *runner) ended() string {
	if t := x.guard.Tripped(); t != nil {
		return string(t.Rule) + ": " + t.Reason
	}
	return x.out.Ended
}

// placed is what a unit tells of its position, as it was read and as the
// profile says what that means.
type placed struct {
	profile        *profiles.Profile // nil: nothing is read
	read, told_pct []float64
	supply_V       float64 // last read
}

func (c *placed) add(s *rig.Sample) {
	if c.profile == nil {
		return
	}
	if !math.IsNaN(s.Supply_V) {
		c.supply_V = s.Supply_V
	}
	c.read = append(c.read, micro(s.Position))
	c.told_pct = append(c.told_pct, micro(c.told(s)))
}

// told is the position that a sample tells, in per cent; NaN where it does not.
func (c *placed) told(s *rig.Sample) float64 {
	if c.profile == nil {
		return math.NaN()
	}
	return c.profile.Position.Of(s.Position, c.supply_V, c.profile.Supply.Nominal_V)
}

// last is whether the unit tells its position, and the last in per cent that was
// read; NaN before the first.
func (c *placed) last() (tells bool, pct float64) {
	if c.profile == nil {
		return false, 0
	}
	for i := len(c.told_pct) - 1; i >= 0; i-- {
		if !math.IsNaN(c.told_pct[i]) {
			return true, c.told_pct[i]
		}
	}
	return true, math.NaN()
}

func (c *placed) columns(a rig.Accuracy) []trace.Column {
	if c.profile == nil {
		return nil
	}
	told := trace.Column{Name: trace.ColPosition, Values: c.told_pct}
	if c.profile.Position.By == profiles.ByPWM {
		return []trace.Column{told}
	}
	return []trace.Column{{Name: trace.ColPositionV, Values: c.read, Resolution: a.VoltageStep_V}, told}
}
