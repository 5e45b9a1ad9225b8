// Package folder reads the store of folders, the form in which records were
// kept before there was a database. It writes nothing.
//
// A store is a folder:
//
//	bench.json              the bench's key word
//	head.json               number, hash and time of the last record
//	records/000001/         one folder a record
//	    record.json         everything but the three below, and their hashes
//	    record.sha256       the hash of record.json
//	    trace.csv           the samples
//	    profile.toml        the profile's text, when the test had one
//	    result.json         findings and verdict, when it was judged
//
// Each record holds the hash of the one before.
package folder

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"dutybench/bench/record"
)

// Store is a store of folders.
type Store struct {
	path  string
	bench string
}

// Is says whether records lie in a folder in this form.
func Is(path string) bool {
	info, err := os.Lstat(filepath.Join(path, "records"))
	if err != nil || !info.IsDir() {
		return false
	}
	entries, err := os.ReadDir(filepath.Join(path, "records"))
	return err != nil || len(entries) > 0
}

// Open looks into a folder. One without a key word is damaged.
func Open(path string) (*Store, error) {
	s := &Store{path: path}
	data, err := readFile(filepath.Join(path, "bench.json"), maxBody)
	if err != nil {
		return nil, fmt.Errorf("folder: the bench's key word cannot be read; bring bench.json back from a copy, any record of this store names it: %w", err)
	}
	var b benchFile
	if err := decode(data, &b); err != nil || b.Format < 1 || b.Format > record.Format || !record.IsKey(b.Bench) {
		return nil, fmt.Errorf("folder: %s is damaged; bring it back from a copy, any record of this store names the key", filepath.Join(path, "bench.json"))
	}
	s.bench = b.Bench
	return s, nil
}

// Bench is the bench's key word.
func (s *Store) Bench() string { return s.bench }

// benchFile is bench.json.
type benchFile struct {
	Format int    `json:"format"`
	Bench  string `json:"bench"`
}

// headFile is head.json: the last record.
type headFile struct {
	Format int       `json:"format"`
	Seq    int       `json:"seq"`
	Hash   string    `json:"hash"`
	When   time.Time `json:"when"`
}

// decode reads a file in the one form in which it was written.
func decode(data []byte, v any) error {
	if err := json.Unmarshal(data, v); err != nil {
		return err
	}
	again, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return err
	}
	if !bytes.Equal(append(again, '\n'), data) {
		return errors.New("it is not written the way the bench writes it")
	}
	return nil
}

// head reads head.json; zero when there is none.
func (s *Store) head() (headFile, error) {
	data, err := readFile(filepath.Join(s.path, "head.json"), maxBody)
	if errors.Is(err, fs.ErrNotExist) {
		return headFile{}, nil
	}
	if err != nil {
		return headFile{}, err
	}
	var h headFile
	if err := decode(data, &h); err != nil {
		return headFile{}, err
	}
	if h.Format < 1 || h.Format > record.Format || h.Seq < 1 || len(h.Hash) != 64 {
		return headFile{}, errors.New("it does not name a record")
	}
	return h, nil
}

func (s *Store) folder(seq int) string {
	return filepath.Join(s.path, "records", fmt.Sprintf("%06d", seq))
}

// numbers lists the records' numbers in rising order, and the names of what
// else lies among them.
func (s *Store) numbers() (seqs []int, strange []string, err error) {
	entries, err := os.ReadDir(filepath.Join(s.path, "records"))
	if err != nil {
		return nil, nil, fmt.Errorf("folder: the store cannot be listed: %w", err)
	}
	for _, e := range entries {
		id, err := record.ParseID(e.Name())
		if err != nil || id.Bench != "" || !e.IsDir() || filepath.Base(s.folder(id.Seq)) != e.Name() {
			strange = append(strange, e.Name())
			continue
		}
		seqs = append(seqs, id.Seq)
	}
	slices.Sort(seqs)
	return seqs, strange, nil
}

// Each gives every record in its order, with its record.json, until f fails.
func (s *Store) Each(f func(r *record.Record, body []byte) error) error {
	seqs, _, err := s.numbers()
	if err != nil {
		return err
	}
	for _, seq := range seqs {
		r, body, err := s.read(seq)
		if err != nil {
			return fmt.Errorf("folder: %s is damaged: %w", record.ID{Bench: s.bench, Seq: seq}, err)
		}
		if err := f(r, body); err != nil {
			return err
		}
	}
	return nil
}
