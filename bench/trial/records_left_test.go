package trial_test

import (
	"bytes"
	"errors"
	"fmt"
	"strings"

	"dutybench/bench/record"
	"dutybench/signal/trace"
)

// keeper is the store as the campaigns need it.
type keeper interface {
	record.Store
	Recover() ([]record.ID, error)
	Integrity() error
}

// left is what a stopped writer left behind, once all of it was found right.
type left struct {
	ids         map[string]string // all records: hash by name
	records     int
	whole       bool // the step under way had come to its end after all
	interrupted bool // its draft became a record
	rows        int  // of the interrupted one
	promised    int  // rows whose Append had returned
}

// check looks over a store whose writer was stopped, and finds fault with
// anything that it had promised and not kept. before is the records of
// earlier looks. once says that somebody may have recovered before.
func (h *heard) check(s keeper, before map[string]string, once bool) (*left, error) {
	recovered, err := s.Recover()
	if err != nil {
		return nil, fmt.Errorf("recover: %w", err)
	}
	if err := s.Integrity(); err != nil {
		return nil, fmt.Errorf("integrity: %w", err)
	}
	damages, err := s.Verify()
	if err != nil {
		return nil, fmt.Errorf("verify: %w", err)
	}
	if len(damages) > 0 {
		return nil, fmt.Errorf("verify: %v", damages)
	}
	entries, err := s.List(record.Filter{})
	if err != nil {
		return nil, fmt.Errorf("list: %w", err)
	}
	l := &left{ids: map[string]string{}, records: len(entries)}
	for id, hash := range before {
		l.ids[id] = hash
	}
	here := map[string]record.Entry{}
	for i, e := range entries {
		if e.ID.Seq != i+1 {
			return nil, fmt.Errorf("place %d holds record %v", i+1, e.ID)
		}
		if _, twice := here[e.At.Unit]; twice {
			return nil, fmt.Errorf("unit %s is there twice", e.At.Unit)
		}
		if old, ok := l.ids[e.ID.String()]; ok && old != e.Hash {
			return nil, fmt.Errorf("number %v was used twice", e.ID)
		}
		here[e.At.Unit], l.ids[e.ID.String()] = e, e.Hash
	}
	if len(l.ids) != len(entries) {
		return nil, fmt.Errorf("%d records were there, %d are", len(l.ids), len(entries))
	}
	for i, k := range h.kept {
		e, ok := here[unitOf(h.seed, i)]
		if !ok || e.ID.String() != k.id || e.Hash != k.hash {
			return nil, fmt.Errorf("test %d was kept as %s, and is not there: %+v", i, k.id, e.ID)
		}
		if err := h.compare(s, e.ID, i); err != nil {
			return nil, err
		}
		delete(here, e.At.Unit)
	}
	return l, h.last(s, l, here, recovered, once)
}

// compare reads a record and holds it against the test.
func (h *heard) compare(s keeper, id record.ID, i int) error {
	r, err := s.Get(id)
	if err != nil {
		return fmt.Errorf("get %v: %w", id, err)
	}
	w, err := planned(h.seed, i)
	if err != nil {
		return err
	}
	switch {
	case r.Interrupted:
		return fmt.Errorf("record %v is whole and marked interrupted", id)
	case !bytes.Equal(r.Trace, w.rec.Trace), !bytes.Equal(r.Result, w.rec.Result), !bytes.Equal(r.Profile.Text, w.rec.Profile.Text):
		return fmt.Errorf("record %v: trace, result or profile differ from test %d", id, i)
	case len(r.Files) != len(w.rec.Files):
		return fmt.Errorf("record %v has %d files instead of %d", id, len(r.Files), len(w.rec.Files))
	}
	for k, f := range r.Files {
		for _, g := range w.rec.Files {
			if g.Name == f.Name && !bytes.Equal(g.Data, f.Data) {
				return fmt.Errorf("record %v: file %s (%d) differs", id, f.Name, k)
			}
		}
	}
	return nil
}

// last looks at the test that was under way: here is what belongs to no test
// that had come to its end.
func (h *heard) last(s keeper, l *left, here map[string]record.Entry, recovered []record.ID, once bool) error {
	prefix := fmt.Sprintf("W%d-", h.seed)
	for unit := range here {
		if strings.HasPrefix(unit, prefix) && (h.test < 0 || unit != unitOf(h.seed, h.test)) {
			return fmt.Errorf("unit %s was never kept, and is there", unit)
		}
	}
	if h.test < 0 {
		if len(recovered) > 0 {
			return fmt.Errorf("no test was under way, and %v were recovered", recovered)
		}
		return nil
	}
	e, found := here[unitOf(h.seed, h.test)]
	switch {
	case !found && h.appended > 0 && h.during != "drop":
		return fmt.Errorf("test %d was under way with %d seconds on the disk, and left nothing", h.test, h.appended)
	case !found:
		return nil
	case !e.Interrupted && (h.during == "finish" || h.during == "put"):
		l.whole = true
		return h.compare(s, e.ID, h.test)
	case !e.Interrupted || !h.open:
		return fmt.Errorf("test %d was under way in %q, and its record %v is not marked so", h.test, h.during, e.ID)
	case !(once && len(recovered) == 0) && (len(recovered) != 1 || recovered[0] != e.ID):
		return fmt.Errorf("record %v was recovered, and Recover says %v", e.ID, recovered)
	}
	l.interrupted = true
	r, err := s.Get(e.ID)
	if err != nil {
		return fmt.Errorf("get %v: %w", e.ID, err)
	}
	w, err := planned(h.seed, h.test)
	if err != nil {
		return err
	}
	for _, c := range w.chunks[:h.appended] {
		l.promised += c.Len()
	}
	most := l.promised
	if h.during == "append" {
		most += w.chunks[h.appended].Len()
	}
	if len(r.Trace) > 0 {
		got, err := trace.Read(bytes.NewReader(r.Trace), e.ID.String())
		if err != nil && h.appended == 0 && bytes.HasSuffix(r.Trace, []byte("\nt_s,duty_pct,current_A\n")) {
			got, err = &trace.Trace{}, nil // stopped before the first rows: a heading only
		}
		if err != nil {
			return fmt.Errorf("record %v: its trace: %w", e.ID, err)
		}
		l.rows = got.Len()
		for _, c := range w.whole.Columns {
			have := got.Values(c.Name)
			if len(have) > len(c.Values) {
				return fmt.Errorf("record %v: too many rows", e.ID)
			}
			for k, v := range have {
				if v != c.Values[k] {
					return fmt.Errorf("record %v: %s of row %d differs", e.ID, c.Name, k)
				}
			}
		}
	}
	if l.rows < l.promised || l.rows > most {
		return fmt.Errorf("record %v: %d rows, of %d promised and %d begun", e.ID, l.rows, l.promised, most)
	}
	if len(r.Files) != len(w.known.Files) || !bytes.Equal(r.Profile.Text, w.known.Profile.Text) {
		return errors.New("the interrupted record lacks files or profile")
	}
	return nil
}
