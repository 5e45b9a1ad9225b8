package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"dutybench/bench/lot"
	"dutybench/bench/rig"
)

// How scans and failing benches are taken; both chosen.
const (
	// doubledScan is within what the same serial once more is the same scan:
	// hand scanners read twice when they are held still.
	doubledScan = 3 * time.Second
	// benchTries is how many tests in a row the bench may keep from deciding
	// until the lot waits: one may be a plug, two are the bench.
	benchTries = 2
)

// errEnd is a person's wish to end the lot, or the end of the input.
var errEnd = errors.New("the lot ends")

// lot is the whole of `lot NAME`.
func (a *app) lot(ctx context.Context, name string, f lotFlags) error {
	name = strings.TrimSpace(name)
	if f.explicit == nil {
		f.explicit = func(string) bool { return false }
	}
	if err := f.check(name); err != nil {
		return err
	}
	if f.summary {
		return a.lotSummary(name, f)
	}
	store, err := a.ownStore()
	if err != nil {
		return err
	}
	defer a.close(store)
	_, terminal := a.isTerminal(a.stdin)
	l := &lotLoop{app: a, name: name, flags: f, store: store, test: a.runOnce, terminal: terminal}
	return l.whole(ctx)
}

// whole opens the lot and goes through it until it ends.
func (l *lotLoop) whole(ctx context.Context) error {
	if err := l.open(); err != nil {
		return err
	}
	l.lines = readScans(l.stdin)
	return l.run(ctx)
}

// open reads what the lot has come to so far, and finds its settings.
func (l *lotLoop) open() (err error) {
	if l.tests, err = lot.Load(l.store, l.name, nil); err != nil {
		return err
	}
	f := &l.flags
	if last := lot.Last(l.tests); last != nil {
		l.name = last.At.Lot // as it is written in the records
		if err := f.resume(last); err != nil {
			return err
		}
		l.last = last.At.Unit
		if err := l.lookOutside(l.tests...); err != nil {
			return err
		}
	} else if _, _, err := loadProfile(f.profile); err != nil {
		return err
	}
	f.defaults()
	f.profile, f.rig = lasting(f.profile), lasting(f.rig)
	f.runFlags.lot = l.name
	if err := f.checkFaults(); err != nil {
		return err
	}
	if f.inspection != "" {
		if _, err := presets(f.inspection); err != nil {
			return err
		}
	}
	return nil
}

// lasting is a file's path that holds in any folder, and a name as it is.
func lasting(nameOrPath string) string {
	if nameOrPath == rig.Sim {
		return nameOrPath
	}
	if info, err := os.Stat(nameOrPath); err == nil && info.Mode().IsRegular() {
		if abs, err := filepath.Abs(nameOrPath); err == nil {
			return abs
		}
	}
	return nameOrPath
}

// run is the loop: scan, test, verdict, next.
func (l *lotLoop) run(ctx context.Context) error {
	ctx, stop := l.interrupt(ctx)
	defer stop()
	l.greet()
	for {
		err := l.step(ctx)
		if errors.Is(err, errEnd) {
			return l.finish()
		}
		if err != nil {
			return errors.Join(err, l.finish())
		}
	}
}

// step takes one line and does what it says.
func (l *lotLoop) step(ctx context.Context) error {
	if why := l.waits(); why != "" {
		return l.pause(ctx, why)
	}
	s, err := l.ask(ctx, l.prompt())
	if err != nil {
		return err
	}
	if word, text, ok := control(s); ok {
		return l.command(ctx, word, text)
	}
	return l.serial(ctx, s)
}

// ask writes a prompt and waits for a line that holds something. A line that
// is too long is no answer.
func (l *lotLoop) ask(ctx context.Context, prompt string) (string, error) {
	for {
		if ctx.Err() != nil { // a line that waits is not taken any more
			return "", errEnd
		}
		fmt.Fprint(l.stderr, prompt)
		select {
		case <-ctx.Done():
			fmt.Fprintln(l.stderr)
			return "", errEnd
		case s, ok := <-l.lines:
			if !l.terminal || !ok {
				fmt.Fprintln(l.stderr)
			}
			switch {
			case !ok:
				return "", errEnd
			case s.long:
				l.say("That line is longer than %d letters and is passed over. Scan again.", maxLine)
			case s.text != "":
				return s.text, nil
			}
		}
	}
}

func (l *lotLoop) say(format string, args ...any) {
	fmt.Fprintln(l.stderr, fill80(fmt.Sprintf(format, args...)))
}

// fill80 breaks a message at blanks.
func fill80(s string) string {
	var b strings.Builder
	fill(&b, "", s, 0, textWidth)
	return strings.TrimRight(b.String(), "\n")
}
