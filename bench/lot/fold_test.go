package lot

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/result"
)

// made is a test as a record would give it, from a word such as "pass",
// "fail:mechanical", "open", "bench", "broken", "stopped".
func made(seq int, serial, word string) Test {
	what, cause, _ := strings.Cut(word, ":")
	t := Test{Length_s: 20, Entry: record.Entry{ID: record.ID{Bench: "k3v7q2m9xw", Seq: seq}, When: start.Add(time.Duration(seq) * time.Minute),
		Hash: fmt.Sprint(seq), At: record.Circumstances{Unit: serial, Lot: "L"}, Profile: record.Profile{Name: "p", Revision: 1, SHA256: "s"}}}
	t.Result.Schema, t.Result.Kind = result.Schema, "pump"
	c := result.Cause(cause)
	switch what {
	case "pass":
		t.Verdict = result.Pass
	case "fail":
		t.Verdict = result.Fail
		t.Result.Reusable = map[result.Cause][]string{
			result.Mechanical: {"control board"}, result.Hydraulic: {"control board"}, result.ControlBoard: {"motor and hydraulics, not shown to turn here"}}[c]
	case "open":
		t.Verdict, t.Result.NextStep = result.Undecided, "Bleed the loop."
	case "bench":
		t.Verdict, c = result.Undecided, result.Bench
		t.Result.Sentence = "Undecided: the supply sagged."
	case "around":
		t.Verdict, c, t.Result.Surroundings = result.Undecided, result.Bench, true
	case "broken":
		t.Interrupted = true
	case "stopped":
		t.Verdict, t.Cancelled = result.Undecided, true
		if cause == "faulty" {
			t.Result.Findings, c = []result.Finding{{Name: "full_current", Result: result.Failed}, {Name: "curve_up", Result: result.Failed}}, ""
		}
		if cause == "half" {
			t.Result.Findings, c = []result.Finding{{Name: "full_current", Result: result.Passed}, {Name: "response", Result: result.Failed}}, ""
		}
	case "unread":
		t.Unread = "its trace was altered"
		t.Verdict, t.Result = result.Pass, result.Result{}
	}
	t.Cause = c
	if c != "" {
		t.Result.Cause = &t.Cause
	}
	t.Result.Verdict = t.Verdict
	return t
}

var start = time.Date(2026, 11, 26, 8, 0, 0, 0, time.UTC)

