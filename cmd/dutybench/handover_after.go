package main

import (
	"fmt"
	"strings"
	"time"

	"dutybench/bench/plot"
	"dutybench/bench/record/store"
)

// How long a server may keep a person waiting; both chosen.
const (
	// serverWait is for all of a hand-over after a test. What takes longer goes
	// over with the next, or by records hand-over.
	serverWait = 5 * time.Second
	// serverAway is how long one that could not be had is left alone.
	serverAway = 5 * time.Minute
)

// afterwards is what is left to do when the verdict has been told.
type afterwards struct {
	unsent bool      // there is a record that the server lacks
	away   time.Time // until when the server is left alone
}

// toHandOver notes that a test left a record which the server lacks.
func (t *test) toHandOver() {
	if p, err := t.place(); err == nil && p.server != "" && t.kept && t.own != nil {
		t.unsent = true
	}
}

// handOverAfter hands over what the tests so far left. It comes after their
// verdicts are told, as a server that hangs takes its time. The records are in
// the bench's own folder in any case.
func (a *app) handOverAfter() {
	if !a.unsent || time.Now().Before(a.away) {
		return
	}
	p, err := a.place()
	if err != nil || p.server == "" {
		return
	}
	own, err := a.ownStore()
	if err != nil {
		fmt.Fprintln(a.stderr, "dutybench: nothing was handed over:", plainly(err))
		return
	}
	defer a.close(own)
	n, err := a.handOver(own, p, serverWait)
	if err != nil {
		if n == 0 {
			a.away = time.Now().Add(serverAway)
		}
		fmt.Fprintf(a.stderr, "dutybench: the record is in this bench's own folder %s, and is handed over later, after a next test or by %s: %s\n", own.Folder(), a.command("records hand-over"), strings.Join(strings.Fields(err.Error()), " "))
		return
	}
	a.unsent = false
	if n > 1 {
		fmt.Fprintf(a.stderr, "dutybench: %s handed over to the server.\n", records(n))
	}
}

// tellWaiting says what a server's lists do not show of this bench.
func (a *app) tellWaiting(s *store.Store, folder string) {
	n, err := s.Waiting()
	if err != nil {
		fmt.Fprintf(a.stderr, "dutybench: take care: this bench's own records, in %s, and those on the server do not fit, so that one name may stand for two records: %s\n", plot.Plain(folder), plot.Plain(strings.Join(strings.Fields(plainly(err)), " ")))
	}
	if n > 0 {
		verb := "are"
		if n == 1 {
			verb = "is"
		}
		fmt.Fprintf(a.stderr, "dutybench: %s of this bench %s not handed over yet, so no list or search of the server shows them: dutybench --store %s records list, or %s\n", records(n), verb, shellWord(folder), a.command("records hand-over"))
	}
}
