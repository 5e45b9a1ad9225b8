package main

import (
	"errors"
	"math"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/signal/trace"
)

// slowDraft takes rows one call at a time, when it is let.
type slowDraft struct {
	record.Draft
	let    chan struct{}
	mu     sync.Mutex
	rows   []float64
	pieces int
	fail   error
	panics bool
}

func (d *slowDraft) Append(t *trace.Trace) error {
	<-d.let
	d.mu.Lock()
	defer d.mu.Unlock()
	d.pieces++
	if d.panics {
		panic("broken")
	}
	if d.fail != nil {
		return d.fail
	}
	d.rows = append(d.rows, t.Columns[0].Values...)
	if t.Columns[0].Missing != 0 {
		return errors.New("miscounted")
	}
	return nil
}

// given are rows that stand already.
type given struct{ t *trace.Trace }

func (g given) Trace() *trace.Trace {
	t := *g.t
	t.Columns = slices.Clone(t.Columns)
	return &t
}

func piece(from, n int) *trace.Trace {
	c := trace.Column{Name: "t_s"}
	for i := range n {
		c.Values = append(c.Values, float64(from+i))
	}
	other := trace.Column{Name: "supply_V", Values: make([]float64, n)}
	other.Values[0], other.Missing = math.NaN(), 1
	return &trace.Trace{Meta: []trace.Entry{{Key: "from", Value: string(rune('a' + from/10))}}, Columns: []trace.Column{c, other}}
}

// A disk that is slow delays nobody and loses nothing: what came meanwhile is
// written together.
func TestRecorderFallsBehind(t *testing.T) {
	d := &slowDraft{let: make(chan struct{})}
	r := keepWhile(d)
	n := 0
	for i := range 20 {
		r.take(given{piece(n, 5+i)})
		n += 5 + i
	}
	close(d.let)
	require.NoError(t, r.stop())
	require.Len(t, d.rows, n)
	for i, v := range d.rows {
		require.Equal(t, float64(i), v)
	}
	assert.Less(t, d.pieces, 5, "merged")
}

// A store that fails for a while gets all rows in the end, in their order, and
// a person is told when it begins and when it is over.
func TestRecorderTriesAgain(t *testing.T) {
	for name, fails := range map[string]func(*slowDraft){
		"with an error": func(d *slowDraft) { d.fail = errors.New("the disk is full") },
		"with a panic":  func(d *slowDraft) { d.panics = true },
	} {
		d := &slowDraft{let: make(chan struct{})}
		close(d.let)
		fails(d)
		r := &recorder{draft: d, wake: make(chan struct{}, 1)}
		n := 0
		next := func() {
			r.take(given{piece(n, 10)})
			n += 10
			r.turn()
		}
		assert.Empty(t, r.news())
		next()
		assert.Contains(t, r.news(), "cannot be kept while it is measured", name)
		for range 100 {
			next()
		}
		assert.Empty(t, r.news(), "%s: told once", name)
		assert.Less(t, d.pieces, 12, "%s: it does not try each time", name)
		d.fail, d.panics = nil, false
		for range longestRest {
			next()
		}
		assert.Contains(t, r.news(), "is kept again", name)
		assert.Empty(t, r.waiting)
		require.Len(t, d.rows, n, name)
		for i, v := range d.rows {
			require.Equal(t, float64(i), v, name)
		}
	}
	// At the end the whole record comes: what waits is not tried once more.
	d := &slowDraft{let: make(chan struct{}), fail: errors.New("the disk is full")}
	close(d.let)
	r := keepWhile(d)
	r.take(given{piece(0, 5)})
	require.Eventually(t, func() bool { return r.news() != "" }, time.Second, time.Millisecond)
	assert.ErrorContains(t, r.stop(), "the disk is full")
	assert.Equal(t, 1, d.pieces)
}

func TestMerged(t *testing.T) {
	m := merged([]*trace.Trace{piece(0, 3), piece(3, 1), piece(10, 2)})
	assert.Equal(t, []float64{0, 1, 2, 3, 10, 11}, m.Columns[0].Values)
	assert.Equal(t, 3, m.Columns[1].Missing)
	assert.Equal(t, "b", m.Meta[0].Value, "the last knows most")
}
