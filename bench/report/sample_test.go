package report_test

import (
	"math"
	"math/rand/v2"
	"time"

	"dutybench/bench/report"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// Invented tests for the pages: no real unit, type or person stands behind
// them.

func ptr(v float64) *float64 { return &v }

func causePtr(c result.Cause) *result.Cause { return &c }

// good is the current of a good unit at a duty, in amperes: quiet current
// plus a cube, the law of a centrifugal pump.
func good(duty float64) float64 {
	if duty < 10 {
		return 0.03
	}
	return 0.12 + 4.4*math.Pow(duty/100, 3) + 0.25*duty/100
}

// sampleTrace is a minute at 500 samples a second: off, quiet, up, hold,
// down, stop, with a charging peak at switch-on. The current follows law.
func sampleTrace(unit string, law func(t, duty float64, rnd *rand.Rand) float64) *trace.Trace {
	rnd := rand.New(rand.NewPCG(1, 2))
	var t, d, c, on, v []float64
	const rate = 500
	seconds := 60
	if law == nil { // a short one, for many tests
		law, seconds = func(_, d float64, _ *rand.Rand) float64 { return good(d) }, 6
	}
	for i := range seconds * rate {
		x := float64(i) / rate
		duty := 0.0
		switch {
		case x < 5:
		case x < 30:
			duty = 20 + 10*math.Floor((x-5)/2.78)
		case x < 35:
			duty = 100
		case x < 55:
			duty = 90 - 10*math.Floor((x-35)/2.5)
		}
		supply := 1.0
		if x < 2 || x >= 59 {
			supply = 0
		}
		a := 0.0
		if supply == 1 {
			a = law(x, duty, rnd) + 0.004*rnd.NormFloat64()
		}
		if i == 2*rate {
			a = 27.4
		}
		t, d, c, on = append(t, x), append(d, duty), append(c, a), append(on, supply)
		v = append(v, supply*(13.5-0.05*a)+0.01*rnd.NormFloat64())
	}
	return &trace.Trace{
		Source: "sample.csv", SHA256: "5d0c0ffee5d0c0ffee5d0c0ffee5d0c0ffee5d0c0ffee5d0c0ffee5d0c0ffee5",
		Meta: []trace.Entry{{Key: trace.KeyUnit, Value: unit}, {Key: trace.KeyLost, Value: "0"}},
		Columns: []trace.Column{
			{Name: trace.ColTime, Values: t}, {Name: trace.ColDuty, Values: d}, {Name: trace.ColCurrent, Values: c},
			{Name: trace.ColSupplyOn, Values: on}, {Name: trace.ColSupply, Values: v},
		},
	}
}

func sampleInput(unit string) report.Input {
	return report.Input{
		Rig: "left bench", Fixture: "loop, 20 mm bore, 0.4 m lift, water with a third of glycol, 22 °C",
		When:     time.Date(2026, 3, 4, 15, 4, 5, 0, time.FixedZone("", 3600)),
		Operator: "M. Sample", Program: "dutybench 0.1.0 (go1.26, linux/arm64)", Primed: true,
		Wet: true, Cautions: []string{"Coolant may be hot, under pressure and poisonous: take the supply off and let it cool before opening the loop."},
		TracePath: "/var/lib/dutybench/traces/" + unit + ".csv", Page: "/var/lib/dutybench/pages/" + unit + ".html",
		Profile: &profiles.Profile{Name: "sample-pump-medium", Revision: 3, Kind: "pump",
			Limits: profiles.Limits{DryRun: 10 * time.Second, StartTimeout: 6 * time.Second}},
		Facts: []report.Fact{
			{Key: "Current", Value: "16-bit converter, 5 mΩ shunt, 1.1 ms a sample, step 0.5 mA"},
			{Key: "Bus", Value: "I²C at 400 kHz"},
		},
		Result: result.Result{
			Schema: result.Schema, Source: unit + ".csv", Unit: unit, Kind: "pump", Record: "LB-000042",
			Profile: result.Profile{Name: "sample-pump-medium", Revision: 3,
				SHA256: "9a3f51c0d2b84e6f7a1b2c3d4e5f60718293a4b5c6d7e8f90123456789abcdef"},
		},
	}
}

func curve(factor func(duty float64) float64) []result.Point {
	var out []result.Point
	add := func(d float64, dir string, shift float64) {
		c := good(d)
		out = append(out, result.Point{Duty: d, Direction: dir, Current: c*factor(d) + shift, Uncertainty: 0.02 + 0.012*c,
			Low: ptr(c*0.9 - 0.03), High: ptr(c*1.1 + 0.03)})
	}
	for d := 20.0; d <= 100; d += 10 {
		add(d, "up", 0)
	}
	for d := 90.0; d >= 20; d -= 10 {
		add(d, "down", -0.015)
	}
	return out
}

func finding(name string, v, u, low, high float64, unit string, res result.Outcome, note string) result.Finding {
	f := result.Finding{Name: name, Unit: unit, Result: res, Note: note}
	if res != result.NotMeasured {
		f.Value = ptr(v)
		if u > 0 {
			f.Uncertainty, f.K = ptr(u), 2
			f.Budget = []result.Part{{Source: "noise", U: u / 4, DoF: 88}, {Source: "converter gain", U: u / 2.2}}
		}
	}
	if !math.IsNaN(low) {
		f.Low = ptr(low)
	}
	if !math.IsNaN(high) {
		f.High = ptr(high)
	}
	return f
}

var nan = math.NaN()

// goodPump passes everything.
func goodPump() report.Input {
	in := sampleInput("S-1001")
	in.Trace = sampleTrace("S-1001", func(t, d float64, r *rand.Rand) float64 {
		if t > 5 && t < 5.66 { // alignment, then a ramp
			return 0.93 - 1.0*math.Max(0, t-5.2)
		}
		return good(d) * (1 + 0.03*r.NormFloat64())
	})
	r := &in.Result
	r.Verdict = result.Pass
	r.Sentence = "Unit S-1001 is good: it starts at once and draws what good units draw at every duty. Fit it."
	r.NextStep = "Fit it."
	r.Curve = curve(func(float64) float64 { return 1.01 })
	r.Startup = result.Startup{Attempts: []result.Attempt{{Start: 5.04, Length: 0.62, Mean: 0.41, Peak: 0.93}}, Settled: ptr(5.66)}
	r.Findings = []result.Finding{
		finding("switch-on charge", 0.0121, 0.0011, 0.008, 0.016, "C", result.Passed, ""),
		finding("quiet current", 0.0312, 0.0024, 0.02, 0.045, "A", result.Passed, ""),
		finding("start-up attempts", 1, 0, nan, 1, "", result.Passed, ""),
		finding("time to settle", 0.62, 0.02, nan, 1.5, "s", result.Passed, ""),
		finding("full-command current", 4.818, 0.078, 4.26, 5.28, "A", result.Passed, ""),
		finding("largest distance from the curve", 0.4, 0, nan, 3, "", result.Passed, ""),
		finding("hysteresis", 0.015, 0.024, nan, 0.12, "A", result.Passed, ""),
		finding("drop-outs", 0, 0, nan, 0, "", result.Passed, ""),
		finding("ripple frequency", 0, 0, nan, nan, "Hz", result.NotMeasured, "500 samples a second are too few to see the ripple."),
		finding("supply drop", 0.049, 0.004, nan, 0.12, "Ω", result.Passed, ""),
		finding("without a command", 0, 0, nan, nan, "", result.NotMeasured, "the profile does not state it"),
	}
	r.Warnings = []string{}
	return in
}

// bindingPump has drag: the curve is lifted most at low speed.
func bindingPump() report.Input {
	in := sampleInput("S-1002")
	lift := func(d float64) float64 { return 1 + 1.1*math.Exp(-(d-20)/35) }
	in.Trace = sampleTrace("S-1002", func(t, d float64, r *rand.Rand) float64 {
		switch {
		case t > 5 && t < 5.04, t > 5.39 && t < 6.1:
			return good(0)
		case t >= 5.04 && t <= 5.39, t >= 6.1 && t < 6.8:
			return 1.5 + 0.1*math.Sin(90*t)
		}
		return good(d) * lift(max(d, 20)) * (1 + 0.04*r.NormFloat64())
	})
	r := &in.Result
	r.Verdict, r.Cause = result.Fail, causePtr(result.Mechanical)
	r.Sentence = "Unit S-1002 fails: something binds in it. It draws up to twice what good units draw at low speed and nearly the usual current at full."
	r.NextStep = "Open the pump end and look for grit, scale or a worn bearing; keep the board."
	r.Carried = []string{"current at 30 %", "share of the linear term", "full-command current"}
	r.Disproof = "A curve inside the band after the pump end was cleaned with nothing else changed"
	r.Reusable = []string{"control board", "connector and housing"}
	r.Curve = curve(lift)
	r.Startup = result.Startup{Attempts: []result.Attempt{
		{Start: 5.04, Length: 0.35, Mean: 0.9, Peak: 1.61}, {Start: 6.1, Length: 0.7, Mean: 1.1, Peak: 1.72}}, Settled: ptr(7.02)}
	r.Causes = []result.CauseProbability{
		{Cause: result.Mechanical, Probability: 0.93,
			For:     []string{"current is lifted most at low speed, in proportion", "second attempt needed", "full, balanced current in the first attempt"},
			Against: []string{"full-command current is inside its limits"}},
		{Cause: result.ControlBoard, Probability: 0.05, For: []string{"a second attempt was needed"}, Against: []string{"each command got its own speed"}},
		{Cause: result.Hydraulic, Probability: 0.015, Against: []string{"the cubic part of the curve is as in good units"}},
		{Cause: result.Electrical, Probability: 0}, {Cause: result.Wiring, Probability: 0.003}, {Cause: result.Bench, Probability: 0.002},
	}
	r.Findings = []result.Finding{
		finding("switch-on charge", 0.0118, 0.0011, 0.008, 0.016, "C", result.Passed, ""),
		finding("quiet current", 0.0309, 0.0024, 0.02, 0.045, "A", result.Passed, ""),
		finding("start-up attempts", 2, 0, nan, 1, "", result.Failed, "A good unit starts at the first attempt."),
		finding("current at 30 %", 0.561, 0.014, 0.25, 0.38, "A", result.Failed, ""),
		finding("share of the linear term", 0.41, 0.05, nan, 0.19, "", result.Failed, "friction, not water"),
		finding("full-command current", 5.21, 0.08, 4.26, 5.28, "A", result.Doubtful, "the uncertainty reaches over the limit"),
		finding("hysteresis", 0.031, 0.024, nan, 0.12, "A", result.Passed, ""),
		finding("ripple frequency", 0, 0, nan, nan, "Hz", result.NotMeasured, "500 samples a second are too few to see the ripple."),
	}
	r.Findings[3].Spread, r.Findings[4].Spread = ptr(9.34), ptr(6.1)
	r.Warnings = []string{"Two samples carry the same time, at 14.202 s.", "The supply fell to 13.2 V at full command."}
	return in
}

// deadBoard shows nothing after the charging peak.
func deadBoard() report.Input {
	in := sampleInput("S-1003")
	in.Primed, in.Operator = false, ""
	in.Trace = sampleTrace("S-1003", func(float64, float64, *rand.Rand) float64 { return 0.001 })
	r := &in.Result
	r.Verdict, r.Cause = result.Undecided, causePtr(result.ControlBoard)
	r.Sentence = "Unit S-1003 cannot be judged for sure: it takes its switch-on charge and then nothing, whatever the command. Dead board, or a signal wire that is open."
	r.NextStep = "Measure the signal level at the unit's plug while it is commanded, then repeat."
	r.Inseparable = []result.Cause{result.ControlBoard, result.Wiring}
	r.SeparatedBy = "reading the line's low and high level at the plug"
	r.Carried = []string{"quiet current", "full-command current"}
	r.Disproof = "any current after a command on another cable"
	r.Reusable = []string{"pump end, once it turns by hand"}
	r.Curve = curve(func(float64) float64 { return 0 })
	for i := range r.Curve {
		r.Curve[i].Current, r.Curve[i].Uncertainty = 0.001, 0.003
	}
	r.Causes = []result.CauseProbability{
		{Cause: result.ControlBoard, Probability: 0.72, For: []string{"no attempt to start", "no quiet current"}},
		{Cause: result.Wiring, Probability: 0.27, For: []string{"the line's levels were not read"}, Against: []string{"the supply wire is whole: the capacitor charged"}},
		{Cause: result.Mechanical, Probability: 0.004}, {Cause: result.Hydraulic, Probability: 0.002},
		{Cause: result.Electrical, Probability: 0.002}, {Cause: result.Bench, Probability: 0.002},
	}
	r.Findings = []result.Finding{
		finding("switch-on charge", 0.0119, 0.0011, 0.008, 0.016, "C", result.Passed, "the converter stood at the end of its range: at least this much"),
		finding("quiet current", 0.0010, 0.0024, 0.02, 0.045, "A", result.Failed, ""),
		finding("start-up attempts", 0, 0, 1, 1, "", result.Failed, "no attempt was seen"),
		finding("full-command current", 0.001, 0.003, 4.26, 5.28, "A", result.Failed, ""),
		finding("line level, low", 0, 0, nan, nan, "V", result.NotMeasured, "this rig does not read the line"),
	}
	return in
}
