package lot

import (
	"slices"
	"strings"

	"dutybench/bench/plot"
	"dutybench/bench/result"
)

// Bin is where a unit goes.
type Bin int

// The bins, in the order in which reports show them. Their numbers stand on
// the boxes: they do not change.
const (
	Good          Bin = 1 // as it is
	BoardGood     Bin = 2 // mechanics, hydraulics or winding failed
	MechanicsGood Bin = 3 // the board failed: motor and hydraulics can be reused
	NeitherGood   Bin = 4 // failed, and no side is known to be good
	Again         Bin = 5 // to be tested again
	Doubtful      Bin = 6 // for a person to look at
)

// Bins are all of them, in order.
func Bins() []Bin { return []Bin{Good, BoardGood, MechanicsGood, NeitherGood, Again, Doubtful} }

// binWords are a bin's word for the screen across the room, and what it holds.
var binWords = map[Bin][2]string{
	Good:          {"GOOD", "good as it is"},
	BoardGood:     {"BOARD", "control board good"},
	MechanicsGood: {"MECH", "mechanics not found at fault"},
	NeitherGood:   {"NEITHER", "no side known to be good"},
	Again:         {"AGAIN", "to be tested again"},
	Doubtful:      {"DOUBT", "doubtful"},
}

// Word is a bin in one short word, Holds what lies in it.
func (b Bin) Word() string  { return binWords[b][0] }
func (b Bin) Holds() string { return binWords[b][1] }

// MarshalText makes a bin its name in JSON, such as "board-good".
func (b Bin) MarshalText() ([]byte, error) { return []byte(b.Name()), nil }

// Name is a bin for scripts.
func (b Bin) Name() string {
	switch b {
	case Good:
		return "good"
	case BoardGood:
		return "board-good"
	case MechanicsGood:
		return "mechanics-good"
	case NeitherGood:
		return "neither-known-good"
	case Again:
		return "test-again"
	}
	return "doubtful"
}

// unshown is what a failed test's result says of its reusable side when that
// did not work in it, such as "not shown to turn here"; empty when it did.
func unshown(t *Test) string {
	for _, part := range t.Result.Reusable {
		if _, words, ok := strings.Cut(part, ", "); ok {
			return plot.Plain(words)
		}
	}
	return ""
}

// Causes are what a failed test names: the set that it cannot tell apart, or
// the one cause; empty when it names none.
func Causes(t *Test) []result.Cause {
	if len(t.Result.Inseparable) > 1 {
		return t.Result.Inseparable
	}
	if t.Cause != "" {
		return []result.Cause{t.Cause}
	}
	return nil
}

// binOf is the bin of a failed test, by what its result calls reusable. A unit
// that leaks was measured whole: its board worked. Where a record holds no
// no result with such words, one named cause alone sorts it.
func binOf(t *Test) Bin {
	board, mech := false, false
	for _, part := range t.Result.Reusable {
		board = board || strings.HasPrefix(part, "control board")
		mech = mech || strings.HasPrefix(part, "motor") || strings.HasPrefix(part, "mechanics")
	}
	cs := Causes(t)
	switch leaks := t.Result.Inspection.Found("leak") == "yes" && t.Result.Inspection.Effect != ""; {
	case board && !mech:
		return BoardGood
	case mech && !board:
		return MechanicsGood
	case leaks:
		return BoardGood
	case len(cs) != 1 || t.Result.Schema != 0:
		return NeitherGood // the judge weighed it, and called neither side reusable
	case cs[0] == result.ControlBoard:
		return MechanicsGood
	case slices.Contains([]result.Cause{result.Mechanical, result.Hydraulic, result.Electrical}, cs[0]):
		return BoardGood
	}
	return NeitherGood
}
