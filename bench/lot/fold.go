package lot

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"dutybench/bench/record"
	"dutybench/bench/result"
)

// Unit is what one core came to, by all its tests in the lot.
type Unit struct {
	Serial string  // as it was first typed
	Tests  []*Test // in the order in which they were made
	Bin    Bin
	// Verdict is pass, fail or undecided; undecided for units in the bins
	// Again and Doubtful.
	Verdict result.Verdict
	// Causes of a unit that failed: one, several that its test cannot tell
	// apart, or none.
	Causes []result.Cause
	// Unshown says of a failed unit's reusable side that no test showed it at
	// work, such as "not shown to turn here".
	Unshown string
	// Why says how it came into Again or Doubtful, and what else a person
	// should know of it; each is a clause.
	Why []string
	// Counted is how many of its tests count.
	Counted int
}

// Last is the unit's last test.
func (u *Unit) Last() *Test { return u.Tests[len(u.Tests)-1] }

// Done says that no further test of the unit is asked for.
func (u *Unit) Done() bool { return u.Bin != Again }

// Fold is what the units of a lot came to, in the order in which they first
// stood on the bench. The order of tests does not matter: they carry their
// own.
func Fold(tests []Test, r Rule) []Unit {
	at := map[string]int{}
	var units []Unit
	for _, t := range order(pointers(tests)) {
		k := Key(t.At.Unit)
		i, ok := at[k]
		if !ok {
			i = len(units)
			at[k] = i
			units = append(units, Unit{})
		}
		units[i].Tests = append(units[i].Tests, t)
	}
	from, to := span(tests)
	outside := map[string][]record.Entry{}
	for _, e := range r.Outside {
		outside[Key(e.At.Unit)] = append(outside[Key(e.At.Unit)], e)
	}
	for i := range units {
		units[i].Tests = order(units[i].Tests) // by its own records alone: what others' clocks did is nothing to it
		units[i].Serial = strings.TrimSpace(units[i].Tests[0].At.Unit)
		units[i].sort(r)
		units[i].stopped()
		units[i].beside(outside[Key(units[i].Serial)], from, to)
	}
	return units
}

// sort finds verdict and bin of a unit from its tests.
func (u *Unit) sort(r Rule) {
	u.Bin, u.Verdict = Again, result.Undecided
	var passed, failed, open []*Test
	late := false // an undecided test came after a decided one
	for i, t := range u.Tests {
		weight, why := t.Weight()
		if weight != Counts {
			if i == len(u.Tests)-1 {
				u.Why = append(u.Why, fmt.Sprintf("%s does not count: %s", t.ID, why))
			}
			continue
		}
		u.Counted++
		switch t.Verdict {
		case result.Pass:
			passed = append(passed, t)
		case result.Fail:
			failed = append(failed, t)
		default:
			open = append(open, t)
			late = late || len(passed)+len(failed) > 0
		}
	}
	switch {
	case u.Counted == 0:
	case len(passed) > 0 && len(failed) > 0:
		u.doubt("passed in %s and failed in %s", names(passed), names(failed))
	case len(open) >= r.tries():
		u.doubt("%s in %s", times(len(open), "undecided"), names(open))
	case late:
		u.doubt("decided in %s and undecided afterwards in %s", names(append(passed, failed...)), names(open))
	case len(passed) > 0:
		u.Bin, u.Verdict = Good, result.Pass
		if len(open) > 0 {
			u.Why = append(u.Why, "undecided before it passed, in "+names(open))
		}
	case len(failed) > 0:
		u.fail(failed)
	default:
		t := open[len(open)-1]
		u.Why = append(u.Why, fmt.Sprintf("undecided in %s", t.ID))
		if next := clause(t.Result.NextStep); next != "" {
			u.Why = append(u.Why, "before the next test: "+next)
		}
	}
}

// Place is where the unit goes and what lies there, for the person at the bench.
func (u *Unit) Place() string {
	s := fmt.Sprintf("into bin %d: %s", int(u.Bin), u.Bin.Holds())
	if u.Unshown != "" {
		s += ", " + u.Unshown
	}
	return s
}

