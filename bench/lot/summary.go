package lot

import (
	"cmp"
	"slices"
	"time"

	"dutybench/bench/record"
	"dutybench/bench/result"
)

// Schema is the version of the summary's JSON object.
const Schema = 1

// Summary is what a lot came to. Rates are of units, not of tests.
type Summary struct {
	Schema  int       `json:"schema"`
	Lot     string    `json:"lot"`
	From    time.Time `json:"from"` // first and last test
	To      time.Time `json:"to"`
	Records int       `json:"records"`
	Units   int       `json:"units"`
	// Decided units are those of which no further test is asked for: good,
	// failed and doubtful ones. Yield is the good ones of them.
	Decided int  `json:"decided"`
	Yield   Rate `json:"yield"`
	// Broken tests broke off or cannot be read, and those of the bench were
	// kept from deciding by it; neither counts.
	Broken int `json:"broken_off"`
	Bench  int `json:"bench_at_fault"`
	Tries  int `json:"undecided_until_doubtful"`

	Bins   []BinUnits   `json:"bins"`
	Causes []CauseCount `json:"causes"` // of failed units, most frequent first
	Groups []Groups     `json:"groups"`
	Times  Times        `json:"times"`

	Doubtful []Remark `json:"doubtful"`
	Open     []Remark `json:"to_be_tested_again"`
	// Known are units that are sorted, and of which a person should know more.
	Known []Remark `json:"to_be_known"`
	// Notes are what to know of the lot as a whole, as sentences.
	Notes []string `json:"notes"`
	// Well says how the bench itself is; empty when no check of it is known.
	Well []string `json:"bench_check"`

	Profiles  []string `json:"profiles"`
	Rigs      []string `json:"rigs"`
	Operators []string `json:"operators"`
	Simulated bool     `json:"simulated"`
}

// BinUnits is a bin with the serials in it, in the order in which they came.
type BinUnits struct {
	Bin     Bin      `json:"bin"`
	Number  int      `json:"number"`
	Holds   string   `json:"holds"`
	Serials []string `json:"serials"`
	// Unshown are those of the serials whose reusable side no test showed at
	// work, with the words for it.
	Unshown      []string `json:"not_shown_to_work"`
	UnshownWords string   `json:"not_shown,omitempty"`
}

// marked are the serials for people, those that are unshown with a star.
func (b *BinUnits) marked() []string {
	out := plainAll(b.Serials)
	for i, s := range b.Serials {
		if slices.Contains(b.Unshown, s) {
			out[i] += "*"
		}
	}
	return out
}

// star explains it; empty where no serial has one.
func (b *BinUnits) star() string {
	if len(b.Unshown) == 0 {
		return ""
	}
	return "* " + b.UnshownWords + ": look at it before it is fitted."
}

// CauseCount is how many failed units named a cause, or a set that their tests
// cannot tell apart, or none.
type CauseCount struct {
	Causes []result.Cause `json:"causes"`
	Rate   Rate           `json:"rate"` // of the failed units
}

// Remark is what a person should know of one unit.
type Remark struct {
	Serial  string   `json:"serial"`
	Records []string `json:"records"`
	Why     []string `json:"why"`
}

// Summarise is what the tests of a lot came to.
func Summarise(name string, tests []Test, r Rule) Summary {
	units := Fold(tests, r)
	s := Summary{Schema: Schema, Lot: name, Records: len(tests), Units: len(units), Tries: r.tries(),
		Causes: []CauseCount{}, Doubtful: []Remark{}, Open: []Remark{}, Known: []Remark{}, Notes: []string{}, Well: []string{}}
	for _, b := range Bins() {
		s.Bins = append(s.Bins, BinUnits{Bin: b, Number: int(b), Holds: b.Holds(), Serials: []string{}, Unshown: []string{}})
	}
	good := 0
	for i := range units {
		u := &units[i]
		at := slices.IndexFunc(s.Bins, func(b BinUnits) bool { return b.Bin == u.Bin })
		s.Bins[at].Serials = append(s.Bins[at].Serials, u.Serial)
		if u.Unshown != "" {
			s.Bins[at].Unshown, s.Bins[at].UnshownWords = append(s.Bins[at].Unshown, u.Serial), u.Unshown
		}
		if u.Done() {
			s.Decided++
		}
		if u.Bin == Good {
			good++
		}
		switch note := u.remark(); {
		case u.Bin == Doubtful:
			s.Doubtful = append(s.Doubtful, note)
		case u.Bin == Again:
			s.Open = append(s.Open, note)
		case len(u.Why) > 0:
			s.Known = append(s.Known, note)
		}
	}
	s.Yield = NewRate(good, s.Decided)
	s.Causes = rankCauses(units)
	s.Groups = []Groups{
		groupBy("complaint", units, func(c record.Circumstances) string { return c.Complaint }),
		groupBy("revision", units, func(c record.Circumstances) string { return c.Revision }),
		groupBy("date code", units, func(c record.Circumstances) string { return c.DateCode }),
	}
	s.Times = timesOf(tests, units)
	s.circumstances(order(pointers(tests)))
	return s
}

func (u *Unit) remark() Remark {
	m := Remark{Serial: u.Serial, Why: u.Why}
	for _, t := range u.Tests {
		m.Records = append(m.Records, t.ID.String())
	}
	return m
}

// rankCauses counts what failed units name, the most frequent first.
func rankCauses(units []Unit) []CauseCount {
	out, failed := []CauseCount{}, 0
	for i := range units {
		if units[i].Verdict != result.Fail {
			continue
		}
		failed++
		cs := sorted(units[i].Causes)
		at := slices.IndexFunc(out, func(c CauseCount) bool { return slices.Equal(c.Causes, cs) })
		if at < 0 {
			at = len(out)
			out = append(out, CauseCount{Causes: cs})
		}
		out[at].Rate.Count++
	}
	for i := range out {
		out[i].Rate = NewRate(out[i].Rate.Count, failed)
	}
	slices.SortStableFunc(out, func(a, b CauseCount) int {
		return cmp.Or(b.Rate.Count-a.Rate.Count, slices.Compare(a.Causes, b.Causes))
	})
	return out
}

// sorted are causes in the order in which reports show them.
func sorted(cs []result.Cause) []result.Cause {
	out := slices.Clone(cs)
	if out == nil {
		out = []result.Cause{}
	}
	rank := func(c result.Cause) int { return slices.Index(result.Causes(), c) }
	slices.SortFunc(out, func(a, b result.Cause) int { return cmp.Compare(rank(a), rank(b)) })
	return out
}
