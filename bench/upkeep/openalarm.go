package upkeep

import (
	"fmt"
	"slices"
	"strings"

	"dutybench/bench/plot"
)

// openAlarms finds the alarms of the test that came last before a phase began:
// a changed rig file or a new calibration takes their limits away, and does not
// heal them. They stay open until a person has put words to a check since, as a
// note on what it was. One by the verdict heals when the check unit passes, which
// takes no limits. Whether the bench is out of control, the newest phase says.
func (h *Health) openAlarms() {
	if len(h.Phases) == 0 {
		return
	}
	for _, ph := range h.Phases[1:] {
		if slices.ContainsFunc(h.Tests[ph.From:], func(t Test) bool { return strings.TrimSpace(t.Note) != "" }) {
			continue
		}
		before := h.Tests[ph.From-1].ID.String()
		for _, a := range h.Alarms {
			if a.Record == before && a.Kind != "verdict" {
				h.Open = append(h.Open, a)
			}
		}
	}
}

// OpenWords say each open alarm.
func (h *Health) OpenWords() []string {
	var out []string
	for _, a := range h.Open {
		out = append(out, fmt.Sprintf("Open from the phase before: record %s of %s, %s. New limits do not heal it: find what it was, and say so with the next check (dutybench bench check --note WORDS).",
			a.Record, a.When.Local().Format("2006-01-02 15:04"), plot.Plain(a.Words())))
	}
	return out
}
