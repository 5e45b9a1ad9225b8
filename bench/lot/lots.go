package lot

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"dutybench/bench/record"
)

// Line is one lot in a list of lots.
type Line struct {
	Lot      string    `json:"lot"`
	From     time.Time `json:"from"`
	To       time.Time `json:"to"`
	Records  int       `json:"records"`
	Units    int       `json:"units"`
	Open     int       `json:"to_be_tested_again"`
	Good     int       `json:"good"`
	Doubtful int       `json:"doubtful"`
	Profile  string    `json:"profile"` // of its last record
}

// Lots are the lots of records, by when they began. They are read from the
// list alone: a test that only its result shows to lie with the bench counts
// as undecided here.
func Lots(entries []record.Entry) []Line {
	at := map[string]int{}
	var tests [][]Test
	for _, e := range entries {
		name := strings.TrimSpace(e.At.Lot)
		if name == "" {
			continue
		}
		i, ok := at[strings.ToLower(name)]
		if !ok {
			i = len(tests)
			at[strings.ToLower(name)] = i
			tests = append(tests, nil)
		}
		tests[i] = append(tests[i], Test{Entry: e})
	}
	var out []Line
	for _, ts := range tests {
		in := order(pointers(ts))
		first, last := in[0], in[len(in)-1]
		l := Line{Lot: first.At.Lot, From: first.When, To: last.When, Records: len(ts), Profile: last.Profile.Name}
		for _, u := range Fold(ts, Rule{}) {
			l.Units++
			switch u.Bin {
			case Good:
				l.Good++
			case Again:
				l.Open++
			case Doubtful:
				l.Doubtful++
			}
		}
		out = append(out, l)
	}
	slices.SortStableFunc(out, func(a, b Line) int { return cmp.Or(a.From.Compare(b.From), cmp.Compare(a.Lot, b.Lot)) })
	return out
}
