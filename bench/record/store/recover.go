package store

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"dutybench/bench/record"
	"dutybench/bench/record/ledger"
)

// ended is what the trace of an interrupted test says.
const ended = "the program or its machine stopped during the test; these are the rows that were on the disk by then"

// Recover makes records, marked as interrupted, of the tests whose program
// died, and names them. Tests under way, in this program or another, stay as
// they are. Of a test of which no row was on the disk the record's trace has a
// heading only. What this bench's key does not vouch for stays as it is and is
// named in the error.
func (s *Store) Recover() ([]record.ID, error) {
	if err := s.writable(); err != nil {
		return nil, err
	}
	var names []string
	var key ledger.Key // of a bench that has none, no draft can be
	err := s.own.read(func(t *tx) (err error) {
		if names, err = t.draftNames(); err != nil || len(names) == 0 {
			return err
		}
		bench, _, err := t.ownBench()
		if err != nil || bench == "" {
			return err
		}
		key, _, err = s.signer(t, bench)
		return err
	})
	if err != nil {
		return nil, err
	}
	var out []record.ID
	var bad []error
	for _, name := range names {
		id, err := s.recover(name, key)
		if err != nil && len(bad) < 100 {
			bad = append(bad, err)
		} else if id.Seq > 0 {
			out = append(out, id)
		}
	}
	if len(out) > 0 {
		s.handOn()
	}
	return out, errors.Join(append(bad, s.sweep())...)
}

// recover makes a record of one draft if its program is dead: its lock can be
// had. A lock that is not there says nothing, so the draft's age has to.
func (s *Store) recover(name string, key ledger.Key) (record.ID, error) {
	if !isDraft(name) {
		return record.ID{}, notOurs(name)
	}
	lock, err := standingLock(s.draftLock(name))
	if errors.Is(err, errHeld) {
		return record.ID{}, nil
	}
	if lock != nil {
		defer lock.Close()
	} else if !errors.Is(err, fs.ErrNotExist) {
		return record.ID{}, err
	}
	r, err := s.interrupted(name, key)
	if errors.Is(err, errNoDraft) || err == nil && lock == nil && s.underWay(r.When) {
		return record.ID{}, nil
	}
	if err != nil {
		return record.ID{}, err
	}
	kept, err := s.keep([]*record.Record{r}, name)
	if err != nil {
		return record.ID{}, err
	}
	if lock != nil {
		os.Remove(lock.Name()) // sweep takes those that stay
	}
	return kept[0].ID, nil
}

// longestTest is how long a test whose lock is gone is taken to be under way
// (chosen: a soak takes half an hour).
const longestTest = 24 * time.Hour

// underWay says of a test whose lock is gone that its program may still live:
// it began since the machine's start, as far as that is known, and not long
// ago.
func (s *Store) underWay(began time.Time) bool {
	const doubt = time.Minute // of clocks that are set at the start
	if since := sinceBoot(); since > 0 && began.Before(time.Now().Add(-since-doubt)) {
		return false
	}
	return s.o.Now().Sub(began).Abs() < longestTest
}

// noRows is the trace of a test of which nothing was on the disk.
const noRows = "# ended: the program or its machine stopped at the beginning of the test; no row was on the disk by then\nt_s,duty_pct,current_A\n"

// interrupted is the record of a draft as far as it came.
func (s *Store) interrupted(name string, key ledger.Key) (*record.Record, error) {
	var d *draftRows
	err := s.own.read(func(t *tx) (err error) {
		d, err = t.draftRows(name, key)
		return err
	})
	if err != nil {
		return nil, err
	}
	r := &d.record
	r.Interrupted, r.Result = true, nil
	switch {
	case len(d.chunks) > 0:
		r.Trace, err = joined(d.chunks, ended, d.cut)
	case d.cut != nil:
		err = fmt.Errorf("store: of the interrupted test %s nothing is left to make a record of: %w; see records verify", name, d.cut)
	default:
		r.Trace = []byte(noRows)
	}
	return r, err
}

// sweep removes locks without a draft that nobody holds.
func (s *Store) sweep() error {
	entries, err := os.ReadDir(filepath.Join(s.folder, draftFolder))
	if err != nil {
		return fmt.Errorf("store: the tests under way cannot be told: %w", err)
	}
	for _, e := range entries {
		name, ok := strings.CutSuffix(e.Name(), ".lock")
		if !ok || !isDraft(name) {
			continue
		}
		lock, err := lockedFile(s.draftLock(name), 0)
		if err != nil {
			continue
		}
		var there int
		err = s.own.read(func(t *tx) error {
			return t.one("SELECT count(*) FROM drafts WHERE draft = ?", []any{name}, &there)
		})
		if err == nil && there == 0 {
			os.Remove(lock.Name())
		}
		lock.Close()
	}
	return nil
}