func TestUnit(t *testing.T) {
	for _, c := range []struct {
		tests   string
		tries   int
		bin     Bin
		verdict result.Verdict
		why     string // in it
	}{
		{"pass", 0, Good, result.Pass, ""},
		{"pass pass", 0, Good, result.Pass, ""},
		{"fail:mechanical", 0, BoardGood, result.Fail, ""},
		{"fail:hydraulic", 0, BoardGood, result.Fail, ""},
		{"fail:control-board", 0, MechanicsGood, result.Fail, ""},
		{"fail:", 0, NeitherGood, result.Fail, ""},
		{"fail:control-board fail:control-board", 0, MechanicsGood, result.Fail, ""},
		{"fail:control-board fail:mechanical", 0, NeitherGood, result.Fail, "name different sides"},
		{"open", 0, Again, result.Undecided, "before the next test: bleed the loop"},
		{"open pass", 0, Good, result.Pass, "undecided before it passed, in k3v7q2m9xw-000001"},
		{"open fail:mechanical", 0, BoardGood, result.Fail, ""},
		{"open open", 0, Doubtful, result.Undecided, "undecided twice in k3v7q2m9xw-000001 and k3v7q2m9xw-000002"},
		{"open open pass", 0, Doubtful, result.Undecided, "undecided twice"},
		{"open open", 3, Again, result.Undecided, ""},
		{"open", 1, Doubtful, result.Undecided, "undecided in k3v7q2m9xw-000001"},
		{"open open open open open", 99, Doubtful, result.Undecided, "undecided 5 times"},
		{"pass open", 0, Doubtful, result.Undecided, "undecided afterwards"},
		{"fail:mechanical pass", 0, Doubtful, result.Undecided, "passed in k3v7q2m9xw-000002 and failed in k3v7q2m9xw-000001"},
		{"pass fail:mechanical", 0, Doubtful, result.Undecided, "passed in"},
		{"fail:mechanical pass pass pass", 0, Doubtful, result.Undecided, "passed in"},
		{"bench", 0, Again, result.Undecided, "does not count: the supply sagged"},
		{"bench bench bench", 0, Again, result.Undecided, "does not count"},
		{"around", 0, Again, result.Undecided, "does not count"},
		{"broken", 0, Again, result.Undecided, "interrupted"},
		{"stopped open", 0, Again, result.Undecided, "before the next test"},
		{"unread", 0, Again, result.Undecided, "cannot be read: its trace was altered"},
		{"bench pass", 0, Good, result.Pass, ""},
		{"open bench", 0, Again, result.Undecided, "before the next test"},
		{"open bench open", 0, Doubtful, result.Undecided, "undecided twice"},
		{"pass bench", 0, Good, result.Pass, "does not count"},
		{"stopped stopped broken pass", 0, Good, result.Pass, "stopped or broken off 3 times beside the tests that passed, in k3v7q2m9xw-000001, k3v7q2m9xw-000002 and k3v7q2m9xw-000003"},
		{"stopped:half pass", 0, Good, result.Pass, "stopped or broken off beside"},
		{"stopped pass", 0, Good, result.Pass, "stopped or broken off beside"},
		{"stopped:faulty pass", 0, Doubtful, result.Undecided, "had findings outside their limits when it was stopped or broke off in k3v7q2m9xw-000001"},
		{"pass stopped:faulty", 0, Doubtful, result.Undecided, "had findings outside"},
		{"stopped:faulty open", 0, Again, result.Undecided, "before the next test"},
		{"stopped:faulty fail:mechanical", 0, BoardGood, result.Fail, ""},
	} {
		var tests []Test
		for i, w := range strings.Fields(c.tests) {
			tests = append(tests, made(i+1, " a17", w))
		}
		units := Fold(tests, Rule{Tries: c.tries})
		require.Len(t, units, 1, c.tests)
		u := units[0]
		assert.Equal(t, c.bin, u.Bin, c.tests)
		assert.Equal(t, c.verdict, u.Verdict, c.tests)
		assert.Contains(t, strings.Join(u.Why, "; "), c.why, c.tests)
		assert.NotEmpty(t, u.Words(), c.tests)
		if u.Bin == Again || u.Bin == Doubtful {
			assert.NotEmpty(t, u.Why, c.tests)
		}
	}
}

// What a failed test calls reusable decides, not the likeliest cause.
func TestBinOfInseparable(t *testing.T) {
	x := made(1, "A", "fail:control-board")
	x.Result.Inseparable = []result.Cause{result.ControlBoard, result.Mechanical}
	x.Result.Reusable = nil
	u := Fold([]Test{x}, Rule{})[0]
	assert.Equal(t, NeitherGood, u.Bin)
	assert.Equal(t, "failed: control board or mechanical", u.Words())

	leak := made(1, "A", "fail:mechanical")
	leak.Result.Reusable = nil
	leak.Result.Inspection = &result.Inspection{Answers: []result.Answer{{Point: "leak", Found: "yes"}}, Effect: "By inspection the unit leaks."}
	assert.Equal(t, BoardGood, Fold([]Test{leak}, Rule{})[0].Bin, "it ran as good units do")

	other := made(1, "A", "fail:electrical")
	other.Result.Kind, other.Result.Reusable = "motor", nil
	assert.Equal(t, NeitherGood, Fold([]Test{other}, Rule{})[0].Bin, "it was weighed, and has no board to be good")
	other.Result = result.Result{}
	assert.Equal(t, BoardGood, Fold([]Test{other}, Rule{})[0].Bin, "a record that holds the cause alone")
}

