// Package lot is a rebuilder's day: a pallet of returned cores, tested one
// after the other and sorted by what of each can be used again.
//
// What a lot has come to follows from its records alone: nothing else is kept,
// so that a lot goes on after a power cut, and anybody who has the records
// gets the same sums. Fold is the one place that says what a unit came to:
//
//   - A test counts when it says something about the unit. One that broke off,
//     was cancelled or could not be read does not, and neither does one whose
//     undecided verdict lies with the bench, its wiring or its surroundings:
//     the unit is asked for again.
//   - All tests that count passed: good. All failed: sorted by the side that
//     failed, and where they name different sides, by neither.
//   - Undecided: once more, after its next step is done. Rule.Tries says how
//     many undecided tests make a unit doubtful, whatever else it did.
//   - One passed and another failed, or an undecided one came after one that
//     was decided: doubtful. No test is ever replaced by a later one.
//   - All that count passed, and one that was stopped or broke off had two
//     findings or more outside their limits by then: doubtful. To stop a test
//     and begin again passes no unit; all other tests that were stopped are
//     told beside the pass.
//   - All that count passed, and one of the same serial outside the lot failed
//     within NearLot of it: doubtful, as for tests that disagree. What was
//     decided otherwise outside is told and counts in no sum.
//
// Serials are the same when only the case of their letters differs: a scanner
// and a keyboard do not agree on it.
package lot

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"dutybench/bench/record"
	"dutybench/bench/result"
)

// Test is one record of a lot, with what the sums need beside its entry.
type Test struct {
	record.Entry
	// Result of the test; its zero value when it was not judged or cannot be read.
	Result result.Result
	// Length_s is what the trace covers, in seconds; NaN when not known.
	Length_s float64
	// Unread says why the record could not be read back; empty when it was.
	Unread string
}

// Rule is what a lot is sorted by.
type Rule struct {
	// Tries is how many undecided tests that count make a unit doubtful, 1 to
	// MaxTries; 0 stands for DefaultTries.
	Tries int
	// Outside is what was decided of the lot's serials outside it, as Outside
	// finds it.
	Outside []record.Entry
}

// NearLot is how long before a lot's first test, and after its last, a fail
// outside the lot speaks against a pass in it (chosen: within a week few units
// are repaired and come back; a year would make doubtful what was rebuilt in
// between). One further away is told.
const NearLot = 7 * 24 * time.Hour

// DefaultTries gives an undecided unit one more test after its next step is
// done, MaxTries bounds what can be asked for (both chosen: every further try
// gives a unit at the edge one more chance to pass by accident).
const (
	DefaultTries = 2
	MaxTries     = 5
)

func (r Rule) tries() int { return min(max(cmp.Or(r.Tries, DefaultTries), 1), MaxTries) }

// Weight is whether a test counts, and against whom.
type Weight int

// The weights.
const (
	Counts  Weight = iota // says something about the unit
	Broken                // broke off, was cancelled, or cannot be read
	OfBench               // the bench, its wiring or surroundings kept it from deciding
)

// Weight of the test, with the reason where it does not count.
func (t *Test) Weight() (Weight, string) {
	switch {
	case t.Unread != "":
		return Broken, "its record cannot be read: " + t.Unread
	case t.Interrupted:
		return Broken, "it was interrupted"
	case t.Cancelled:
		return Broken, "it was stopped"
	case t.Verdict == "":
		return Broken, "it was not judged"
	case t.Verdict != result.Undecided:
		return Counts, ""
	case t.bench():
		return OfBench, clause(cmp.Or(t.Result.Sentence, "the bench or its wiring is at fault"))
	}
	return Counts, ""
}

// bench says that an undecided test says nothing about the unit.
func (t *Test) bench() bool {
	if t.Result.Schema == 0 { // the list alone
		return t.Cause == result.Wiring || t.Cause == result.Bench
	}
	return t.Result.Surroundings || t.Result.Exit() == 5
}

// Key is what a serial is known by.
func Key(serial string) string { return strings.ToLower(strings.TrimSpace(serial)) }

// order is that in which tests were made: by time, and within one bench by
// number where its clock went back. The slice is sorted in place.
func order(tests []*Test) []*Test {
	// Benches' numbers are the truth of each bench. Its times are made to rise
	// with them first, so that one order holds for all.
	slices.SortFunc(tests, func(a, b *Test) int {
		return cmp.Or(cmp.Compare(a.ID.Bench, b.ID.Bench), cmp.Compare(a.ID.Seq, b.ID.Seq))
	})
	type timed struct {
		at   int64 // ns
		test *Test
	}
	all := make([]timed, len(tests))
	for i, t := range tests {
		all[i] = timed{t.When.UnixNano(), t}
		if i > 0 && tests[i-1].ID.Bench == t.ID.Bench {
			all[i].at = max(all[i].at, all[i-1].at)
		}
	}
	slices.SortStableFunc(all, func(a, b timed) int { return cmp.Compare(a.at, b.at) })
	for i := range all {
		tests[i] = all[i].test
	}
	return tests
}

// pointers are the tests of a slice.
func pointers(tests []Test) []*Test {
	out := make([]*Test, len(tests))
	for i := range tests {
		out[i] = &tests[i]
	}
	return out
}

// clause is a sentence as it stands after a colon, on one line.
func clause(s string) string {
	s = strings.TrimSuffix(strings.Join(strings.Fields(s), " "), ".")
	s = strings.TrimPrefix(s, "Undecided: ")
	if len(s) > 1 && s[0] >= 'A' && s[0] <= 'Z' && (s[1] < 'A' || s[1] > 'Z') {
		s = strings.ToLower(s[:1]) + s[1:]
	}
	return s
}

// Last is the test of a lot that was made last; nil without any.
func Last(tests []Test) *Test {
	if len(tests) == 0 {
		return nil
	}
	t := order(pointers(tests))
	return t[len(t)-1]
}
