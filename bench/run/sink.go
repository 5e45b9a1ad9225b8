package run

import (
	"slices"
	"time"

	"dutybench/signal/trace"
)

// sinkEvery is the rig time over which rows are gathered for the sink: what a
// power cut takes is no more than that and what is on its way to the disk.
const sinkEvery = time.Second

// Rows are the rows of a trace that were measured since the last ones.
type Rows struct {
	source  string
	meta    []trace.Entry
	columns []trace.Column
	zero_A  float64 // that was taken from the current
}

// Trace is the rows, copied. All of them one after the other are the trace of
// the Outcome, but for its last rows and for the current, which is here as it
// was read: its zero is not known from the first row on. The comment lines are
// those known by then. The sampling goroutine leaves this work to who gets the
// rows.
func (r Rows) Trace() *trace.Trace {
	t := &trace.Trace{Source: r.source, Meta: slices.Clone(r.meta), Columns: slices.Clone(r.columns)}
	for i := range t.Columns {
		c := &t.Columns[i]
		c.Values = slices.Clone(c.Values)
		if c.Name == trace.ColCurrent && r.zero_A != 0 {
			for j := range c.Values {
				c.Values[j] = micro(c.Values[j] + r.zero_A)
			}
		}
		c.Missing = missing(c.Values)
	}
	return t
}

// sinking is what the sink has.
type sinking struct {
	rows int
	next time.Duration
	meta []trace.Entry
	at   [2]int // what meta was made at: steps begun, and whether the zero was known
}

// sink hands over the rows that no later sample can change any more, when they
// are due: they are not copied, so that it takes no longer for many than for
// few. Rows of the pre-test are none of the trace's.
func (x *runner) sink(at time.Duration) {
	if x.o.Sink == nil || at < x.sunk.next {
		return
	}
	x.sunk.next = at + sinkEvery
	// Whether the last one is a misread code, the next one tells.
	from, to := x.sunk.rows, x.ch.len()-1
	if to <= from {
		return
	}
	columns := x.columns()
	for i := range columns {
		c := &columns[i]
		if c.Values = c.Values[from:to:to]; c.Name == trace.ColCurrent && !x.zeroKnown {
			c.Values = slices.Clone(c.Values) // the zero will be taken from it
		}
	}
	is := [2]int{len(x.marks)}
	if x.zeroKnown {
		is[1] = 1
	}
	if x.sunk.meta == nil || is != x.sunk.at {
		x.sunk.meta, x.sunk.at = x.meta("", false), is
	}
	x.sunk.rows = to
	x.o.Sink(Rows{source: x.rig.Name, meta: x.sunk.meta, columns: columns, zero_A: x.zero_A})
}
