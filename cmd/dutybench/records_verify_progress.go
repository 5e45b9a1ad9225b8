package main

import (
	"fmt"
	"io"
	"strings"
	"time"
)

// patience is how long a command may be silent, chosen: longer seems hung.
const patience = 2 * time.Second

// ticker tells a person on standard error that something long goes on: on a
// terminal in one line that is rewritten, elsewhere in a line now and then.
type ticker struct {
	w        io.Writer
	what     string
	terminal bool
	next     time.Time
	shown    int // characters on the terminal
}

func (a *app) ticking(what string) *ticker {
	_, terminal := a.isTerminal(a.stderr)
	return &ticker{w: a.stderr, what: what, terminal: terminal, next: time.Now().Add(patience)}
}

// tick takes how far it is.
func (t *ticker) tick(done, of int) { t.say(fmt.Sprintf("%s %d of %d", t.what, done, of)) }

func (t *ticker) say(words string) {
	now := time.Now()
	if now.Before(t.next) {
		return
	}
	if !t.terminal {
		t.next = now.Add(5 * patience)
		fmt.Fprintln(t.w, words)
		return
	}
	t.next = now.Add(redraw)
	fmt.Fprintf(t.w, "\r%-*s", t.shown, words)
	t.shown = len(words)
}

// end leaves a clean line.
func (t *ticker) end() {
	if t.shown > 0 {
		fmt.Fprintf(t.w, "\r%s\r", strings.Repeat(" ", t.shown))
	}
}

// patiently does something that does not say how far it is.
func (a *app) patiently(what string, f func() error) error {
	t := a.ticking(what)
	began, stop, stopped := time.Now(), make(chan struct{}), make(chan struct{})
	go func() {
		defer close(stopped)
		beat := time.NewTicker(patience / 2)
		defer beat.Stop()
		for {
			select {
			case <-stop:
				return
			case <-beat.C:
				t.say(fmt.Sprintf("%s, for %.0f s so far", what, time.Since(began).Seconds()))
			}
		}
	}()
	err := f()
	close(stop)
	<-stopped
	t.end()
	return err
}
