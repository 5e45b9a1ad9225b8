package main

import (
	"errors"
	"fmt"
	"slices"
	"sync"

	"dutybench/bench/record"
	"dutybench/signal/trace"
)

// recorder keeps the rows of a test while they are measured, on a goroutine of
// its own: the one that samples never waits for the disk. Rows that come while
// others are being written are written together, and none is left out: what
// the store could not take is tried again with those that come later.
type recorder struct {
	draft record.Draft

	mu      sync.Mutex
	waiting []sampled
	wake    chan struct{} // one place: something waits, or the end has come
	ended   bool
	done    chan struct{}
	err     error // why rows wait that were tried already; nil: none do
	told    bool  // of that

	rest, left int // turns let go by after a failure; the writer's alone
}

// longestRest is how many times rows that come are let go by, at most, before
// those that the store did not take are tried again. Rows come about once a
// second (chosen: each try copies all that wait).
const longestRest = 32

// sampled are rows of a trace, which are copied when they are asked for.
type sampled interface{ Trace() *trace.Trace }

// keepWhile begins to keep into a draft.
func keepWhile(d record.Draft) *recorder {
	r := &recorder{draft: d, wake: make(chan struct{}, 1), done: make(chan struct{})}
	go r.write()
	return r
}

// take hands rows over and returns at once.
func (r *recorder) take(rows sampled) {
	r.mu.Lock()
	r.waiting = append(r.waiting, rows)
	r.mu.Unlock()
	r.knock()
}

func (r *recorder) knock() {
	select {
	case r.wake <- struct{}{}:
	default: // it will see this too
	}
}

func (r *recorder) write() {
	defer close(r.done)
	for range r.wake {
		if r.turn() {
			return
		}
	}
}

// turn writes what waits, and says whether the end has come.
func (r *recorder) turn() (ended bool) {
	r.mu.Lock()
	rows, ended, failed := r.waiting, r.ended, r.err != nil
	if r.left--; failed && (ended || r.left > 0) {
		r.mu.Unlock()
		return ended // when it has ended, the whole record comes next
	}
	r.waiting = nil
	r.mu.Unlock()
	if len(rows) == 0 {
		return ended
	}
	err := r.append(rows)
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.err = err; err == nil {
		r.rest = 0
		return ended
	}
	r.waiting = append(rows, r.waiting...)
	r.rest = min(2*r.rest+1, longestRest)
	r.left = r.rest
	return ended
}

// news is what a person should know by now of the keeping, once; empty: nothing.
func (r *recorder) news() string {
	r.mu.Lock()
	defer r.mu.Unlock()
	if told := r.told; told == (r.err != nil) {
		return ""
	} else if r.told = !told; told {
		return "the trace is kept again while it is measured; nothing of it is missing"
	}
	return fmt.Sprintf("the trace cannot be kept while it is measured; it is tried again, and a power cut would lose what came since: %v", r.err)
}

// append writes rows. A failure of the program in it must not end the test.
func (r *recorder) append(rows []sampled) (err error) {
	defer func() {
		if v := recover(); v != nil {
			err = fmt.Errorf("program error: %v; please report it", v)
		}
	}()
	parts := make([]*trace.Trace, len(rows))
	for i := range rows {
		parts[i] = rows[i].Trace()
	}
	return r.draft.Append(merged(parts))
}

// merged puts rows one behind the other, with the comment lines of the last.
func merged(rows []*trace.Trace) *trace.Trace {
	out := rows[len(rows)-1]
	if len(rows) == 1 {
		return out
	}
	for c := range out.Columns {
		var parts [][]float64
		missing := 0
		for _, t := range rows {
			parts = append(parts, t.Columns[c].Values)
			missing += t.Columns[c].Missing
		}
		out.Columns[c].Values, out.Columns[c].Missing = slices.Concat(parts...), missing
	}
	return out
}

// stop waits until all rows are written, and says what could not be.
func (r *recorder) stop() error {
	r.mu.Lock()
	r.ended = true
	r.mu.Unlock()
	r.knock()
	<-r.done
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.err
}

// drop forgets what was kept so far. No recorder, nothing to forget.
func (r *recorder) drop() error {
	if r == nil {
		return nil
	}
	return errors.Join(r.stop(), r.draft.Drop())
}

// beginRecord opens the record of the test that is about to run. A store
// without room for it refuses.
func (t *test) beginRecord() error {
	draft, err := t.store.Begin(t.begun(nil))
	if err != nil {
		return err
	}
	t.recorder = keepWhile(draft)
	return nil
}

// put keeps the record of a test that has ended.
func (t *test) put(rec *record.Record) (record.ID, error) {
	if t.recorder == nil {
		return t.store.Put(rec)
	}
	if err := t.recorder.stop(); err != nil {
		// The trace is in memory, and the record has it.
		fmt.Fprintln(t.stderr, "dutybench: the trace could not be kept while it was measured; it is kept now:", err)
	}
	id, err := t.recorder.draft.Finish(rec)
	t.kept = err == nil
	return id, err
}
