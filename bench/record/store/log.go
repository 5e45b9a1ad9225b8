package store

import (
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"dutybench/bench/record/ledger"
)

// benchOf is the key word of the bench that a key signs for.
func benchOf(key ledger.Key) string { return strings.TrimPrefix(key.Name(), ledger.Origin("")) }

// Key is the verifier key of a bench; an empty name means this bench.
func (s *Store) Key(bench string) (string, error) {
	b, bench, err := s.holder(bench)
	if err != nil {
		return "", err
	}
	var public string
	err = b.read(func(t *tx) error { return t.benchRow(bench, &public, nil) })
	return public, err
}

// Head is a bench's newest signed head, its signature checked.
func (s *Store) Head(bench string) (ledger.Head, error) {
	b, bench, err := s.holder(bench)
	if err != nil {
		return ledger.Head{}, err
	}
	var h ledger.Head
	err = b.read(func(t *tx) (err error) {
		h, err = t.head(bench)
		return err
	})
	return h, err
}

// head reads a bench's head.
func (t *tx) head(bench string) (ledger.Head, error) {
	var public string
	var signed []byte
	if err := t.benchRow(bench, &public, &signed); err != nil {
		return ledger.Head{}, err
	}
	h, err := ledger.ParseHead(signed, public)
	if err == nil && h.Bench != bench {
		err = fmt.Errorf("store: the head of bench %s is that of %s", bench, h.Bench)
	}
	return h, err
}

// benchRow reads what is known of a bench; one that is not there is
// fs.ErrNotExist.
func (t *tx) benchRow(bench string, public *string, head *[]byte) error {
	if head == nil {
		head = new([]byte)
	}
	err := t.one("SELECT coalesce("+capped("public", maxPublic)+", ''), "+capped("head", maxHead)+" FROM benches WHERE bench = ?", []any{bench}, public, head)
	if errors.Is(err, sql.ErrNoRows) {
		return fmt.Errorf("store: there is no bench %s in %s: %w", bench, t.b.name, fs.ErrNotExist)
	}
	return err
}

// Hashes reads a bench's log, for proofs.
func (s *Store) Hashes(bench string) ledger.HashReader { return logReader{s, bench} }

type logReader struct {
	s     *Store
	bench string
}

func (l logReader) ReadHashes(places []int64) (out []ledger.Hash, err error) {
	b, bench, err := l.s.holder(l.bench)
	if err != nil {
		return nil, err
	}
	err = b.read(func(t *tx) (err error) {
		out, err = t.hashes(bench).ReadHashes(places)
		return err
	})
	return out, err
}

// hashes reads a bench's log inside a transaction.
func (t *tx) hashes(bench string) ledger.HashReader { return txReader{t, bench} }

type txReader struct {
	t     *tx
	bench string
}

func (l txReader) ReadHashes(places []int64) ([]ledger.Hash, error) {
	out := make([]ledger.Hash, 0, len(places))
	for _, p := range places {
		var data []byte
		err := l.t.one("SELECT "+capped("hash", hashBytes)+" FROM hashes WHERE bench = ? AND place = ?", []any{l.bench, p}, &data)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return nil, err
		}
		if len(data) != len(ledger.Hash{}) {
			return nil, fmt.Errorf("store: the log of bench %s lacks its hash number %d; verify the store and bring it back from a backup", l.bench, p)
		}
		out = append(out, ledger.Hash(slices.Clone(data)))
	}
	return out, nil
}