// Property: whatever the records, in whatever order they are handed over, the
// units are the same, every record is in one unit and every unit in one bin,
// and the sums add up; records of other units change nothing for a unit.
func TestFoldProperties(t *testing.T) {
	words := []string{"pass", "pass", "fail:mechanical", "fail:control-board", "fail:", "open", "bench", "around", "broken", "stopped", "unread"}
	for seed := range uint64(150) {
		rng := rand.New(rand.NewPCG(seed, 11))
		var tests []Test
		for i := range rng.IntN(60) {
			x := made(i+1, fmt.Sprintf("%c%d", "uU"[rng.IntN(2)], rng.IntN(12)), words[rng.IntN(len(words))])
			x.ID.Bench = []string{"aaaaaaaaaa", "bbbbbbbbbb"}[rng.IntN(2)]
			if rng.IntN(5) == 0 {
				x.When = start.Add(time.Duration(rng.IntN(500)-250) * time.Minute) // a clock that jumps
			}
			x.At.Complaint = []string{"", "no heat", "No Heat", "noisy"}[rng.IntN(4)]
			x.Length_s = []float64{20, math.NaN(), 3}[rng.IntN(3)]
			tests = append(tests, x)
		}
		rule := Rule{Tries: rng.IntN(4)}
		units := Fold(tests, rule)
		shuffled := slices.Clone(tests)
		rng.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		require.Equal(t, whole(units...), whole(Fold(shuffled, rule)...), "seed %d", seed) // NaN is not equal to itself

		s, again := Summarise("L", tests, rule), Summarise("L", shuffled, rule)
		require.Equal(t, fmt.Sprint(told(t, &s)), fmt.Sprint(told(t, &again)), "seed %d", seed)
		n, serials := 0, 0
		for _, u := range units {
			n += len(u.Tests)
			counted := 0
			for i := range u.Tests {
				if w, _ := u.Tests[i].Weight(); w == Counts {
					counted++
				}
			}
			require.Equal(t, counted, u.Counted)
			if u.Bin == Good { // no good unit ever failed
				for i := range u.Tests {
					w, _ := u.Tests[i].Weight()
					require.False(t, w == Counts && u.Tests[i].Verdict == result.Fail)
				}
			}
			var own []Test
			for _, x := range tests {
				if Key(x.At.Unit) == Key(u.Serial) {
					own = append(own, x)
				}
			}
			require.Equal(t, whole(u), whole(Fold(own, rule)[0]), "others change nothing, seed %d", seed)
		}
		require.Equal(t, len(tests), n)
		for _, b := range s.Bins {
			serials += len(b.Serials)
		}
		require.Equal(t, s.Units, serials)
		require.Equal(t, s.Units, s.Decided+len(s.Open))
		failed, good := 0, s.Yield.Count
		for _, c := range s.Causes {
			failed += c.Rate.Count
		}
		require.Equal(t, s.Decided, good+failed+len(s.Doubtful))
		for _, g := range s.Groups {
			of, hits := 0, 0
			for _, x := range g.Groups {
				of, hits = of+x.Rate.Of, hits+x.Rate.Count
				require.True(t, x.Chance >= 0 && x.Chance <= 1)
			}
			require.Equal(t, s.Decided, of)
			require.Equal(t, good, hits)
		}
	}
}

func told(t *testing.T, s *Summary) string {
	var b strings.Builder
	require.NoError(t, s.Text(&b, TextOptions{Unicode: true}))
	return b.String()
}

func TestBenchStreak(t *testing.T) {
	var tests []Test
	for i, w := range strings.Fields("bench pass bench bench") {
		tests = append(tests, made(i+1, fmt.Sprint(i), w))
	}
	n, why := BenchStreak(tests)
	assert.Equal(t, 2, n)
	assert.Equal(t, "the supply sagged", why)
	slices.Reverse(tests)
	n, _ = BenchStreak(tests)
	assert.Equal(t, 2, n, "whatever the order in which they are handed over")
	other := made(3, "o", "pass")
	other.ID.Bench, other.When = "aaaaaaaaaa", tests[0].When.Add(time.Second)
	n, _ = BenchStreak(append(tests, other))
	assert.Zero(t, n)
	other.When = tests[0].When.Add(-time.Second)
	n, _ = BenchStreak(append(tests, other))
	assert.Equal(t, 2, n, "another bench's tests between them end no streak")
	n, _ = BenchStreak(nil)
	assert.Zero(t, n)
}

