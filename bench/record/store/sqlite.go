package store

import (
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// lockWait is how long one writer waits for another.
const lockWait = 30 * time.Second

// openSQLite opens the database in a file; unless it is only read, the file is
// made when it is not there, and brought to this program's form.
func openSQLite(path string, readOnly bool) (*base, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("store: %s cannot be found: %w", path, err)
	}
	if !readOnly {
		if err := makeFile(abs); err != nil {
			return nil, fmt.Errorf("store: %s cannot be made; free the disk or give another folder with --store DIR: %w", path, err)
		}
	}
	db, err := sql.Open("sqlite", dsn(abs, readOnly))
	if err != nil {
		return nil, fmt.Errorf("store: %s: %w", path, err)
	}
	// Few connections: each keeps up to 6 MB of pages in memory.
	db.SetMaxOpenConns(4)
	b := &base{db: db, name: path, forms: migrations}
	if err := b.prepare(readOnly); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return b, nil
}

// dsn lists what every connection is set to. The wait for a lock comes first,
// because what follows takes locks.
func dsn(path string, readOnly bool) string {
	q := url.Values{"_txlock": {"immediate"}}
	pragmas := []string{
		fmt.Sprintf("busy_timeout(%d)", lockWait.Milliseconds()),
		"synchronous(full)",
		"foreign_keys(on)",
		"cache_size(-6000)",
		// A database from elsewhere runs nothing of its own.
		"trusted_schema(off)",
		"cell_size_check(on)",
	}
	if readOnly {
		q.Set("mode", "ro")
		// Where nothing can be written beside it, no other program writes either.
		if !fileWritable(path) && !exists(path+"-wal") {
			q.Set("immutable", "1")
		}
	} else {
		q.Set("mode", "rw")
		pragmas = append(pragmas, "journal_mode(wal)", "journal_size_limit(16777216)")
	}
	q["_pragma"] = pragmas
	u := url.URL{Scheme: "file", Path: path, RawQuery: q.Encode()}
	return u.String()
}

// makeFile makes an empty file for its owner alone, where there is none, and
// brings its name to the disk. The database's log gets the same rights.
func makeFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, os.ErrExist) {
		return nil
	}
	if err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(path))
}

// makeFolder makes a folder and those above it, where they are not there, and
// brings their names to the disk.
func makeFolder(path string, mode os.FileMode) error {
	if exists(path) {
		return os.MkdirAll(path, 0o755) // says so when it is a file
	}
	above := filepath.Dir(path)
	if above != path {
		if err := makeFolder(above, 0o755); err != nil {
			return err
		}
	}
	if err := os.Mkdir(path, mode); err != nil && !errors.Is(err, os.ErrExist) {
		return err
	}
	return syncFolder(above)
}

// syncFolder brings a folder's names to the disk.
func syncFolder(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

func exists(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}

// advice is what a person can do about an error, as the end of its sentence.
func advice(err error) string {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return ""
	}
	switch e.Code() & 0xff {
	case sqlite3.SQLITE_FULL:
		return "; the disk is full: free it, nothing was changed"
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
		return fmt.Sprintf("; another program has held the store for %v: end it and try again", lockWait)
	case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB:
		return "; the file is damaged: bring it back from a backup"
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_CANTOPEN:
		return "; see who owns the folder and its files"
	case sqlite3.SQLITE_IOERR:
		return "; the disk does not answer as it should: see its health and free space"
	}
	return ""
}
