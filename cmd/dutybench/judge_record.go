package main

import (
	"bytes"
	"io"
	"strings"
	"sync"

	"dutybench/bench/record"
	"dutybench/bench/record/store"
	"dutybench/signal/trace"
)

// recordTraces reads traces by the names of their records, from a store that
// is opened when the first is asked for.
type recordTraces struct {
	*app
	once  sync.Once
	store *store.Store
	err   error
}

// isRecord says that a trace's name is that of a record.
func isRecord(path string) bool { return strings.HasPrefix(path, traceScheme) }

// get reads a record.
func (t *recordTraces) get(name string) (*record.Record, error) {
	id, err := record.ParseID(strings.TrimPrefix(name, traceScheme))
	if err != nil {
		return nil, err
	}
	if t.once.Do(func() { t.store, t.err = t.standingStore() }); t.err != nil {
		return nil, t.err
	}
	return t.store.Get(id)
}

// read reads a trace from a file, standard input or a record.
func (t *recordTraces) read(r *trace.Reader, path string, m *trace.Mapping, stdin io.Reader) (*trace.Trace, error) {
	if !isRecord(path) {
		return readTraceWith(r, path, m, stdin)
	}
	rec, err := t.get(path)
	if err != nil {
		return nil, err
	}
	return r.Read(bytes.NewReader(rec.Trace), path, nil)
}

// done closes the store.
func (t *recordTraces) done() {
	if t.store != nil {
		t.close(t.store)
	}
}
