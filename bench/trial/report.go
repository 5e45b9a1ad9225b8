package trial

import (
	"slices"
	"time"

	"dutybench/bench/result"
)

// Schema is the version of a report's JSON.
const Schema = 1

// Report is all that a study found, as scripts get it: rates each with their
// 95 % interval, and times in seconds.
type Report struct {
	Schema   int              `json:"schema"`
	Profiles []result.Profile `json:"profiles"`
	Seed     uint64           `json:"seed"`
	Trials   int              `json:"trials"`
	Planned  int              `json:"planned"`
	// Partial says that the study was stopped before its end.
	Partial bool    `json:"partial"`
	Took    float64 `json:"took_s"`
	Workers int     `json:"workers"`

	Good   Outcomes `json:"good"`
	Faulty Outcomes `json:"faulty"`
	// Stray are trials undecided although neither the rules nor a listed
	// inseparable set ask for it.
	Stray       Rate          `json:"undecided_outside_sets"`
	Calibration Calibrated    `json:"calibration"`
	Windows     []Window      `json:"windows"`
	Faults      []FaultReport `json:"faults"`
	Sizes       []SizeReport  `json:"sizes"`
	// Confusion has a row for each true side.
	Confusion []ConfusionRow `json:"confusion"`
	Times     []VerdictTime  `json:"bench_time"`
}

// Outcomes are what became of a group of units.
type Outcomes struct {
	Units     int  `json:"units"`
	Pass      Rate `json:"pass"`
	Fail      Rate `json:"fail"`
	Undecided Rate `json:"undecided"`
	NotPassed Rate `json:"not_passed"`
	// Right are those whose own side was named first; Attributed also those
	// where it was named within a listed inseparable set. None for good units.
	Right      Rate `json:"right,omitzero"`
	Attributed Rate `json:"attributed,omitzero"`
	// Window are those that one window at full command refuses.
	Window Rate      `json:"window_refuses"`
	Time   BenchTime `json:"bench_time"`
}

// FaultReport is one fault over its severities.
type FaultReport struct {
	Name       string           `json:"name"`
	Kind       string           `json:"kind"`
	Side       result.Cause     `json:"side"`
	Line       string           `json:"line"`
	Graded     bool             `json:"graded"`
	Severities []SeverityReport `json:"severities"`
	// Caught is the severity from which nine of ten do not pass, and
	// WindowCaught that from which nine of ten lie outside the window; only
	// for graded faults, tried at two severities or more.
	Caught       *Caught `json:"caught_9_of_10,omitempty"`
	WindowCaught *Caught `json:"window_caught_9_of_10,omitempty"`
}

// SeverityReport is one fault at one severity.
type SeverityReport struct {
	Severity float64 `json:"severity"`
	// Means is what the severity is in physical units, where the fault says.
	Means string `json:"means,omitempty"`
	Outcomes
}

// SizeReport is what became of the units of one profile.
type SizeReport struct {
	Profile string   `json:"profile"`
	Good    Outcomes `json:"good"`
	Faulty  Outcomes `json:"faulty"`
}

// ConfusionRow counts, for units of one true side, the cause named first.
type ConfusionRow struct {
	Side   result.Cause         `json:"side"` // empty: good units
	Named  map[result.Cause]int `json:"named"`
	None   int                  `json:"none"` // not passed, and no cause named
	Passed int                  `json:"passed"`
}

// VerdictTime is the bench time of the tests that ended with a verdict.
type VerdictTime struct {
	Verdict result.Verdict `json:"verdict"`
	BenchTime
}

// Report sums the table up.
func (t *Table) Report() *Report {
	sizes, faults, severities := t.axes()
	windows := t.windows()
	pick := func(match func(*Trial) bool) Outcomes { return t.outcomes(windows, match) }
	stray := t.Count(func(*Trial) bool { return true })
	r := &Report{
		Schema: Schema, Profiles: []result.Profile{}, Seed: t.Seed, Trials: len(t.Trials), Planned: max(t.Planned, len(t.Trials)),
		Partial: t.Planned > len(t.Trials), Took: t.Took.Round(time.Millisecond).Seconds(), Workers: t.Workers,
		Good: pick(Good), Faulty: pick(Faulty), Stray: NewRate(stray.Stray, stray.N),
		Calibration: t.calibration().Result(), Windows: append([]Window{}, windows...),
		Faults: []FaultReport{}, Sizes: []SizeReport{}, Confusion: t.confusion(), Times: t.times(),
	}
	for _, s := range sizes {
		i := slices.IndexFunc(t.Trials, func(x Trial) bool { return x.Profile == s })
		r.Profiles = append(r.Profiles, t.Trials[i].Result.Profile)
		r.Sizes = append(r.Sizes, SizeReport{Profile: s,
			Good:   pick(func(x *Trial) bool { return x.Profile == s && Good(x) }),
			Faulty: pick(func(x *Trial) bool { return x.Profile == s && Faulty(x) })})
	}
	for _, f := range faults {
		r.Faults = append(r.Faults, faultReport(f, severities, pick))
	}
	return r
}

