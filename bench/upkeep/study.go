package upkeep

import (
	"errors"
	"fmt"
	"math"
	"time"

	"dutybench/signal/quality"
)

// Gauged is what a study says of one finding.
type Gauged struct {
	Finding, Unit string
	Study         quality.Study
	Mean          float64
	// Low and High are the profile's limits, NaN without; Room is their width,
	// or with one limit twice the way from the units' mean to it.
	Low, High, Room float64
	// Values by unit, filling and repeat, for the page.
	Values [][][]float64
}

// OfTolerance is six standard deviations of a component over the room between
// the limits; NaN without limits.
func (g *Gauged) OfTolerance(c quality.Component) float64 {
	return quality.OfTolerance(c.SD(), g.Room)
}

// Left is a finding that the study says nothing of, and why.
type Left struct{ Finding, Why string }

// Outcome is a whole study.
type Outcome struct {
	Plan     Plan
	Progress *Progress
	Setting  Setting
	Rig      string
	From, To time.Time
	Findings []Gauged
	Left     []Left
}

// ErrUnfinished says that tests are still to be done.
var ErrUnfinished = errors.New("the study is not whole yet")

// Result analyses a study that is whole: units, fillings nested within units,
// and repeats (quality.Nested). A filling belongs to its unit, as no two units
// are ever in the same one.
func (g *Progress) Result() (*Outcome, error) {
	if m, repeat, ok := g.Next(); ok {
		return nil, fmt.Errorf("upkeep: %w: %d of %d tests are done; next comes unit %s, filling %d, test %d (dutybench bench study next)", ErrUnfinished, g.Made(), g.Plan.Tests(), m.Unit, m.Number, repeat)
	}
	tests := g.tests()
	first := tests[0]
	o := &Outcome{Plan: g.Plan, Progress: g, Setting: first.Setting, Rig: first.Rig, From: first.When, To: first.When}
	for _, t := range tests {
		if t.When.Before(o.From) {
			o.From = t.When
		}
		if t.When.After(o.To) {
			o.To = t.When
		}
	}
	for _, f := range first.Findings {
		if len(f.Budget) == 0 && f.Value != nil {
			why := "a test gives no uncertainty with it, so there is nothing to hold the scatter against"
			if f.Unit == "" {
				why = "it is a count, and has no uncertainty"
			}
			o.Left = append(o.Left, Left{f.Name, why})
			continue
		}
		values, missing := g.values(f.Name)
		if missing != "" {
			o.Left = append(o.Left, Left{f.Name, missing})
			continue
		}
		s, err := quality.Nested(values)
		if err != nil {
			return nil, fmt.Errorf("upkeep: finding %s: %w", f.Name, err)
		}
		if s.Total.Variance == 0 {
			o.Left = append(o.Left, Left{f.Name, "it was the same in all tests"})
			continue
		}
		o.Findings = append(o.Findings, gauged(f.Name, f.Unit, s, values, tests))
	}
	if len(o.Findings) == 0 {
		return nil, errors.New("upkeep: no finding was measured in all tests of the study: look at the records, and repeat those that say nothing")
	}
	return o, nil
}

func gauged(name, unit string, s quality.Study, values [][][]float64, tests []Test) Gauged {
	g := Gauged{Finding: name, Unit: unit, Study: s, Low: math.Inf(-1), High: math.Inf(1), Values: values, Room: nan}
	for _, t := range tests {
		f := t.Finding(name)
		g.Mean += *f.Value / float64(len(tests))
		// Limits that move with what was measured: the narrowest count.
		if f.Low != nil {
			g.Low = max(g.Low, *f.Low)
		}
		if f.High != nil {
			g.High = min(g.High, *f.High)
		}
	}
	low, high := !math.IsInf(g.Low, 0), !math.IsInf(g.High, 0)
	switch {
	case low && high:
		g.Room = g.High - g.Low
	case low:
		g.Room = 2 * (g.Mean - g.Low)
	case high:
		g.Room = 2 * (g.High - g.Mean)
	}
	if !low {
		g.Low = nan
	}
	if !high {
		g.High = nan
	}
	if !(g.Room > 0) {
		g.Room = nan // the units lie beyond their limits
	}
	return g
}

// Meaning is a finding's study in one sentence. The bounds of 10 and 30 % and
// the five categories are those that the AIAG's Measurement Systems Analysis,
// 4th edition, gives for guidance (chapter II section D, chapter III section B).
func (g *Gauged) Meaning() string {
	s := &g.Study
	larger := "most of the scatter comes from repeating"
	if s.Gauge.Variance == 0 {
		larger = "no two tests of a unit differed"
	} else if g.refills() {
		larger = "most of the scatter comes from refilling and remounting"
	}
	share := g.OfTolerance(s.Gauge)
	var fits string
	switch {
	case math.IsNaN(share):
		fits = "The profile has no limits to hold the scatter against"
	case share < 0.10:
		fits = fmt.Sprintf("The bench is good enough for this limit: its scatter takes %s of the tolerance", percent(share))
	case share <= tooMuch:
		fits = fmt.Sprintf("The bench will do for this limit with care: its scatter takes %s of the tolerance", percent(share))
	default:
		fits = fmt.Sprintf("The bench is too unsteady for this limit: its scatter takes %s of the tolerance", percent(share))
	}
	tells := "and it tells these units apart"
	if n := s.Categories(); n < 5 {
		tells = "and it does not tell these units apart, which lie close together"
		if n >= 2 {
			tells = fmt.Sprintf("and it sorts these units into %d groups", int(n))
		}
	}
	return fmt.Sprintf("%s, %s; %s.", fits, tells, larger)
}
