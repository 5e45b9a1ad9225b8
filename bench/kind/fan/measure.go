package fan

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

// Names of a fan's measurements.
const (
	SwitchOnCharge = "switch_on_charge"
	Quiet          = "quiet_current"
	StartAttempts  = "start_attempts"
	StartDelay     = "start_delay"
	StartSettle    = "start_settle"
	StartPeak      = "start_peak"
	Full           = "full_current"
	DropOuts       = "drop_outs"
	ShaftSpeed     = "shaft_speed"
	AirShare       = "air_share"
	TurnLine       = "once_a_turn"
	SupplyDrop     = "supply_drop"
	SupplyFold     = "supply_fold"
)

// detail is what Assess needs beyond named values.
type detail struct {
	plateaus []step.Plateau // commanded to run, supply on
	start    startup.Startup
	pattern  startup.Pattern
	stop     float64
	quiet_A  float64 // NaN when not measured
	noise_A  float64 // of a sample, at rest
	charge_C float64 // NaN when not measured
	follows  bool    // the current goes with the duty as only that of turning blades does
	missing  map[step.Line]float64
	speeds   []turning // where the ripple tells them
	volts    bool      // the supply at the plug was sampled over the curve
}

// density_u is the relative standard uncertainty of the air's density beside
// that of the good units, which no bench here reads: a room of 15 to 30 °C,
// uniform, is 1.5 % (gas law), and a barometer moves by 1 % from day to day
// (8 to 10 hPa in middle latitudes; common practice, no source). Torque and power
// of the air go with it (fan laws; AMCA 201).
const density_u = 0.018

// Measure takes from a trace what a fan shows.
func (Kind) Measure(tr *trace.Trace, p *profiles.Profile) (*kind.Measured, error) {
	if tr.Len() == 0 {
		return nil, fmt.Errorf("fan: %s holds no sample: record the test again", tr.Source)
	}
	m := &kind.Measured{Trace: tr}
	d := &detail{quiet_A: math.NaN(), charge_C: math.NaN()}
	if p != nil {
		d.stop = p.Command.Stop_pct
	}
	m.Detail = d
	d.start = startup.Find(tr, d.stop, running(p))
	d.pattern = startup.Describe(tr, d.start)
	m.Startup = d.start
	at := weigh.Lines(tr, p)
	d.findPlateaus(tr, at, m)
	d.measureRest(tr, m)
	d.follows = d.followsDuty()
	d.measureStart(tr, m)
	d.measureFull(m, p)
	d.countDropOuts(tr, m)
	d.measureSpeed(tr, sectionOf(p), m)
	d.measureSupply(tr, m)
	d.missing = step.Undriven(tr, at)
	if rest, ok := tr.Number(trace.KeyRested); ok && rest >= 0 {
		add(m, kind.Rested, "s", stat.Exact(rest))
	}
	weigh.Gains(tr, m)
	return m, nil
}

func add(m *kind.Measured, name, unit string, q stat.Quantity) {
	m.Values = append(m.Values, kind.Value{Name: name, Unit: unit, Q: q})
}

func miss(m *kind.Measured, unit, why string, names ...string) {
	for _, n := range names {
		m.Values = append(m.Values, kind.Value{Name: n, Unit: unit, Missing: why})
	}
}

// rest is the quiet current, none where it is not known.
func (d *detail) rest() float64 {
	if math.IsNaN(d.quiet_A) {
		return 0
	}
	return d.quiet_A
}

// running is what a profile's good units draw above rest at a duty; nil without.
func running(p *profiles.Profile) func(float64) float64 {
	if p == nil || len(p.Good) == 0 {
		return nil
	}
	quiet := weigh.MeanOf(p, Quiet)
	return func(duty float64) float64 {
		row := weigh.Row(p, duty, true)
		if len(row) == 0 {
			return math.NaN()
		}
		return stat.Mean(row) - quiet
	}
}

// mean of what good units have; 0 where none has it.
func mean(xs []float64) float64 {
	if len(xs) == 0 {
		return 0
	}
	return stat.Mean(xs)
}

func (d *detail) findPlateaus(tr *trace.Trace, at func(int) step.Line, m *kind.Measured) {
	t := tr.Time()
	for _, s := range step.Find(tr) {
		to := s.From // a step ends where the bench lets go of the line
		for to < s.To && at(to) == step.Commanded {
			to++
		}
		s.To = to
		// What comes before the unit runs is its start, no plateau.
		if from := d.start.Settled_s; d.start.Ran && s.To > s.From && t[s.From] < from {
			whole := s.To - s.From
			for s.From < s.To && t[s.From] < from {
				s.From++
			}
			if 2*(s.To-s.From) < whole {
				continue
			}
		}
		if !s.Supply || s.Duty_pct <= d.stop+0.5 || s.To == s.From || t[s.To-1]-t[s.From] < step.Shortest_s {
			continue
		}
		q := step.Settle(tr, s)
		d.plateaus = append(d.plateaus, q)
		m.Curve = append(m.Curve, kind.Point{Duty_pct: q.Duty_pct, Up: q.Up, Current: q.Current, Supply_V: q.Supply_V, Start_s: t[q.Start], End_s: t[q.End-1]})
	}
}

// measureRest reads switch-on charge and quiet current between switch-on and the
// first command.
func (d *detail) measureRest(tr *trace.Trace, m *kind.Measured) {
	t, x, duty, on := tr.Time(), tr.Current(), tr.Duty(), step.Energised(tr)
	from := 0
	for from < len(t) && !on(from) {
		from++
	}
	to := from
	for to < len(t) && duty[to] <= d.stop+0.5 && on(to) {
		to++
	}
	part := func(a, b float64) []float64 { // seconds after switch-on
		i := from
		for ; i < to && t[i] < t[from]+a; i++ {
		}
		j := i
		for ; j < to && t[j] < t[from]+b; j++ {
		}
		return x[i:j]
	}
	if calm := part(0.1, math.Inf(1)); len(calm) >= 10 {
		q := stat.MeanOf(calm)
		if c := tr.Column(trace.ColCurrent); c != nil {
			q = q.With("resolution", c.Resolution/math.Sqrt(12), 0)
		}
		d.quiet_A, d.noise_A = q.Value, stat.RobustSD(calm)
		add(m, Quiet, "A", q)
	} else {
		miss(m, "A", "the trace has no rest with supply on and the stop command", Quiet)
	}
	peak, after := part(0, 0.02), part(0.02, 0.1)
	switch {
	case from == 0 || from == len(t):
		miss(m, "C", "the trace does not show the supply going on", SwitchOnCharge)
	case tr.Rate() < 1000 || len(peak) < 5 || len(after) < 5:
		miss(m, "C", "the charging peak lasts under a millisecond, and the sampling is slower than that", SwitchOnCharge)
	default:
		level, dt := stat.Median(after), 1/tr.Rate()
		// Of a converter that integrates, the first interval holds part of it;
		// of another, one interval at the peak is not known.
		q := stat.Quantity{Value: (x[from-1] - 0) * dt}
		for _, v := range peak {
			q.Value += (v - level) * dt
		}
		unsure := slices.Max(peak) - level
		if whole, _ := tr.Number(trace.KeyIntegrating); whole == 1 {
			unsure = math.Abs(peak[0]-level) / 2
		}
		q = q.With("peak between samples", unsure*dt/math.Sqrt(3), 0)
		d.charge_C = q.Value
		add(m, SwitchOnCharge, "C", q)
	}
}
