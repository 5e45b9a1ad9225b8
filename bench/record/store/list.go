package store

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"dutybench/bench/record"
	"dutybench/bench/result"
)

// List gives the records that the filter takes. Damaged ones are left out and
// named in the error, beside the rest.
func (s *Store) List(f record.Filter) (out []record.Entry, err error) {
	b := s.shown()
	order := "bench, seq"
	if f.Newest {
		order = "bench DESC, seq DESC"
	}
	skip, limit := int64(max(f.Skip, 0)), int64(f.Limit)
	if limit <= 0 {
		limit = math.MaxInt32
	}
	// The rows first, so that bodies passed over are not read. Each way to find
	// a person has an index in the list's order: one list of each, and then theirs.
	var ways []string
	var args []any
	for _, c := range b.conditions(&f, true) {
		ways = append(ways, "SELECT * FROM (SELECT bench, seq FROM records"+c.where+" ORDER BY "+order+" LIMIT ?) AS way")
		args = append(append(args, c.args...), limit+skip)
	}
	q := "SELECT r.bench, r.seq, " + capped("b.data", maxBody) + " FROM (SELECT bench, seq FROM (" + strings.Join(ways, " UNION ") + ") AS ways ORDER BY " + order + " LIMIT ? OFFSET ?) AS r" +
		" LEFT JOIN bodies b ON b.bench = r.bench AND b.seq = r.seq ORDER BY r." + strings.Replace(order, " seq", " r.seq", 1)
	args = append(args, limit, skip)
	var bad []error
	err = b.read(func(t *tx) error {
		return t.each(q, args, func(scan func(...any) error) error {
			var id record.ID
			var body []byte
			if err := scan(&id.Bench, &id.Seq, &body); err != nil {
				return err
			}
			e, err := record.EntryOf(body)
			if err == nil && e.ID != id {
				err = fmt.Errorf("it holds record %s", e.ID)
			}
			if err != nil {
				if len(bad) < 100 {
					bad = append(bad, fmt.Errorf("store: %s is damaged and not listed: %w", id, err))
				}
				return nil
			}
			out = append(out, e)
			return nil
		})
	})
	return out, errors.Join(append(bad, err)...)
}

// Causes counts what the records that the filter takes came to, the most
// frequent first.
func (s *Store) Causes(f record.Filter) (out []record.Count, err error) {
	b := s.shown()
	c := b.conditions(&f, false)[0]
	err = b.read(func(t *tx) error {
		q := "SELECT verdict, cause, count(*) FROM records" + c.where + " GROUP BY verdict, cause ORDER BY count(*) DESC, verdict, cause"
		return t.each(q, c.args, func(scan func(...any) error) error {
			var verdict, cause string
			var c record.Count
			if err := scan(&verdict, &cause, &c.N); err != nil {
				return err
			}
			// The words of both are in small letters.
			c.Verdict, c.Cause = result.Verdict(strings.ToLower(verdict)), result.Cause(strings.ToLower(cause))
			out = append(out, c)
			return nil
		})
	})
	return out, err
}
