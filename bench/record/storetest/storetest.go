// Package storetest is what every store of records must do, whatever it keeps
// them in.
package storetest

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"dutybench/bench/record"
	"dutybench/bench/record/ledger"
)

// Opener opens the store of a place, a folder, and makes it when it is not
// there. Opening one twice gives two hands on the same records. The test
// closes what it opens.
type Opener func(t *testing.T, place string) record.Store

// Run tries a store.
func Run(t *testing.T, open Opener) {
	for _, c := range []struct {
		name string
		run  func(*suite)
	}{
		{"put and get", (*suite).putAndGet},
		{"attempts are counted", (*suite).attempts},
		{"refused", (*suite).refused},
		{"what is not there", (*suite).missing},
		{"hostile texts", (*suite).hostile},
		{"list", (*suite).list},
		{"pages of a list", (*suite).pages},
		{"causes", (*suite).causes},
		{"wrong clock", (*suite).clock},
		{"log", (*suite).log},
		{"older heads", (*suite).older},
		{"draft finished", (*suite).draftFinished},
		{"draft dropped", (*suite).draftDropped},
		{"many writers", (*suite).writers},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := &suite{T: t, open: open, place: filepath.Join(t.TempDir(), "place")}
			s.store = s.another()
			c.run(s)
		})
	}
}

// suite is one test on a store of its own.
type suite struct {
	*testing.T
	open  Opener
	place string
	store record.Store
}

// another is one more hand on the same store.
func (s *suite) another() record.Store {
	s.Helper()
	return s.open(s.T, s.place)
}

func (s *suite) must(err error) {
	s.Helper()
	if err != nil {
		s.Fatal(err)
	}
}

func (s *suite) same(want, got any, about string) {
	s.Helper()
	if !reflect.DeepEqual(want, got) {
		s.Errorf("%s:\nwant %#v\ngot  %#v", about, want, got)
	}
}

func (s *suite) put(r *record.Record) *record.Record {
	s.Helper()
	_, err := s.store.Put(r)
	s.must(err)
	return r
}

// clean: nothing is damaged.
func (s *suite) clean(older ...ledger.Head) {
	s.Helper()
	damage, err := s.store.Verify(older...)
	s.must(err)
	if len(damage) > 0 {
		s.Fatalf("damage: %v", damage)
	}
}

// When is when the samples were made.
var When = time.Date(2026, 3, 4, 5, 6, 7, 8e6, time.UTC)

// Sample is a whole record of an invented unit.
func Sample(unit string) *record.Record {
	temperature, hours := 21.5, 1234.5
	return &record.Record{
		When: When, Purpose: "incoming", Program: "dutybench test",
		Rig:         record.Rig{Name: "sim", Simulated: true, Facts: []record.Fact{{Key: "shunt", Value: "2 mΩ & 1 %"}}},
		Calibration: "of a day",
		Profile:     record.Profile{Name: "medium", Revision: 3, Text: []byte("name = \"medium\"\n")},
		At: record.Circumstances{Unit: unit, Kind: "pump", Operator: "Ä. <B>", Fluid: "water", Temperature_C: &temperature, Primed: true,
			Hours_h: &hours, PartNumber: "PN-1", Claim: "c/77"},
		Workshop: record.Workshop{Name: "Shop"},
		Files:    []record.File{{Name: "rig.toml", Data: []byte("x = 1\n")}, {Name: "photo-1.jpg", Data: []byte{}}},
		Trace:    fmt.Appendf(nil, "# unit: %x\nt_s,duty_pct,current_A\n0,0,0\n0.001,50,0.25\n", unit),
		Result:   []byte(`{"verdict":"fail","cause":"mechanical"}`),
	}
}

func (s *suite) putAndGet() {
	var rs []*record.Record
	for i, unit := range []string{"A1", "A2", "A3"} {
		r := Sample(unit)
		if i == 2 { // neither profile nor result nor files; a trace that is not as the bench writes it
			r.Profile, r.Result, r.Files, r.Trace = record.Profile{}, nil, nil, []byte("no trace at all\r\n\x00\xff")
		}
		rs = append(rs, s.put(r))
		if r.ID.Seq != i+1 || r.Hash == "" || (i > 0) != (r.Previous != "") || i > 0 && r.Previous != rs[i-1].Hash {
			s.Fatalf("the place of %s: %s after %q", r.ID, r.Hash, r.Previous)
		}
	}
	s.clean()
	again := s.another()
	for i, r := range rs {
		for _, id := range []record.ID{r.ID, {Seq: i + 1}} {
			got, err := again.Get(id)
			s.must(err)
			s.same(r, got, id.String())
		}
		body, err := again.Body(r.ID)
		s.must(err)
		unsealed, _, err := record.Unseal(body)
		s.must(err)
		s.same(r.Hash, unsealed.Hash, "hash of the body")
	}
}

func (s *suite) attempts() {
	for i, c := range []struct {
		unit      string
		say, want int
	}{{"A1", 0, 1}, {"a1", 0, 2}, {"A2", 0, 1}, {"", 0, 0}, {"A1", 7, 7}, {"A1", 0, 4}} {
		r := Sample(c.unit)
		r.At.Attempt = c.say
		s.same(c.want, s.put(r).At.Attempt, fmt.Sprint("attempt of record ", i+1))
	}
	s.clean()
}

func (s *suite) refused() {
	for name, change := range map[string]func(*record.Record){
		"no trace":            func(r *record.Record) { r.Trace = nil },
		"result is no JSON":   func(r *record.Record) { r.Result = []byte("{") },
		"hash of another":     func(r *record.Record) { r.Profile.SHA256 = fmt.Sprintf("%064d", 0) },
		"time beyond writing": func(r *record.Record) { r.When = time.Date(12000, 1, 1, 0, 0, 0, 0, time.UTC) },
		"endless notes":       func(r *record.Record) { r.At.Notes = fmt.Sprintf("%01048577d", 0) },
		"file above":          func(r *record.Record) { r.Files = []record.File{{Name: "../x"}} },
		"file twice":          func(r *record.Record) { r.Files = []record.File{{Name: "x"}, {Name: "x"}} },
	} {
		r := Sample("A1")
		change(r)
		if _, err := s.store.Put(r); err == nil {
			s.Errorf("%s: kept", name)
		}
		if r.ID.Seq != 0 || r.Hash != "" || r.At.Attempt != 0 {
			s.Errorf("%s: what was refused was changed", name)
		}
	}
	list, err := s.store.List(record.Filter{})
	s.must(err)
	s.same(0, len(list), "records")
	s.same(1, s.put(Sample("A1")).ID.Seq, "the first number is still free")
	s.clean()
}

func (s *suite) missing() {
	check := func(what string, err error) {
		if !errors.Is(err, fs.ErrNotExist) {
			s.Errorf("%s: %v", what, err)
		}
	}
	s.clean()
	_, err := s.store.Get(record.ID{Seq: 1})
	check("record of an empty store", err)
	_, err = s.store.Head("")
	check("head of an empty store", err)
	s.put(Sample("A1"))
	for _, id := range []record.ID{{Seq: 2}, {Bench: "k3v7q2m9xw", Seq: 1}, {Bench: "'; --", Seq: 1}} {
		_, err := s.store.Get(id)
		check(id.String(), err)
		_, err = s.store.Body(id)
		check(id.String(), err)
	}
	_, err = s.store.Key("k3v7q2m9xw")
	check("key of another bench", err)
	_, err = s.store.Head("k3v7q2m9xw")
	check("head of another bench", err)
}
