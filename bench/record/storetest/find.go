package storetest

import (
	"fmt"
	"strings"
	"time"

	"dutybench/bench/record"
	"dutybench/bench/result"
)

// hostile texts come back as they were and are found as what they are.
func (s *suite) hostile() {
	for i, text := range []string{"'; DROP TABLE records; --", `a\b%c_d"e`, "\x00zero", "bad \xff utf8", "<script>", "ünïcödé", "x' OR '1'='1", "?$1 :a @b", strings.Repeat("long ", 1000), "\u200b "} {
		r := Sample(text)
		r.At.Complaint, r.At.Notes, r.At.Seal = text, "before "+text+" after", text
		s.put(r)
		want := strings.ToValidUTF8(text, "\ufffd")
		s.same(want, r.At.Unit, "unit as kept")
		got, err := s.store.Get(r.ID)
		s.must(err)
		s.same(r, got, text)
		for name, f := range map[string]record.Filter{"unit": {Unit: want}, "seal": {Seal: want}, "words": {Words: want}} {
			s.seqs(f, name+" "+text, i+1)
		}
	}
	s.clean()
}

// seqs lists with a filter.
func (s *suite) seqs(f record.Filter, about string, want ...int) {
	s.Helper()
	list, err := s.store.List(f)
	s.must(err)
	var got []int
	for _, e := range list {
		got = append(got, e.ID.Seq)
	}
	s.same(fmt.Sprint(want), fmt.Sprint(got), about)
}

func (s *suite) list() {
	day := 24 * time.Hour
	for i, c := range []func(*record.Record){
		func(r *record.Record) { r.At.ReceivedBy, r.At.Order = "Jo", "J-1" },
		func(r *record.Record) { r.Result = []byte(`{"verdict":"pass","cause":null}`); r.At.Lot = "L_1" },
		func(r *record.Record) { r.Result, r.Interrupted, r.At.OpenedBy = nil, true, "JO" },
		func(r *record.Record) {
			r.At = record.Circumstances{Unit: "b1", Kind: "fan", Operator: "jo", Notes: "100 % Worn", Revision: "R2", DateCode: "2517", Customer: "Groß & Söhne", Complaint: "noise"}
		},
		func(r *record.Record) {
			r.At.ReturnedBy, r.Purpose, r.Rig.Name, r.Profile = "Kim", "repeat", "own", record.Profile{}
		},
	} {
		r := Sample([]string{"A1", "B1", "a1", "", "Äb"}[i])
		r.When = When.Add(time.Duration(i) * day)
		c(r)
		s.put(r)
	}
	own, err := s.store.Head("")
	s.must(err)
	for about, c := range map[string]struct {
		f    record.Filter
		want []int
	}{
		"all":            {record.Filter{}, []int{1, 2, 3, 4, 5}},
		"this bench":     {record.Filter{Bench: own.Bench}, []int{1, 2, 3, 4, 5}},
		"other bench":    {record.Filter{Bench: "k3v7q2m9xw"}, nil},
		"unit":           {record.Filter{Unit: "a1"}, []int{1, 3}},
		"unit b":         {record.Filter{Unit: "B1"}, []int{2, 4}},
		"umlaut":         {record.Filter{Unit: "äB"}, []int{5}},
		"wildcards":      {record.Filter{Unit: "%"}, nil},
		"one wildcard":   {record.Filter{Lot: "L-1"}, nil},
		"lot":            {record.Filter{Lot: "l_1"}, []int{2}},
		"kind":           {record.Filter{Kind: "FAN"}, []int{4}},
		"profile":        {record.Filter{Profile: "Medium", Kind: "pump"}, []int{1, 2, 3}},
		"verdict":        {record.Filter{Verdict: result.Pass}, []int{2}},
		"cause":          {record.Filter{Cause: result.Mechanical}, []int{1, 4, 5}},
		"purpose":        {record.Filter{Purpose: "repeat"}, []int{5}},
		"part number":    {record.Filter{PartNumber: "pn-1"}, []int{1, 2, 3, 5}},
		"revision":       {record.Filter{Revision: "r2"}, []int{4}},
		"date code":      {record.Filter{DateCode: "2517"}, []int{4}},
		"complaint":      {record.Filter{Complaint: "Noise"}, []int{4}},
		"claim":          {record.Filter{Claim: "C/77"}, []int{1, 2, 3, 5}},
		"order":          {record.Filter{Order: "j-1"}, []int{1}},
		"customer":       {record.Filter{Customer: "groß & söhne"}, []int{4}},
		"operator":       {record.Filter{Operator: "Jo"}, []int{4}},
		"rig":            {record.Filter{Rig: "OWN"}, []int{5}},
		"person":         {record.Filter{Person: "jO"}, []int{1, 3, 4}},
		"person and":     {record.Filter{Person: "jO", Kind: "pump"}, []int{1, 3}},
		"words":          {record.Filter{Words: "0 % w"}, []int{4}},
		"complaint word": {record.Filter{Words: "OIS"}, []int{4}},
		"interrupted":    {record.Filter{Interrupted: true}, []int{3}},
		"since":          {record.Filter{Since: When.Add(3 * day)}, []int{4, 5}},
		"just after":     {record.Filter{Since: When.Add(3*day + 1)}, []int{5}},
		"before":         {record.Filter{Before: When.Add(day)}, []int{1}},
		"before or at":   {record.Filter{Before: When.Add(day + 1)}, []int{1, 2}},
		"newest":         {record.Filter{Unit: "a1", Newest: true}, []int{3, 1}},
		"several":        {record.Filter{Unit: "A1", Kind: "pump", Verdict: result.Fail, Since: When, PartNumber: "PN-1"}, []int{1}},
	} {
		s.seqs(c.f, about, c.want...)
	}
	list, err := s.store.List(record.Filter{Kind: "fan"})
	s.must(err)
	body, err := s.store.Body(list[0].ID)
	s.must(err)
	want, err := record.EntryOf(body)
	s.must(err)
	s.same(want, list[0], "an entry")
	s.clean()
}

