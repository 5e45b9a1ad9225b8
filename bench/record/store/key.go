package store

import (
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"dutybench/bench/record"
	"dutybench/bench/record/ledger"
)

// ownBench is the key word and the public key of the bench whose folder this
// is; both empty before its first test.
func (t *tx) ownBench() (bench, public string, err error) {
	err = t.one("SELECT coalesce("+capped("bench", maxName)+", '-'), coalesce("+capped("public", maxPublic)+", '') FROM benches WHERE own = 1", nil, &bench, &public)
	if errors.Is(err, sql.ErrNoRows) {
		return "", "", nil
	}
	if err == nil && !record.IsKey(bench) {
		err = fmt.Errorf("store: %s is damaged: it does not name its bench; bring it back from a backup", t.b.name)
	}
	return bench, public, err
}

// signer gives the bench's key inside a writing transaction. For the first
// test or record a key is made under the given word, or a new one when it is empty;
// settle, called after the commit, puts it in its place. A lost key is never
// replaced: another key would begin another log.
//
// Order: bench.key.new is on the disk before the transaction that names its
// public half, and gets its name after it. So bench.key never stands beside a
// database that does not know it, and a kill in between is made good here.
func (s *Store) signer(t *tx, word string) (key ledger.Key, settle func() error, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	path := filepath.Join(s.folder, keyFile)
	bench, public, err := t.ownBench()
	if err != nil {
		return ledger.Key{}, nil, err
	}
	if bench == "" {
		return s.newKey(t, word)
	}
	if s.key != (ledger.Key{}) && s.key.Public() == public {
		return s.key, func() error { return nil }, nil
	}
	if !exists(path) {
		if err := s.place(public); err != nil {
			return ledger.Key{}, nil, err
		}
	}
	key, err = ledger.LoadKey(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return ledger.Key{}, nil, fmt.Errorf("store: the private key %s is lost, so nothing can be added to the log of bench %s; bring it back from its copy, or keep this folder for reading and go on in another one: %w", path, bench, err)
	case err != nil:
		return ledger.Key{}, nil, err
	case key.Public() != public:
		return ledger.Key{}, nil, fmt.Errorf("store: the key %s belongs to another log than the one in %s; bring the right one back from its copy", path, t.b.name)
	}
	s.key = key
	return key, func() error { return nil }, nil
}

// unclaimed refuses to begin a log where a key has signed one already.
func (s *Store) unclaimed(t *tx) error { return s.keyAlone(t.b.name) }

// newKey makes the key of a bench that has none.
func (s *Store) newKey(t *tx, word string) (ledger.Key, func() error, error) {
	path := filepath.Join(s.folder, keyFile)
	if err := s.unclaimed(t); err != nil {
		return ledger.Key{}, nil, err
	}
	if word == "" {
		word = record.NewKey()
	}
	key, err := ledger.NewKey(ledger.Origin(word))
	if err != nil {
		return ledger.Key{}, nil, err
	}
	// What a killed program left: no record knows it.
	for _, p := range []string{path + ".new", path + ".new.pub"} {
		if err := os.Remove(p); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return ledger.Key{}, nil, fmt.Errorf("store: the key cannot be made: %w", err)
		}
	}
	if err := key.Save(path + ".new"); err != nil {
		return ledger.Key{}, nil, err
	}
	root, err := ledger.Root(0, nil)
	if err != nil {
		return ledger.Key{}, nil, err
	}
	first, err := key.Sign(word, 0, root)
	if err != nil {
		return ledger.Key{}, nil, err
	}
	if err := t.exec("INSERT INTO benches (bench, public, own, size, head) VALUES (?, ?, 1, 0, ?)", word, key.Public(), first.Signed); err != nil {
		return ledger.Key{}, nil, err
	}
	return key, func() error { return s.place(key.Public()) }, nil
}

// place gives bench.key.new its name when it is the one that the database
// knows.
func (s *Store) place(public string) error {
	path := filepath.Join(s.folder, keyFile)
	key, err := ledger.LoadKey(path + ".new")
	if err != nil || key.Public() != public {
		return nil // signer says that the key is missing
	}
	// The public half first; after a kill in between it has its name already.
	// Another program may do the same at this moment.
	for _, end := range []string{".pub", ""} {
		if e := os.Rename(path+".new"+end, path+end); e != nil && !errors.Is(e, fs.ErrNotExist) {
			err = errors.Join(err, e)
		}
	}
	err = errors.Join(err, syncFolder(s.folder))
	if err != nil {
		return fmt.Errorf("store: the key %s.new cannot get its name; rename it to %s: %w", path, keyFile, err)
	}
	return nil
}

// readingKey is the bench's private key where it lies beside the database,
// for who changes nothing; else the zero Key.
func (s *Store) readingKey(public string) ledger.Key {
	key, err := ledger.LoadKey(filepath.Join(s.folder, keyFile))
	if err != nil || key.Public() != public {
		return ledger.Key{}
	}
	return key
}

// publicKey reads the bench's public key from beside the database; empty when
// it is not there.
func (s *Store) publicKey() (string, error) {
	path := filepath.Join(s.folder, keyFile+".pub")
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	if err != nil {
		return "", fmt.Errorf("store: the public key cannot be read: %w", err)
	}
	if !info.Mode().IsRegular() || info.Size() > 4096 {
		return "", fmt.Errorf("store: %s is no public key", path)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return "", fmt.Errorf("store: the public key cannot be read: %w", err)
	}
	return strings.TrimSpace(string(data)), nil
}
