package store

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"strings"

	"dutybench/bench/record/ledger"
)

// read reads what the tables hold of the records of these numbers.
func (l *logCheck) read(from, to int64) rows {
	r := rows{bodies: map[int64][]byte{}, records: map[int64][]any{}, parts: map[int64]map[string]string{}, hashes: map[int64][]byte{}}
	for _, f := range []func(int64, int64, *rows) error{l.readBodies, l.readRecords, l.readParts, l.readHashes} {
		// The others are read all the same: one damaged table must not hide
		// what the rest says.
		if err := f(from, to, &r); err != nil && r.err == nil {
			r.err = err
		}
	}
	return r
}

func (l *logCheck) readBodies(from, to int64, r *rows) error {
	q := "SELECT seq, " + capped("data", maxBody) + " FROM bodies WHERE bench = ? AND seq BETWEEN ? AND ? ORDER BY seq"
	return l.v.t.each(q, []any{l.bench, from, to}, func(scan func(...any) error) error {
		var seq int64
		var body []byte
		err := scan(&seq, &body)
		if err == nil && seq >= from && seq <= to {
			r.bodies[seq] = body
		}
		return err
	})
}

func (l *logCheck) readRecords(from, to int64, r *rows) error {
	columns := strings.Split(rowColumns(), ", ")
	for i, c := range columns {
		switch {
		case c == "sha256":
			columns[i] = capped(c, hashBytes)
		case c == "words":
			columns[i] = capped(c, maxBody)
		case i >= 7:
			columns[i] = capped(c, maxMark)
		}
	}
	q := "SELECT " + strings.Join(columns, ", ") + " FROM records WHERE bench = ? AND seq BETWEEN ? AND ? ORDER BY seq"
	return l.v.t.each(q, []any{l.bench, from, to}, func(scan func(...any) error) error {
		values := make([]any, 8+len(finders))
		into := make([]any, len(values))
		for i := range values {
			into[i] = &values[i]
		}
		if err := scan(into...); err != nil {
			return err
		}
		if seq, ok := values[1].(int64); ok {
			r.records[seq] = values
		}
		return nil
	})
}

func (l *logCheck) readParts(from, to int64, r *rows) error {
	// What a part's blob is worth is checked with all blobs; that it is there,
	// here.
	q := "SELECT p.seq, coalesce(" + capped("p.name", maxName) + ", '-'), " + capped("p.sha256", hashBytes) + ", b.sha256 IS NOT NULL FROM parts p LEFT JOIN blobs b ON b.sha256 = p.sha256 WHERE p.bench = ? AND p.seq BETWEEN ? AND ?"
	return l.v.t.each(q, []any{l.bench, from, to}, func(scan func(...any) error) error {
		var seq int64
		var name string
		var sum []byte
		var there bool
		if err := scan(&seq, &name, &sum, &there); err != nil {
			return err
		}
		if r.parts[seq] == nil {
			r.parts[seq] = map[string]string{}
		}
		r.parts[seq][name] = hex.EncodeToString(sum)
		if !there {
			l.say(seq, "the bytes of its %s are missing", name)
		}
		return nil
	})
}

func (l *logCheck) readHashes(from, to int64, r *rows) error {
	q := "SELECT place, " + capped("hash", hashBytes) + " FROM hashes WHERE bench = ? AND place >= ? AND place < ?"
	return l.v.t.each(q, []any{l.bench, ledger.Stored(from - 1), ledger.Stored(to)}, func(scan func(...any) error) error {
		var place int64
		var hash []byte
		err := scan(&place, &hash)
		r.hashes[place] = hash
		return err
	})
}

// beyond names rows that the head does not reach to, and rows without a body.
func (l *logCheck) beyond(size int64) {
	for _, table := range []string{"bodies", "records", "parts"} {
		q := "SELECT DISTINCT seq FROM " + table + " WHERE bench = ? AND (seq > ? OR seq < 1) ORDER BY seq LIMIT 1000"
		l.strange(q, []any{l.bench, size}, table, "the table "+table+" has it, but the signed head does not reach to it")
	}
	q := "SELECT DISTINCT place FROM hashes WHERE bench = ? AND (place >= ? OR place < 0) LIMIT 1"
	err := l.v.t.each(q, []any{l.bench, ledger.Stored(size)}, func(scan func(...any) error) error {
		var place int64
		err := scan(&place)
		l.v.say("bench "+l.bench, "its log has hashes beyond its %d records", size)
		return err
	})
	if err != nil {
		l.v.say("bench "+l.bench, "its log cannot be read: %v", err)
	}
}

func (l *logCheck) strange(q string, args []any, table, what string) {
	err := l.v.t.each(q, args, func(scan func(...any) error) error {
		var seq int64
		err := scan(&seq)
		l.say(seq, "%s", what)
		return err
	})
	if err != nil {
		l.v.say("table "+table, "it cannot be read: %v", err)
	}
}

// equal compares what a database gave with what was given to it.
func equal(have, want any) bool {
	switch w := want.(type) {
	case []byte:
		h, ok := have.([]byte)
		return ok && bytes.Equal(h, w)
	case int:
		return have == int64(w)
	case string:
		if h, ok := have.([]byte); ok {
			return string(h) == w
		}
	}
	return fmt.Sprint(have) == fmt.Sprint(want)
}
