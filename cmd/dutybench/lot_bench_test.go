package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dutybench/bench/lot"
	"dutybench/bench/record"
	"dutybench/bench/upkeep"
)

func TestLotBenchChecked(t *testing.T) {
	t.Parallel()
	from := time.Date(2026, 11, 26, 8, 0, 0, 0, time.Local)
	to := from.Add(8 * time.Hour)
	for _, c := range []struct {
		checks  []time.Duration // from the lot's beginning
		alarm   time.Duration   // 0: none
		missing int
		says    string
	}{
		{nil, 0, 0, "was not checked before this lot"},
		{[]time.Duration{48 * time.Hour}, 0, 0, "was not checked before this lot"},
		{[]time.Duration{-50 * time.Hour}, 0, 0, "last checked on 2026-11-24 06:00, more than a day before"},
		{[]time.Duration{-time.Hour}, 0, 0, "checked once within a day of this lot, without an alarm."},
		{[]time.Duration{-time.Hour, 9 * time.Hour}, 0, 12, "checked 2 times within a day of this lot, without an alarm; but its limits still lack 12"},
		{[]time.Duration{-time.Hour, 9 * time.Hour}, 9 * time.Hour, 0, "gave an alarm within a day of this lot: full current: 6 A lies out in record k-000009"},
		{[]time.Duration{-time.Hour}, -100 * time.Hour, 0, "without an alarm"},
	} {
		h := &upkeep.Health{Rig: "bench 2", Missing: c.missing}
		for _, d := range c.checks {
			h.Tests = append(h.Tests, upkeep.Test{When: from.Add(d)})
		}
		if c.alarm != 0 {
			h.Alarms = append(h.Alarms, upkeep.Alarm{When: from.Add(c.alarm), Record: "k-000009", Finding: "full_current", Sentence: "6 A lies out"})
		}
		assert.Contains(t, checked([]*upkeep.Health{h}, from, to), c.says)
		if c.alarm != 0 && len(c.checks) > 1 { // a later check unit hides no alarm
			other := &upkeep.Health{Rig: "bench 2", Missing: 19, Tests: []upkeep.Test{{When: from.Add(10 * time.Hour)}}}
			assert.Contains(t, checked([]*upkeep.Health{other, h}, from, to), c.says)
		}
	}
	p := newPallet(nil)
	assert.Empty(t, well(&p.memory, &lot.Summary{Rigs: []string{"sim"}}, "pump"), "no check unit is known")
	assert.Empty(t, well(&p.memory, &lot.Summary{Rigs: []string{"sim"}}, "fan"))
	p.put(&record.Record{Purpose: "core", Program: "t", Rig: record.Rig{Name: "sim"}, At: record.Circumstances{Unit: "x"}})
	assert.Empty(t, well(&p.memory, &lot.Summary{Rigs: []string{"sim"}}, "pump"))
}
