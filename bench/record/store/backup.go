package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
)

// Backup writes a whole copy of the bench's own database to a new file, for
// its owner alone. Tests may go on meanwhile; those under way are not in the
// copy. The copy holds the public key,
// so that it can be verified; the private key bench.key is not in it and has
// to be copied by itself, to another place. To bring it back, put it into an
// empty folder as records.db and bench.key with bench.key.pub beside it.
func (s *Store) Backup(path string) error {
	if s.own == nil {
		return errors.New("store: a server is backed up with its own means, such as pg_dump")
	}
	if err := s.backup(path); err != nil {
		return fmt.Errorf("store: there is no backup: %w", err)
	}
	return nil
}

func (s *Store) backup(path string) (err error) {
	if exists(path) {
		return fmt.Errorf("%s is there already; name a new file", path)
	}
	// Aside first, so that no half of a backup ever has its name.
	f, err := os.CreateTemp(filepath.Dir(path), ".backup-*")
	if err != nil {
		return err
	}
	defer func() {
		f.Close()
		if err != nil {
			os.Remove(f.Name())
		}
	}()
	if _, err := s.own.db.ExecContext(context.Background(), "VACUUM INTO ?", f.Name()); err != nil {
		return s.own.problem(err)
	}
	if err := withoutDrafts(f.Name()); err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		return err
	}
	if err := proof(f.Name()); err != nil {
		return fmt.Errorf("what was written does not hold: %w", err)
	}
	// A link refuses a name that somebody took meanwhile.
	if err := os.Link(f.Name(), path); err != nil {
		return err
	}
	if err := os.Remove(f.Name()); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(path))
}

// withoutDrafts takes the tests under way out of a copy, with their bytes:
// where the copy is brought back, no program runs them.
func withoutDrafts(path string) error {
	path, err := filepath.Abs(path)
	if err != nil {
		return err
	}
	// Nothing beside the copy: it has no name of its own yet.
	q := url.Values{"mode": {"rw"}, "_pragma": {"journal_mode(memory)", "secure_delete(on)", "trusted_schema(off)"}}
	u := url.URL{Scheme: "file", Path: path, RawQuery: q.Encode()}
	db, err := sql.Open("sqlite", u.String())
	if err != nil {
		return err
	}
	db.SetMaxOpenConns(1)
	_, err = db.ExecContext(context.Background(), "DELETE FROM chunks; DELETE FROM drafts")
	return errors.Join(err, db.Close())
}

// proof opens a backup and checks what opening checks.
func proof(path string) error {
	b, err := openSQLite(path, true)
	if err != nil {
		return err
	}
	s := &Store{own: b}
	return errors.Join(s.start(), b.close())
}
