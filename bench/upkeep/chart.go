package upkeep

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"dutybench/bench/record"
	"dutybench/bench/result"
	"dutybench/signal/quality"
)

// Chosen says what to chart. The zero value will do but for Findings.
type Chosen struct {
	Unit, Rig string   // empty: those of the newest check
	Findings  []string // in the order in which they are shown
	Baseline  int      // 0: Baseline
}

// ErrNoCheck says that no check unit was tested.
var ErrNoCheck = errors.New("upkeep: no check unit was tested yet: choose a good unit that stays at the bench, and test it with dutybench bench check --unit SERIAL")

// Watch charts a check unit. The others of its rig whose own newest test lies
// out are named beside it.
func Watch(s Source, c Chosen) (*Health, error) {
	all, err := All(s, c)
	if err != nil {
		return nil, err
	}
	h := all[0]
	for _, o := range all[1:] {
		if o.Out && o.Simulated == h.Simulated {
			h.Others = append(h.Others, o.other())
		}
	}
	return h, nil
}

// All charts every check unit of a rig, the chosen one first, the others by
// their newest test, newest first.
func All(s Source, c Chosen) ([]*Health, error) {
	if c.Baseline == 0 {
		c.Baseline = Baseline
	}
	if c.Baseline < 5 || c.Baseline > 1000 {
		return nil, fmt.Errorf("upkeep: a baseline of %d tests: give 5 to 1000", c.Baseline)
	}
	if len(c.Findings) == 0 {
		return nil, fmt.Errorf("upkeep: say which findings to chart")
	}
	tests, err := Load(s, record.Filter{Purpose: CheckUnit, Rig: c.Rig})
	if err != nil {
		return nil, err
	}
	slices.Reverse(tests) // the newest first
	first := slices.IndexFunc(tests, func(t Test) bool { return c.Unit == "" || strings.EqualFold(t.Unit, c.Unit) })
	if first < 0 {
		return nil, ErrNoCheck
	}
	like := Health{Unit: tests[first].Unit, Rig: tests[first].Rig, Simulated: tests[first].Setting.Simulated, Baseline: c.Baseline}
	if err := like.rules(len(c.Findings)); err != nil {
		return nil, err
	}
	chosen := like
	all := []*Health{&chosen}
	for _, t := range tests {
		if t.Rig != like.Rig {
			continue
		}
		at := slices.IndexFunc(all, func(h *Health) bool { return strings.EqualFold(h.Unit, t.Unit) })
		if at < 0 {
			h := like
			h.Unit, h.Simulated = t.Unit, t.Setting.Simulated
			at, all = len(all), append(all, &h)
		}
		all[at].Tests = append(all[at].Tests, t)
	}
	for _, h := range all {
		slices.Reverse(h.Tests)
		h.watch(c.Findings)
	}
	return all, nil
}

// watch charts what Tests holds, and looks for alarms.
func (h *Health) watch(findings []string) {
	h.divide()
	for _, name := range findings {
		h.chart(name)
	}
	h.verdicts()
	slices.SortStableFunc(h.Alarms, func(a, b Alarm) int { return a.When.Compare(b.When) })
	for _, a := range h.Alarms {
		h.Out = h.Out || a.Record == h.last().ID.String()
	}
	h.openAlarms()
}

// last is the newest test.
func (h *Health) last() *Test { return &h.Tests[len(h.Tests)-1] }

// rules sets the limits for so many findings together.
func (h *Health) rules(findings int) (err error) {
	h.rate = 1.0 / FalseAlarms / float64(ways*findings)
	h.Sigmas = quality.Next(h.rate, h.Baseline).Sigmas
	h.ShiftValue = quality.ARL(h.Sigmas, shift)
	if h.L, err = quality.LimitFor(Weight, 1/h.rate); err != nil {
		return fmt.Errorf("upkeep: limits for %d findings: %w", findings, err)
	}
	h.ShiftDrift, err = quality.EWMA{Lambda: Weight, L: h.L, N: h.Baseline}.ARL(shift)
	return err
}

// divide finds the phases.
func (h *Health) divide() {
	for i, t := range h.Tests {
		if i > 0 {
			why := h.Tests[i-1].Setting.changed(t.Setting)
			if why == "" {
				h.Phases[len(h.Phases)-1].Tests++
				continue
			}
			h.Phases = append(h.Phases, Phase{From: i, Why: why, Tests: 1})
			continue
		}
		h.Phases = append(h.Phases, Phase{Tests: 1})
	}
	h.Missing = max(0, h.Baseline-h.Phases[len(h.Phases)-1].Tests)
}

// verdicts adds an alarm for each test that the check unit did not pass.
func (h *Health) verdicts() {
	for _, t := range h.Tests {
		if t.Verdict != result.Pass {
			h.Alarms = append(h.Alarms, Alarm{When: t.When, Record: t.ID.String(), Kind: "verdict",
				Sentence: fmt.Sprintf("the check unit, which is good, came out as %s", t.Verdict),
				Next:     fmt.Sprintf("Stop testing until the check unit passes again: put right on the bench what its record names (dutybench records show %s), and repeat the check.", t.ID)})
		}
	}
}

// nan is not measured, or not known.
var nan = math.NaN()