func (s *suite) pages() {
	for range 7 {
		s.put(Sample("A1"))
	}
	s.seqs(record.Filter{Limit: 3}, "first page", 1, 2, 3)
	s.seqs(record.Filter{Limit: 3, Skip: 3}, "second page", 4, 5, 6)
	s.seqs(record.Filter{Limit: 3, Skip: 6}, "third page", 7)
	s.seqs(record.Filter{Limit: 3, Skip: 3, Newest: true}, "second page from the end", 4, 3, 2)
	s.seqs(record.Filter{Skip: 5, Unit: "a1"}, "all after five", 6, 7)
}

func (s *suite) causes() {
	for i, r := range []string{`{"verdict":"fail","cause":"mechanical"}`, `{"verdict":"pass","cause":null}`, `{"verdict":"fail","cause":"control-board"}`, `{"verdict":"fail","cause":"mechanical"}`, ""} {
		one := Sample(fmt.Sprint("A", i%2))
		one.Result = []byte(r)
		if r == "" {
			one.Result = nil
		}
		s.put(one)
	}
	got, err := s.store.Causes(record.Filter{})
	s.must(err)
	s.same([]record.Count{{Verdict: "fail", Cause: "mechanical", N: 2}, {N: 1}, {Verdict: "fail", Cause: "control-board", N: 1}, {Verdict: "pass", N: 1}}, got, "ranked")
	got, err = s.store.Causes(record.Filter{Unit: "a1"})
	s.must(err)
	s.same([]record.Count{{Verdict: "fail", Cause: "mechanical", N: 1}, {Verdict: "pass", N: 1}}, got, "of one unit")
}

func (s *suite) clock() {
	s.put(Sample("A1"))
	r := Sample("A2")
	r.When, r.ClockDoubt = time.Date(1970, 1, 1, 0, 3, 0, 0, time.UTC), "no network"
	s.put(r)
	s.same("no network; the clock stands before 2026 and was hardly set; the clock stands before that of record 000001, made earlier", r.ClockDoubt, "doubt")
	list, err := s.store.List(record.Filter{Newest: true, Limit: 1})
	s.must(err)
	s.same(r.ClockDoubt, list[0].ClockDoubt, "doubt in the list")
	s.clean()
	now := Sample("A3")
	now.When = time.Time{}
	if s.put(now); now.When.IsZero() {
		s.Error("no time was given")
	}
}
