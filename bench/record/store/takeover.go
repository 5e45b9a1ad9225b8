package store

import (
	"fmt"
	"strings"

	"dutybench/bench/record"
	"dutybench/bench/record/folder"
)

// former says whether a folder holds records of the former store that the
// database does not have yet.
func (b *base) former(path string) (bool, error) {
	if !folder.Is(path) {
		return false, nil
	}
	var own string
	err := b.read(func(t *tx) (err error) {
		own, _, err = t.ownBench()
		return err
	})
	return own == "", err
}

// takeOver takes all records of the former store of folders into the
// database, once and in one transaction: numbers, key word and the bytes of
// every record.json stay. A store that is not whole is refused, and what is
// damaged named. The folders stay where they are and are not looked at again.
func (s *Store) takeOver(b *base) error {
	old, err := folder.Open(s.folder)
	if err != nil {
		return err
	}
	damage, err := old.Verify()
	if err != nil {
		return err
	}
	if len(damage) > 0 {
		var all []string
		for i, d := range damage {
			if i == 10 {
				all = append(all, fmt.Sprintf("and %d more", len(damage)-i))
				break
			}
			all = append(all, d.String())
		}
		return fmt.Errorf("store: the records in %s were kept in the former form and are not whole, so they are not taken over; bring them back from a copy, or name another store: %s", s.folder, strings.Join(all, "; "))
	}
	settle := func() error { return nil }
	err = b.write(func(t *tx) error {
		if word, _, err := t.ownBench(); err != nil || word != "" {
			return err // another program was first
		}
		key, after, err := s.signer(t, old.Bench())
		if err != nil {
			return err
		}
		settle = after
		n := 0
		err = old.Each(func(r *record.Record, body []byte) error {
			parts, err := partsOf(r)
			if err != nil {
				return err
			}
			n++
			return t.insert(old.Bench(), n, body, parts)
		})
		if err != nil || n == 0 {
			return err
		}
		return t.sign(old.Bench(), n, key)
	})
	if err != nil {
		return fmt.Errorf("store: the records of the former form are not taken over: %w", err)
	}
	return settle()
}
