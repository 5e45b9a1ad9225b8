package record

import (
	"fmt"
	"time"

	"dutybench/bench/result"
)

// Place is where a record comes to stand: behind the last of its bench.
type Place struct {
	Bench    string
	Seq      int       // from 1
	Previous string    // hash of the record before; empty for the first
	After    time.Time // when the record before was made; zero for the first
}

// Seal gives a record its place and its record.json. r gets its ID, hash and
// predecessor, and all else as record.json holds it.
func Seal(r *Record, at Place) (data []byte, err error) {
	if r.When.IsZero() {
		r.When = time.Now()
	}
	b, err := bodyOf(r)
	if err != nil {
		return nil, err
	}
	b.Bench, b.Seq, b.Previous = at.Bench, at.Seq, at.Previous
	b.doubt(at)
	whole, data, err := settle(b)
	if err != nil {
		return nil, fmt.Errorf("record: the record cannot be written down: %w", err)
	}
	if len(data) > maxBody {
		return nil, fmt.Errorf("record: notes and rig facts are larger than %d bytes; shorten them", maxBody)
	}
	kept := whole.record(hash(data))
	kept.Trace, kept.Result, kept.Profile.Text, kept.Files = r.Trace, r.Result, r.Profile.Text, r.Files
	*r = *kept
	return data, nil
}

// notBefore is a time that a rightly set clock has passed.
var notBefore = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)

// doubt adds what the store sees against the wall clock.
func (b *body) doubt(at Place) {
	add := func(s string) {
		if b.ClockDoubt != "" {
			b.ClockDoubt += "; "
		}
		b.ClockDoubt += s
	}
	if b.When.Before(notBefore) {
		add("the clock stands before 2026 and was hardly set")
	}
	// One that broke off is put when it is found, behind others.
	if b.When.Before(at.After) && !b.Interrupted {
		add(fmt.Sprintf("the clock stands before that of record %06d, made earlier", at.Seq-1))
	}
}

// Parts names what a record.json vouches for, by SHA-256 in hex; empty where
// the record has none.
type Parts struct {
	Trace, Result, Profile string
	Files                  []Part
}

// Part is one file of a record.
type Part struct {
	Name   string
	Bytes  int
	SHA256 string
}

// Unseal reads a record.json strictly. The record has neither trace, result,
// profile text nor files yet: Parts says which belong to it.
func Unseal(data []byte) (*Record, Parts, error) {
	b, err := parseBody(data)
	if err != nil {
		return nil, Parts{}, fmt.Errorf("record: %w", err)
	}
	return b.record(hash(data)), b.parts(), nil
}

func (b *body) parts() Parts {
	p := Parts{Trace: b.Trace, Result: b.Result, Profile: b.Profile.SHA256}
	for _, f := range b.Files {
		p.Files = append(p.Files, Part(f))
	}
	return p
}

// EntryOf is what a list shows of a record.json.
func EntryOf(data []byte) (Entry, error) {
	e, _, _, err := Examine(data)
	return e, err
}

// Examine reads a record.json strictly, for who checks a log: what a list
// shows of it, what it vouches for, and the hash of the record before.
func Examine(data []byte) (e Entry, p Parts, previous string, err error) {
	b, err := parseBody(data)
	if err != nil {
		return Entry{}, Parts{}, "", fmt.Errorf("record: %w", err)
	}
	r := b.record(hash(data))
	return Entry{ID: r.ID, Hash: r.Hash, When: r.When, ClockDoubt: r.ClockDoubt, Purpose: r.Purpose, Program: r.Program, Rig: r.Rig,
		Calibration: r.Calibration, Profile: r.Profile, At: r.At, Interrupted: r.Interrupted, Cancelled: r.Cancelled,
		Verdict: result.Verdict(b.Verdict), Cause: result.Cause(b.Cause)}, b.parts(), r.Previous, nil
}