// stopped looks at the tests of a unit that passed which broke off or were
// stopped: to stop a test that looks bad and begin again must not make a good
// unit. One that had a fault by then makes it doubtful: two findings or more
// outside their limits. One alone is told only: a sweep that was cut off can
// put out what takes a whole one, such as how far the current follows the duty
// (chosen; with one, good units stopped half-way would be doubtful too).
func (u *Unit) stopped() {
	if u.Bin != Good {
		return
	}
	var faulty, other []*Test
	for i, t := range u.Tests {
		switch {
		case !t.Cancelled && !t.Interrupted || t.Unread != "":
		case failing(t) >= 2:
			faulty = append(faulty, t)
		case i < len(u.Tests)-1: // the last is told already
			other = append(other, t)
		}
	}
	if len(other) > 0 {
		u.Why = append(u.Why, fmt.Sprintf("%s beside the tests that passed, in %s", times(len(other), "stopped or broken off"), names(other)))
	}
	if len(faulty) > 0 {
		u.doubt("passed, and had findings outside their limits when it was stopped or broke off in %s", names(faulty))
	}
}

// failing counts the findings of a test outside their limits.
func failing(t *Test) (n int) {
	for _, f := range t.Result.Findings {
		if f.Result == result.Failed {
			n++
		}
	}
	return n
}

// beside looks at what was decided of the unit outside the lot, which was tested
// from a time to another. A fail there within NearLot of it counts against a pass
// as one in the lot does; any other that disagrees is told.
func (u *Unit) beside(es []record.Entry, from, to time.Time) {
	var near, far, passed []string
	for _, e := range es {
		switch {
		case e.Verdict == result.Pass:
			passed = append(passed, e.ID.String())
		case e.Verdict != result.Fail:
		case e.When.Before(from.Add(-NearLot)) || e.When.After(to.Add(NearLot)):
			far = append(far, e.ID.String())
		default:
			near = append(near, e.ID.String())
		}
	}
	switch {
	case u.Bin == Good && len(near) > 0:
		u.doubt("passed in the lot, and failed outside it in %s", inRow(near))
	case u.Bin == Good && len(far) > 0:
		u.Why = append(u.Why, "failed outside the lot, more than a week from it, in "+inRow(far))
	case u.Verdict == result.Fail && len(passed) > 0:
		u.Why = append(u.Why, "passed outside the lot in "+inRow(passed))
	}
}

// span is when the lot was tested, first to last.
func span(tests []Test) (from, to time.Time) {
	for i, t := range tests {
		if i == 0 || t.When.Before(from) {
			from = t.When
		}
		if i == 0 || t.When.After(to) {
			to = t.When
		}
	}
	return from, to
}

// fail sorts a unit that failed in every test that decided.
func (u *Unit) fail(failed []*Test) {
	u.Verdict = result.Fail
	last := failed[len(failed)-1]
	u.Bin, u.Causes, u.Unshown = binOf(last), Causes(last), unshown(last)
	for _, t := range failed[:len(failed)-1] {
		if unshown(t) == "" {
			u.Unshown = ""
		}
		if binOf(t) == u.Bin && slices.Equal(Causes(t), u.Causes) {
			continue
		}
		u.Why = append(u.Why, fmt.Sprintf("%s and %s name different sides", t.ID, last.ID))
		if binOf(t) != u.Bin {
			u.Bin, u.Unshown = NeitherGood, ""
		}
		if !slices.Equal(Causes(t), u.Causes) {
			u.Causes = nil
		}
		return
	}
}

func (u *Unit) doubt(format string, args ...any) {
	u.Bin, u.Verdict = Doubtful, result.Undecided
	u.Why = append(u.Why, fmt.Sprintf(format, args...))
}

// names lists records.
func names(ts []*Test) string {
	var s []string
	for _, t := range ts {
		s = append(s, t.ID.String())
	}
	return inRow(s)
}

// inRow puts words in a row.
func inRow(s []string) string {
	if len(s) < 2 {
		return strings.Join(s, "")
	}
	return strings.Join(s[:len(s)-1], ", ") + " and " + s[len(s)-1]
}

// times is how often something was.
func times(n int, what string) string {
	switch n {
	case 1:
		return what
	case 2:
		return what + " twice"
	}
	return fmt.Sprintf("%s %d times", what, n)
}

// BenchStreak is how many of the last tests of a lot, one after the other on
// the bench that made the last of all, this bench itself kept from deciding, and
// why the last of them did.
func BenchStreak(tests []Test) (n int, why string) {
	bench := ""
	for _, t := range slices.Backward(order(pointers(tests))) {
		if bench = cmp.Or(bench, t.ID.Bench); t.ID.Bench != bench {
			continue
		}
		w, s := t.Weight()
		if w != OfBench {
			break
		}
		if n++; n == 1 {
			why = s
		}
	}
	return n, why
}
