package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"dutybench/bench/record"
	"dutybench/bench/record/store"
)

// storePlace is where records live: a folder of this bench, and for many
// benches a server too.
type storePlace struct {
	folder string
	server string // its URL; empty: none
}

// place says where records live. A bench whose --store is a server has its own
// folder all the same: what DUTYBENCH_STORE says, else the data folder.
func (a *app) place() (storePlace, error) {
	where, err := record.Location(a.store, a.getenv)
	switch {
	case err != nil:
	case oddPlace(where):
		err = errOddPlace
	case isServer(where) && !isPostgres(where):
		err = errNoServer(where)
	}
	if err != nil || !isServer(where) {
		return storePlace{folder: where}, err
	}
	p := storePlace{server: where}
	p.folder, err = record.Location("", func(key string) string {
		if v := a.getenv(key); key != "DUTYBENCH_STORE" || !isServer(v) {
			return v
		}
		return ""
	})
	if err == nil && oddPlace(p.folder) {
		err = errOddPlace
	}
	return p, err
}

func isServer(where string) bool { return strings.Contains(where, "://") }

// ownStore opens this bench's own store, which is made when it is not there.
// A test is always kept there first.
func (a *app) ownStore() (*store.Store, error) {
	p, err := a.place()
	if err != nil {
		return nil, err
	}
	s, err := store.Open(p.folder, store.Options{Now: a.now})
	if err != nil {
		return nil, err
	}
	a.tellRecovered(s)
	return s, nil
}

func isPostgres(where string) bool {
	return strings.HasPrefix(where, "postgres://") || strings.HasPrefix(where, "postgresql://")
}

// errNoServer does not repeat an address, which may hold a password.
func errNoServer(where string) error {
	scheme, _, _ := strings.Cut(where, "://")
	return fmt.Errorf("--store %s://… names no server that dutybench knows: give a folder, or postgres://USER@HOST/DATABASE", scheme)
}

// tellRecovered keeps what was measured of tests that broke off, and says so.
func (a *app) tellRecovered(s *store.Store) {
	ids, err := s.Recover()
	for _, id := range ids {
		unit, look := "", " Look whether the supply is off."
		if body, err := s.Body(id); err == nil {
			if e, err := record.EntryOf(body); err == nil {
				unit = of(e.At.Unit) + " on " + e.When.Local().Format("2006-01-02 15:04")
				if simulated(e.Rig) {
					look = ""
				}
			}
		}
		fmt.Fprintf(a.stderr, "dutybench: the test%s broke off, as the program or its machine stopped; what was measured is record %s.%s\n", unit, id, look)
	}
	if err != nil {
		fmt.Fprintln(a.stderr, "dutybench: of a test that broke off:", err)
	}
}

// standingStore opens a store that is there already: looking at records makes
// no store. Where the store is a server, its records are shown.
func (a *app) standingStore() (*store.Store, error) {
	p, err := a.place()
	if err != nil {
		return nil, err
	}
	if p.server != "" {
		s, err := store.Open(p.server, store.Options{Folder: p.folder, ReadOnly: true, Now: a.now})
		if err != nil && mayWrite(p.folder) {
			err = fmt.Errorf("%w. The bench's own records are in its folder: dutybench --store %s records list", err, shellWord(p.folder))
		}
		if err == nil {
			a.tellWaiting(s, p.folder)
		}
		return s, err
	}
	if info, err := os.Stat(p.folder); err == nil && !info.IsDir() {
		return nil, fmt.Errorf("%s is no folder, so it is no store: name the folder with --store", p.folder)
	} else if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("there is no store at %s: run a test first, or name the store with --store", p.folder)
	} else if err != nil {
		return nil, fmt.Errorf("the store cannot be looked into: %w", err)
	}
	if mayWrite(p.folder) {
		// Records of the former form are taken over, and broken-off tests kept.
		s, err := store.Open(p.folder, store.Options{Now: a.now})
		if err == nil {
			a.tellRecovered(s)
			return s, nil
		}
		if store.IsLost(err) {
			return nil, err
		}
		// A full disk can still be read.
		if s, rerr := store.Open(p.folder, store.Options{ReadOnly: true, Now: a.now}); rerr == nil {
			return s, nil
		}
		return nil, err
	}
	s, err := store.Open(p.folder, store.Options{ReadOnly: true, Now: a.now})
	if err != nil {
		return nil, err
	}
	if err := s.Lost(); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

// mayWrite says whether a folder is a store that this program can write to: an
// empty folder is none yet.
func mayWrite(folder string) bool {
	for _, name := range []string{"records.db", "bench.json"} {
		if f, err := os.OpenFile(filepath.Join(folder, name), os.O_RDWR, 0); err == nil {
			f.Close()
			return true
		}
	}
	return false
}

// close closes a store that is done with.
func (a *app) close(s io.Closer) {
	if err := s.Close(); err != nil {
		fmt.Fprintln(a.stderr, "dutybench: the store did not close cleanly:", err)
	}
}

// traceScheme comes before a record's name where a trace is asked for.
const traceScheme = "record:"

// traceName names a record's trace for judge and for scripts.
func traceName(id record.ID) string { return traceScheme + id.String() }

// traceCommand is how a person gets a record's trace as a file. Pages, which
// go elsewhere, do not name the store: see showTrace.
func traceCommand(id record.ID) string {
	return fmt.Sprintf("dutybench records show %s --trace FILE", id)
}

// showTrace is the same for who called the program.
func (a *app) showTrace(id record.ID) string { return a.command("records show %s --trace FILE", id) }
