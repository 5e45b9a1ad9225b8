package lot

import (
	"cmp"
	"slices"
	"strings"

	"dutybench/bench/record"
	"dutybench/bench/result"
)

// Groups is how often no fault was found, by one thing that is told of units.
type Groups struct {
	By     string  `json:"by"` // such as "complaint"
	Groups []Group `json:"groups"`
}

// Group is the units of which the same was told.
type Group struct {
	Value string `json:"value"` // as first typed; empty: nothing was told
	Rate  Rate   `json:"no_fault_found"`
	// Chance is the probability that chance alone sets the group as far apart
	// from all other units as it is; 1 when there are none (Fisher's exact test).
	Chance float64 `json:"chance"`
	// Apart says that it does so in under one of twenty lots for all groups of
	// the table together: Chance times their number is below 0.05.
	Apart bool `json:"apart"`
}

// groupBy sorts decided and doubtful units by what is told of them at their
// last test that counts: the most units first, those of which nothing is told
// last.
func groupBy(by string, units []Unit, told func(record.Circumstances) string) Groups {
	g := Groups{By: by, Groups: []Group{}}
	type tally struct{ good, n int }
	at, sums := map[string]int{}, []tally{}
	all := tally{}
	for i := range units {
		u := &units[i]
		if !u.Done() {
			continue
		}
		value := u.told(told)
		key := strings.ToLower(value)
		j, ok := at[key]
		if !ok {
			j = len(sums)
			at[key] = j
			sums = append(sums, tally{})
			g.Groups = append(g.Groups, Group{Value: value})
		}
		for _, t := range []*tally{&sums[j], &all} {
			t.n++
			if u.Verdict == result.Pass {
				t.good++
			}
		}
	}
	for j, s := range sums {
		g.Groups[j].Rate = NewRate(s.good, s.n)
		g.Groups[j].Chance = Fisher(s.good, s.n, all.good-s.good, all.n-s.n)
		g.Groups[j].Apart = len(sums) > 1 && g.Groups[j].Chance*float64(len(sums)) < 1-level
	}
	slices.SortStableFunc(g.Groups, func(a, b Group) int {
		none := func(g Group) int {
			if g.Value == "" {
				return 1
			}
			return 0
		}
		return cmp.Or(none(a)-none(b), b.Rate.Of-a.Rate.Of, cmp.Compare(a.Value, b.Value))
	})
	return g
}

// told is what was last told of a unit: a later test may leave it out.
func (u *Unit) told(what func(record.Circumstances) string) string {
	for _, t := range slices.Backward(u.Tests) {
		if s := strings.Join(strings.Fields(what(t.At)), " "); s != "" {
			return s
		}
	}
	return ""
}
