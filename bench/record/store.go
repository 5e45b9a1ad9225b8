package record

import (
	"dutybench/bench/record/ledger"
	"dutybench/signal/trace"
)

// Store keeps records. One store may hold those of several benches; what is
// put gets the name of this one.
type Store interface {
	// Begin opens the record of a test that is about to run. r holds what is
	// known by then. Without room for the test, it refuses and says so.
	Begin(r *Record) (Draft, error)
	// Put keeps a record and gives it its name, hash and predecessor. It is
	// kept whole or not at all.
	Put(r *Record) (ID, error)
	// Get reads a record back and checks its own hashes. An ID without a
	// bench is that of this one. One that is not there is fs.ErrNotExist.
	Get(id ID) (*Record, error)
	// Body is the record's record.json, the leaf of the log.
	Body(id ID) ([]byte, error)
	// List gives the records that the filter takes, in the order of their
	// benches and numbers.
	List(f Filter) ([]Entry, error)
	// Causes counts what the records that the filter takes came to, the most
	// frequent first.
	Causes(f Filter) ([]Count, error)
	// Verify names every record that is damaged, missing, swapped or
	// inserted, and every older head that the log does not extend. No damage:
	// every record is whole and in its place.
	Verify(older ...ledger.Head) ([]Damage, error)

	// Key is the verifier key of a bench, Head its newest signed head. An
	// empty name means this bench.
	Key(bench string) (string, error)
	Head(bench string) (ledger.Head, error)
	// Hashes reads a bench's log, for proofs.
	Hashes(bench string) ledger.HashReader

	Close() error
}

// Draft is the record of a test under way.
type Draft interface {
	// Append keeps rows that were measured since the last call: on the disk
	// when it returns. The columns must stay the same. After an error, the next
	// call brings these rows again, in front of those that came since.
	Append(rows *trace.Trace) error
	// Finish makes a record of it, whose trace and all else r holds, in one
	// step with the end of the draft.
	Finish(r *Record) (ID, error)
	// Drop forgets it: nothing was measured.
	Drop() error
}
