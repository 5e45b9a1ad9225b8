package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"dutybench/bench/judge"
	"dutybench/bench/kind"
	"dutybench/bench/plot"
	"dutybench/bench/record"
	"dutybench/signal/trace"
)

func (t *test) conditions() kind.Conditions {
	return kind.Conditions{Primed: t.flags.primed, Purpose: kind.Purpose(t.flags.purpose)}
}

// choosePlan is the plan that the flags ask for.
func (t *test) choosePlan() error {
	f := t.flags
	t.plan = t.kind.Plan(t.profile)
	switch {
	case f.soak > 0:
		k, ok := t.kind.(kind.Soaker)
		if !ok {
			return usage("--soak: a %s has no plan for a soak; leave it out", t.profile.Kind)
		}
		t.plan = k.Soak(t.profile, time.Duration(f.soak*float64(time.Minute)))
	case f.full || kind.Purpose(f.purpose) == kind.Return:
		// Never early: a return is tested whole, whatever its first steps show.
	default:
		if k, ok := t.kind.(kind.Quick); ok {
			t.plan = k.Quick(t.profile)
			t.decider = &judge.Decider{Profile: t.profile, Kind: t.kind, Conditions: t.conditions()}
		}
	}
	return nil
}

// findEarlier looks up how often this unit was tested here, and when it was
// last.
func (t *test) findEarlier() {
	if t.flags.unit == "" {
		return
	}
	t.attempt = 1
	entries, err := t.store.List(record.Filter{Unit: t.flags.unit})
	if err != nil {
		return // a store that cannot be read is told when the record is begun
	}
	t.attempt += len(entries)
	if !t.clock.set() {
		return
	}
	for _, e := range entries {
		if d := t.clock.now().Sub(e.When); d > 0 && (t.rested == 0 || d < t.rested) {
			t.rested = d
		}
	}
}

// keySimulated marks a trace that no real unit made. Built-in rigs are known by
// their name as well.
const keySimulated = "x-simulated"

// circumstances go into the trace. What a trace cannot hold is left out before
// the test, and the record says so.
func (t *test) circumstances() []trace.Entry {
	var out []trace.Entry
	add := func(key, value string) {
		if value != "" {
			out = append(out, trace.Entry{Key: key, Value: strings.Join(strings.Fields(value), " ")})
		}
	}
	add(trace.KeyDate, t.clock.now().Format(time.RFC3339))
	if !t.clock.set() {
		add("x-clock", "not set")
	}
	add(trace.KeyPartRevision, t.flags.revision)
	add(trace.KeyFilling, t.flags.filling)
	add(trace.KeyFluid, t.flags.fluid)
	add(trace.KeyFixture, t.flags.fixture)
	if t.simulated() {
		add(keySimulated, "yes")
	}
	add("x-inspection", inspectionWords(t.inspection))
	if t.rested > 0 {
		add(trace.KeyRested, strconv.FormatFloat(math.Round(t.rested.Seconds()), 'f', -1, 64))
	}
	t.studied(add)
	kept, refused := trace.Fit(out)
	for _, why := range refused {
		t.doubt("A line on the circumstances of the test was left out: %s.", why)
	}
	return kept
}

// doubt says something before the test, and in its record.
func (t *test) doubt(format string, args ...any) {
	s := plot.Plain(fmt.Sprintf(format, args...))
	t.doubts = append(t.doubts, s)
	fmt.Fprintln(t.stderr, "dutybench:", s)
}
