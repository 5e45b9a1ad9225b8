package main

import (
	"context"
	"fmt"
	"io"
	"time"

	"dutybench/bench/lot"
	"dutybench/bench/record"
	"dutybench/bench/report"
	"dutybench/bench/rig"
)

// lotStore is what a lot needs of a store.
type lotStore interface {
	lot.Store
	Body(id record.ID) ([]byte, error)
	io.Closer
}

// lotLoop is a lot under way. One goroutine owns it.
type lotLoop struct {
	*app
	name  string
	flags lotFlags // what holds for every unit
	store lotStore
	// test carries one test out, keeps it and writes its page: run does the same.
	test     func(ctx context.Context, f runFlags) (report.Input, int, error)
	lines    <-chan scan
	terminal bool // a person types, and not a script
	tests    []lot.Test
	outside  []record.Entry // what was decided of the lot's serials outside it

	folded    []lot.Unit // the units of so many tests
	foldedOf  int
	next      ofNext    // of the next unit
	asked     string    // serial that is done and was scanned again; AGAIN tests it
	last      string    // serial that was tested last
	scanned   string    // and the last one taken, with when
	scannedAt time.Time //
	mended    int       // tests up to which a bench at fault is mended
	failed    []string  // tests in a row that could not be carried out, and why
}

// ofNext is what is told of the next unit alone.
type ofNext struct {
	complaint, revision, code string
	primed                    bool
}

// onBench says that a real unit is on the bench.
func (l *lotLoop) onBench() bool { return l.flags.rig != rig.Sim && !l.flags.simulate }

func (l *lotLoop) rule() lot.Rule { return lot.Rule{Tries: l.flags.tries, Outside: l.outside} }

// lookOutside finds what was decided outside the lot of units that have just
// come into it.
func (l *lotLoop) lookOutside(units ...lot.Test) error {
	var serials []string
	for _, t := range units {
		serials = append(serials, t.At.Unit)
	}
	more, err := lot.Outside(l.store, l.name, serials)
	l.outside = append(l.outside, more...)
	return err
}

// units are what the lot's units have come to.
func (l *lotLoop) units() []lot.Unit {
	if l.folded == nil || l.foldedOf != len(l.tests) {
		l.folded, l.foldedOf = lot.Fold(l.tests, l.rule()), len(l.tests)
	}
	return l.folded
}

// unit is what a serial has come to, and its number in the lot from 0.
func (l *lotLoop) unit(serial string) (u *lot.Unit, number int) {
	units := l.units()
	for i := range units {
		if lot.Key(units[i].Serial) == lot.Key(serial) {
			return &units[i], i
		}
	}
	return nil, len(units)
}

// take adds a record to the lot.
func (l *lotLoop) take(name string) error {
	id, err := record.ParseID(name)
	if err != nil {
		return err
	}
	body, err := l.store.Body(id)
	if err != nil {
		return fmt.Errorf("record %s is kept, but cannot be read back: %w", name, err)
	}
	e, err := record.EntryOf(body)
	if err != nil {
		return err
	}
	t, err := lot.Read(l.store, e)
	if err != nil {
		return fmt.Errorf("record %s is kept, but cannot be read back: %w", name, err)
	}
	known, _ := l.unit(t.At.Unit)
	l.tests = append(l.tests, t)
	if known != nil {
		return nil
	}
	return l.lookOutside(t)
}