// A bench's clock that goes back does not turn the order of its tests round.
func TestOrder(t *testing.T) {
	a, b := made(1, "A", "fail:mechanical"), made(2, "A", "open")
	b.When = a.When.Add(-time.Hour)
	assert.Equal(t, Doubtful, Fold([]Test{b, a}, Rule{})[0].Bin, "the undecided one came after")
	assert.Equal(t, 2, Last([]Test{b, a}).ID.Seq)
	assert.Nil(t, Last(nil))
}

// whole is all that units hold; NaN is not equal to itself.
func whole(units ...Unit) string {
	var b strings.Builder
	for _, u := range units {
		fmt.Fprintln(&b, u.Serial, u.Bin, u.Verdict, u.Causes, u.Why, u.Counted)
		for _, t := range u.Tests {
			fmt.Fprintln(&b, *t)
		}
	}
	return b.String()
}

// A store of entries alone.
type entries []record.Entry

func (s entries) List(f record.Filter) (out []record.Entry, err error) {
	for _, e := range s {
		if (f.Lot == "" || strings.EqualFold(f.Lot, e.At.Lot)) && (f.Unit == "" || strings.EqualFold(f.Unit, e.At.Unit)) {
			out = append(out, e)
		}
	}
	return out, nil
}

func (s entries) Get(record.ID) (*record.Record, error) { return &record.Record{}, nil }

// What is failed outside a lot is not passed by it.
func TestOutsideTheLot(t *testing.T) {
	in := func(seq int, serial, word, lot string, days int) record.Entry {
		e := made(seq, serial, word).Entry
		e.At.Lot, e.When = lot, e.When.AddDate(0, 0, days)
		return e
	}
	tests := []Test{made(10, "R1", "pass"), made(11, "R2", "pass"), made(12, "R3", "pass"), made(13, "R4", "fail:mechanical"), made(14, "R5", "pass"), made(15, "R6", "pass"), made(16, "R7", "open")}
	store := entries{
		in(1, "r1", "fail:mechanical", "", 0), in(2, "R2", "fail:mechanical", "other", 6), in(3, "R3", "fail:mechanical", "", -30), in(4, "R4", "pass", "", 0),
		in(5, "R5", "pass", "", 0), in(6, "R5", "open", "", 0), in(7, "R6", "fail:mechanical", "l", 0), in(8, "R7", "fail:mechanical", "", 0), in(9, "R9", "fail:mechanical", "", 0),
	}
	for i := range tests {
		store = append(store, tests[i].Entry)
	}
	var serials []string
	for i := range tests {
		serials = append(serials, tests[i].At.Unit, strings.ToLower(tests[i].At.Unit))
	}
	outside, err := Outside(store, "L", serials)
	require.NoError(t, err)
	assert.Len(t, outside, 6, "those decided, each once, and none of the lot's own")
	units := Fold(tests, Rule{Outside: outside})
	for i, want := range []struct {
		bin Bin
		why string
	}{
		{Doubtful, "passed in the lot, and failed outside it in k3v7q2m9xw-000001"},
		{Doubtful, "failed outside it in k3v7q2m9xw-000002"},
		{Good, "failed outside the lot, more than a week from it, in k3v7q2m9xw-000003"},
		{BoardGood, "passed outside the lot in k3v7q2m9xw-000004"},
		{Good, ""}, {Good, ""}, {Again, ""},
	} {
		assert.Equal(t, want.bin, units[i].Bin, units[i].Serial)
		assert.Contains(t, strings.Join(units[i].Why, "; "), want.why, units[i].Serial)
		if want.why == "" {
			assert.NotContains(t, strings.Join(units[i].Why, "; "), "outside", units[i].Serial)
		}
	}
	s := Summarise("L", tests, Rule{Outside: outside})
	assert.Equal(t, 3, s.Yield.Count)
	assert.Len(t, s.Doubtful, 2)
	assert.Equal(t, len(tests), s.Records, "they count in no sum")
	assert.Contains(t, told(t, &s), "failed outside it in k3v7q2m9xw-000001")
}
