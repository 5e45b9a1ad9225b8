package store

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"dutybench/bench/record"
	"dutybench/bench/record/folder"
	"dutybench/bench/record/ledger"
)

// Options say how a store is opened; the zero value will do for a folder.
type Options struct {
	// Folder is this bench's own folder, for its records, key and pages, when
	// where is a server's URL.
	Folder string
	// ReadOnly opens what is there and changes nothing.
	ReadOnly bool
	// Now is the wall clock; nil is that of the machine.
	Now func() time.Time
	// Patience is how long opening a server, one exchange with it, and handing
	// over to it may take each; 0 is 10 minutes.
	Patience time.Duration
	// Room_B is how much room the disk must have before a test starts, in
	// bytes; 0 is Room_B of the package.
	Room_B int64
}

// Store keeps records. Its methods may be called from several goroutines, and
// several processes may have it open.
type Store struct {
	folder string
	own    *base // the bench's own records; nil: a server is only read
	server *base // nil: there is none
	lost   error // why own is nil though the folder has a key
	o      Options

	mu      sync.Mutex // guards what follows
	key     ledger.Key // zero: not loaded yet
	away    time.Time  // until when the server is not asked again
	refused error      // why the last hand-over failed
}

var _ record.Store = (*Store)(nil)

const (
	databaseFile = "records.db"
	keyFile      = "bench.key"
)

// Open opens the store in a folder, which is made when it is not there, or on
// a server (postgres://…). A folder with records of the former store of folders
// is taken over once. A damaged or newer store is refused.
func Open(where string, o Options) (*Store, error) {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Room_B == 0 {
		o.Room_B = Room_B
	}
	s := &Store{folder: where, o: o}
	if isURL(where) {
		s.folder = o.Folder
	} else if where == "" {
		return nil, errors.New("store: the store's folder has no name; give one with --store DIR")
	}
	if err := s.open(where); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

func isURL(where string) bool { return strings.Contains(where, "://") }

func (s *Store) open(where string) (err error) {
	if isURL(where) {
		if s.server, err = openPostgres(where, s.o.ReadOnly, s.o.Patience); err != nil {
			return err
		}
		if s.folder == "" {
			return nil
		}
	}
	if s.own, err = s.openFolder(); err != nil {
		// A server can be read by who has no bench, or has lost it.
		if s.server != nil && s.o.ReadOnly && (errors.Is(err, fs.ErrNotExist) || IsLost(err)) {
			if IsLost(err) {
				s.lost = err
			}
			return nil
		}
		return err
	}
	if s.o.ReadOnly {
		return nil // Verify names what is wrong
	}
	if err := s.start(); err != nil {
		return err
	}
	s.handOn()
	return nil
}

// openFolder opens the bench's own database, and makes it when need be.
func (s *Store) openFolder() (*base, error) {
	path := filepath.Join(s.folder, databaseFile)
	if err := s.standing(path); err != nil {
		return nil, err
	}
	if s.o.ReadOnly {
		return s.readFolder(path)
	}
	for _, f := range []struct {
		name string
		mode fs.FileMode
	}{{"", 0o755}, {"pages", 0o700}, {draftFolder, 0o700}} {
		if err := makeFolder(filepath.Join(s.folder, f.name), f.mode); err != nil {
			return nil, fmt.Errorf("store: no store can be made in %s; give another folder with --store DIR: %w", s.folder, err)
		}
	}
	// One at a time makes the database, or changes its form.
	unlock, err := lockFile(filepath.Join(s.folder, "lock"), lockWait)
	if err != nil {
		return nil, err
	}
	defer unlock()
	b, err := openSQLite(path, false)
	if err != nil {
		return nil, err
	}
	former, err := b.former(s.folder)
	if err == nil && former {
		err = s.takeOver(b)
	}
	if err != nil {
		return nil, errors.Join(err, b.close())
	}
	return b, nil
}

// readFolder opens what is there. Records of the former form that are not
// taken over yet, or could not be, are not passed over in silence.
func (s *Store) readFolder(path string) (b *base, err error) {
	former := folder.Is(s.folder)
	if exists(path) {
		if b, err = openSQLite(path, true); err != nil {
			return nil, err
		}
		if former, err = b.former(s.folder); err == nil && !former {
			return b, nil
		}
	}
	switch {
	case err != nil:
	case former:
		err = fmt.Errorf("store: %s holds records in the former form; open it once for writing, as any test does, and they are taken over", s.folder)
	default:
		err = fmt.Errorf("store: there is no store in %s: %w", s.folder, fs.ErrNotExist)
	}
	return nil, errors.Join(err, b.close())
}

// Folder is the bench's own folder; empty when only a server is read.
func (s *Store) Folder() string { return s.folder }

// PagePath is where a record's page for people belongs; empty when only a
// server is read.
func (s *Store) PagePath(id record.ID) string {
	if s.folder == "" {
		return ""
	}
	return filepath.Join(s.folder, "pages", id.String()+".html")
}

// Close lets go of the store.
func (s *Store) Close() error {
	return errors.Join(s.own.close(), s.server.close())
}

// shown is where all benches' records are looked up.
func (s *Store) shown() *base {
	if s.server != nil {
		return s.server
	}
	return s.own
}

// holder is where one bench's records are looked up: its own are in its
// folder, whether or not the server can be had.
func (s *Store) holder(bench string) (*base, string, error) {
	own, err := s.bench()
	switch {
	case err != nil:
		return nil, "", err
	case bench == "" && own == "":
		return nil, "", fmt.Errorf("store: this bench has kept no record yet: %w", fs.ErrNotExist)
	case bench == "" || bench == own:
		return s.own, own, nil
	}
	return s.shown(), bench, nil
}

// bench is the key word of this bench; empty before its first record.
func (s *Store) bench() (string, error) {
	if s.own == nil {
		return "", nil
	}
	var word string
	err := s.own.read(func(t *tx) (err error) {
		word, _, err = t.ownBench()
		return err
	})
	return word, err
}

// writable refuses what is only open for reading.
func (s *Store) writable() error {
	if s.o.ReadOnly || s.own == nil {
		return errors.New("store: it is open for reading only; a bench writes with its own folder")
	}
	return nil
}

// ctx bounds one exchange with a database: a server that hangs must not hold
// a bench.
func (b *base) ctx() (context.Context, context.CancelFunc) {
	return context.WithTimeout(context.Background(), cmp.Or(b.patience, 10*time.Minute))
}
