package main

import (
	"fmt"
	"strings"
	"time"

	"dutybench/bench/lot"
	"dutybench/bench/plot"
	"dutybench/bench/upkeep"
)

// benchDay is how near to a lot a check of the bench says something about it:
// one is due each day.
const benchDay = 24 * time.Hour

// well says what checks of the bench itself say about a lot, for each rig that
// it was tested on; empty where none is known.
func well(store upkeep.Source, s *lot.Summary, kind string) []string {
	var out []string
	if len(charted(kind)) == 0 {
		return nil
	}
	for _, rig := range s.Rigs {
		all, err := upkeep.All(store, upkeep.Chosen{Rig: rig, Findings: charted(kind)})
		if err != nil || len(all) == 0 {
			continue // no check unit, or none that can be read: nothing is known
		}
		out = append(out, checked(all, s.From, s.To))
	}
	return out
}

// checked is one rig's checks from a day before a lot to a day after it, by all
// its check units, that of the newest check first.
func checked(all []*upkeep.Health, from, to time.Time) string {
	name := "The bench " + plot.Plain(all[0].Rig)
	within := func(t time.Time) bool { return t.After(from.Add(-benchDay)) && t.Before(to.Add(benchDay)) }
	near := 0
	var before time.Time
	var alarms []string
	for _, h := range all {
		for _, t := range h.Tests {
			if within(t.When) {
				near++
			}
			if !t.When.After(to) && t.When.After(before) {
				before = t.When
			}
		}
		for _, a := range h.Alarms {
			if within(a.When) {
				alarms = append(alarms, fmt.Sprintf("%s in record %s", strings.TrimSuffix(plot.Plain(a.Words()), "."), plot.Plain(a.Record)))
			}
		}
	}
	day := func(t time.Time) string { return t.Local().Format("2006-01-02 15:04") }
	switch {
	case len(alarms) > 0:
		return name + " gave an alarm within a day of this lot: " + strings.Join(alarms, "; ") + ". Look at it with dutybench bench chart before these sums are used."
	case near == 0 && before.IsZero():
		return name + " was not checked before this lot: whether it drifted is not known."
	case near == 0:
		return name + " was last checked on " + day(before) + ", more than a day before this lot: what it did since is not known."
	}
	words := fmt.Sprintf("%s was checked %d times within a day of this lot, without an alarm", name, near)
	if near == 1 {
		words = name + " was checked once within a day of this lot, without an alarm"
	}
	if all[0].Missing > 0 {
		words += fmt.Sprintf("; but its limits still lack %d checks, so that little would have been seen", all[0].Missing)
	}
	return words + "."
}