func faultReport(of fault, severities []float64, pick func(func(*Trial) bool) Outcomes) FaultReport {
	l := listed(of.kind, of.name)
	f := FaultReport{Name: of.name, Kind: of.kind, Side: result.Cause(l.Side), Line: l.Line, Graded: l.Graded}
	var at []float64
	var n, caught, window []int
	for _, v := range severities {
		s := SeverityReport{Severity: v, Outcomes: pick(func(x *Trial) bool { return of.is(x) && x.Severity == v })}
		switch v {
		case 0.5:
			s.Means = l.Half
		case 1:
			s.Means = l.Full
		}
		f.Severities = append(f.Severities, s)
		if s.Units > 0 { // a study that was stopped may have come to none
			at, n = append(at, v), append(n, s.Units)
			caught, window = append(caught, s.NotPassed.Count), append(window, s.Window.Count)
		}
	}
	if f.Graded {
		f.Caught = CaughtFrom(at, caught, n)
		if len(f.Severities) > 0 && f.Severities[0].Window.Of > 0 {
			f.WindowCaught = CaughtFrom(at, window, n)
		}
	}
	return f
}

// outcomes sums up the trials that match. Those of a size without a window
// stand in no rate of it.
func (t *Table) outcomes(windows []Window, match func(*Trial) bool) Outcomes {
	c := t.Count(match)
	var long timer
	refused, held := 0, 0
	for i := range t.Trials {
		x := &t.Trials[i]
		if !match(x) {
			continue
		}
		long.add(x.Long)
		if k := slices.IndexFunc(windows, func(w Window) bool { return w.Profile == x.Profile }); k >= 0 {
			held++
			if windows[k].refuses(x.Full_A) {
				refused++
			}
		}
	}
	o := Outcomes{Units: c.N, Pass: NewRate(c.Passed, c.N), Fail: NewRate(c.Fail, c.N), Undecided: NewRate(c.Undecided, c.N),
		NotPassed: NewRate(c.N-c.Passed, c.N), Window: NewRate(refused, held), Time: long.time()}
	if c.Faulty > 0 {
		o.Right, o.Attributed = NewRate(c.Right, c.N), NewRate(c.Attributed(), c.N)
	}
	return o
}

// calibration is that of the causes of all faulty units that did not pass,
// each with the one side of its fault as the truth.
func (t *Table) calibration() *Calibration {
	var c Calibration
	for i := range t.Trials {
		if x := &t.Trials[i]; Faulty(x) {
			side := x.sides()[0]
			c.Add(x.Result, func(cause result.Cause) bool { return cause == side })
		}
	}
	return &c
}

// confusion has a row for good units and for each true side that was tried.
func (t *Table) confusion() []ConfusionRow {
	rows := []ConfusionRow{}
	for _, side := range append([]result.Cause{""}, result.Causes()...) {
		row := ConfusionRow{Side: side, Named: map[result.Cause]int{}}
		n := 0
		for i := range t.Trials {
			x := &t.Trials[i]
			if x.Fault == "" && side != "" || x.Fault != "" && x.sides()[0] != side {
				continue
			}
			n++
			switch {
			case x.Result.Verdict == result.Pass:
				row.Passed++
			case x.Result.Cause == nil:
				row.None++
			default:
				row.Named[*x.Result.Cause]++
			}
		}
		if n > 0 {
			rows = append(rows, row)
		}
	}
	return rows
}

// times are the bench times by verdict.
func (t *Table) times() []VerdictTime {
	out := []VerdictTime{}
	for _, v := range []result.Verdict{result.Pass, result.Fail, result.Undecided} {
		var long timer
		for i := range t.Trials {
			if x := &t.Trials[i]; x.Result.Verdict == v {
				long.add(x.Long)
			}
		}
		if long.N() > 0 {
			out = append(out, VerdictTime{v, long.time()})
		}
	}
	return out
}
