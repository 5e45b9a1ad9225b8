package learn

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"dutybench/bench/kind"
	"dutybench/profiles"
	"dutybench/signal/stat"
	steps "dutybench/signal/step"
	"dutybench/signal/trace"
)

// frame is the part of a profile that is not measured current: taken over
// from Like, or from the traces as far as they tell, with what was assumed
// said in the notes.
func frame(units []measured, k kind.Kind, o Options, rep *Report) *profiles.Profile {
	p := &profiles.Profile{}
	if o.Like != nil {
		c := *o.Like
		p = &c
		p.Stated, p.Good, p.Grid = slices.Clone(o.Like.Stated), nil, nil
		takeFluid(p, units, rep)
		p.Notes = append(slices.Clone(o.Like.Notes), "Command, supply, limits and fixture taken over from profile "+o.Like.Name+".")
	} else {
		assume(p, units, kind.Wet(k))
		rep.Notes = append(rep.Notes, fmt.Sprintf("command, supply, limits and fixture are assumed, with a stop command of %g %%: check them before a run, or take them over with --like", p.Command.Stop_pct))
		p.Section = assumedSection(k, p.Command)
	}
	p.Format, p.Name, p.Kind = profiles.Format, o.Name, k.Name()
	p.Revision = max(o.Revision, 1)
	if p.Title == "" || o.Like == nil {
		p.Title = fmt.Sprintf("%s, learned from %d good units", k.Name(), len(units))
	}
	p.SHA256, p.Source = "", ""
	p.Learned = profiles.Learned{On: o.On, Program: o.Program, Rate_Hz: math.Inf(1)}
	var supply []float64
	for _, u := range units {
		for _, m := range u.m {
			p.Learned.Rate_Hz = min(p.Learned.Rate_Hz, m.Trace.Rate())
			for _, q := range m.Curve {
				if !math.IsNaN(q.Supply_V) {
					supply = append(supply, q.Supply_V)
				}
			}
		}
	}
	p.Learned.Rate_Hz = round(p.Learned.Rate_Hz, 4)
	if len(supply) > 0 {
		p.Learned.Supply_V = round(stat.Mean(supply), 5)
	}
	return p
}

