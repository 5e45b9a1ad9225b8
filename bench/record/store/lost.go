package store

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// lostDatabase: a folder has the key of a log and not the log.
type lostDatabase struct{ key, base string }

func (e *lostDatabase) Error() string {
	return fmt.Sprintf("store: %s has signed records that are not in %s; bring the database back from its backup, or move the key away to begin a new log", e.key, e.base)
}

// IsLost says of an error that a folder's database is gone or was emptied, and
// its key is still there.
func IsLost(err error) bool {
	var lost *lostDatabase
	return errors.As(err, &lost)
}

// keyAlone is that error where a key stands beside a database that has no log.
func (s *Store) keyAlone(base string) error {
	for _, name := range []string{keyFile, keyFile + ".pub"} {
		if p := filepath.Join(s.folder, name); exists(p) {
			return &lostDatabase{p, base}
		}
	}
	return nil
}

// standing refuses a folder that has a key and no database, or an empty file in
// its place: none is made there.
func (s *Store) standing(path string) error {
	info, err := os.Stat(path)
	if err == nil && info.Size() > 0 || err != nil && exists(path) {
		return nil
	}
	if log, err := os.Stat(path + "-wal"); err == nil && log.Size() > 0 {
		return nil
	}
	return s.keyAlone(path)
}

// Lost is the error of a folder whose database was emptied while its key is
// still there; nil when all is as it should be.
func (s *Store) Lost() error {
	if s.own == nil {
		return s.lost
	}
	var lost error
	err := s.own.read(func(t *tx) error {
		if bench, _, err := t.ownBench(); err == nil && bench == "" {
			lost = s.unclaimed(t)
		}
		return nil // what is damaged, Verify says
	})
	return errors.Join(lost, err)
}