// assume fills command, supply, limits and fixture from the traces alone. A unit
// of whose free-wheel path a trace speaks is one that the bench switches.
func assume(p *profiles.Profile, units []measured, wet bool) {
	tr := units[0].m[0].Trace
	number := func(key string, otherwise float64) float64 {
		if v, ok := tr.Number(key); ok && v > 0 {
			return v
		}
		return otherwise
	}
	highest, lowest, top := 0.0, math.Inf(1), 0.0
	for _, u := range units {
		for _, m := range u.m {
			for _, q := range m.Curve {
				top = max(top, q.Current.Value)
				if !math.IsNaN(q.Supply_V) {
					highest, lowest = max(highest, q.Supply_V), min(lowest, q.Supply_V)
				}
			}
		}
	}
	nominal := number(trace.KeyNominal, 0)
	if nominal == 0 {
		// The usual systems are 12 and 24 V; a trace without voltage is taken
		// for the first.
		nominal = 12
		if highest > 0 {
			nominal = round(highest, 3)
		}
	}
	p.Supply = profiles.Supply{Nominal_V: nominal, Low_V: round(0.85*nominal, 3), High_V: round(1.15*nominal, 3)}
	if highest > 0 {
		p.Supply.Low_V = min(p.Supply.Low_V, round(0.95*lowest, 3))
		p.Supply.High_V = max(p.Supply.High_V, round(1.05*highest, 3))
	}
	var traces []*trace.Trace
	for _, u := range units {
		for _, m := range u.m {
			traces = append(traces, m.Trace)
		}
	}
	stop, full := commandEnds(traces)
	p.Command = profiles.Command{Type: profiles.Signal, Frequency_Hz: number(trace.KeyPWM, 1000), Tolerance: 0.05, Drive: "open-drain", Stop_pct: stop, Wake_pct: stop + 1, Full_pct: full}
	if _, switched := tr.Get(trace.KeyRecirculation); switched {
		p.Command = profiles.Command{Type: profiles.Switched, Frequency_Hz: number(trace.KeyPWM, 0), Wake_pct: 1, Full_pct: 100}
	}
	p.Limits = profiles.Limits{
		Current_A: round(1.5*top, 2), Time: 500 * time.Millisecond,
		Peak_A: round(3*top, 2), Charge_C: 0.1, ChargeTime: 5 * time.Millisecond,
		Rest: 5 * time.Second, StartTimeout: 10 * time.Second,
	}
	if p.Command.Type == profiles.Switched {
		// No board and so no capacitor; its own start draws far more than its run.
		p.Limits.Charge_C, p.Limits.ChargeTime = 0, 0
		p.Limits.Peak_A = round(max(3*top, 1.5*highest_A(traces)), 2)
	}
	p.Fixture = profiles.Fixture{Type: profiles.Vice, LowTemp_C: 10, HighTemp_C: 35}
	if wet {
		p.Limits.DryRun = 60 * time.Second
		p.Fixture.Type, p.Fixture.Fluid = profiles.Loop, "not recorded"
	}
	if fixture, ok := tr.Get(trace.KeyFixture); ok {
		p.Fixture.Description = fixture
		if wet && strings.Contains(strings.ToLower(fixture), "bucket") {
			p.Fixture.Type = profiles.Bucket
		}
	}
	if fluid, ok := tr.Get(trace.KeyFluid); ok && fluid != "" {
		p.Fixture.Fluid = fluid
	}
	assumePosition(p, tr)
	p.Notes = append(p.Notes,
		"The traces do not say how the unit is commanded or limited: command, supply range, limits and fixture here are assumed. Check them before a run. Of these the stop command, the nominal supply with its range, and the range of temperature enter a judgement.")
}

// takeFluid puts what the units ran in, where all traces say the same, in place
// of what was taken over.
func takeFluid(p *profiles.Profile, units []measured, rep *Report) {
	said := ""
	for _, u := range units {
		for _, m := range u.m {
			fluid, _ := m.Trace.Get(trace.KeyFluid)
			if fluid == "" || said != "" && fluid != said {
				return
			}
			said = fluid
		}
	}
	if said != "" && said != p.Fixture.Fluid {
		rep.Notes = append(rep.Notes, fmt.Sprintf("the units ran in %q, and the profile taken over says %q: the new profile says what they ran in", said, p.Fixture.Fluid))
		p.Fixture.Fluid = said
	}
}

// restingDuty is the duty at which the units rest with supply on before they
// run, as all traces show it: the first duty, while hardly any current flows;
// 0 when a trace shows none.
func restingDuty(traces []*trace.Trace) float64 {
	at := math.NaN()
	for _, tr := range traces {
		on, duty, x := steps.Energised(tr), tr.Duty(), tr.Current()
		from := 0
		for from < len(x) && !on(from) {
			from++
		}
		to := from
		for to < len(x) && on(to) && duty[to] == duty[from] {
			to++
		}
		// A tenth of the highest running current: an idle board takes a hundredth.
		if to-from < 10 || to == len(x) || stat.Median(x[from:to]) > stat.Select(slices.Clone(x[to:]), (len(x)-to)*95/100)/10 {
			return 0
		}
		if !math.IsNaN(at) && at != duty[from] {
			return 0
		}
		at = duty[from]
	}
	if math.IsNaN(at) {
		return 0
	}
	return at
}

// round keeps so many significant digits.
func round(x float64, digits int) float64 {
	if x == 0 || math.IsInf(x, 0) || math.IsNaN(x) {
		return x
	}
	f := math.Pow(10, float64(digits)-math.Ceil(math.Log10(math.Abs(x))))
	return math.Round(x*f) / f
}
