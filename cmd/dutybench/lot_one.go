package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"

	"dutybench/bench/lot"
	"dutybench/bench/plot"
	"dutybench/bench/report"
)

// one tests a unit: questions, test, verdict. Only an end of the lot is an
// error; a test that could not be carried out is told, and the next asked for.
func (l *lotLoop) one(ctx context.Context, serial string) error {
	l.asked = ""
	answers, err := l.questions(ctx, serial)
	if errors.Is(err, errSkipped) {
		l.say("%s is left untested.", plot.Plain(serial))
		return nil
	}
	if err != nil {
		return err
	}
	_, number := l.unit(serial)
	f := l.flags.runFlags
	f.unit, f.json, f.page = serial, false, ""
	f.inspection, f.inspect = answers, false
	f.complaint = cmp.Or(l.next.complaint, f.complaint)
	f.revision = cmp.Or(l.next.revision, f.revision)
	f.code = cmp.Or(l.next.code, f.code)
	f.primed = f.primed || l.next.primed
	f.facts = l.flags.facts()
	if !l.onBench() {
		f.seed, f.fault = l.flags.seed+uint64(number), l.flags.faultOf(number)
	}
	in, err := l.watched(ctx, f)
	l.last = serial
	err = l.tested(serial, in, err)
	l.handOverAfter()
	return err
}

// tested takes what came of a test.
func (l *lotLoop) tested(serial string, in report.Input, err error) error {
	if err != nil {
		fmt.Fprintln(l.stderr, "dutybench:", err)
	}
	if in.Result.Record == "" {
		why := "nothing was measured"
		if err != nil {
			why = err.Error()
		}
		l.failed = append(l.failed, why)
		l.say("%s is not tested: nothing is kept. Scan it again when the bench is ready.", plot.Plain(serial))
		return nil
	}
	l.failed, l.next = nil, ofNext{}
	if err := l.take(in.Result.Record); err != nil {
		return err
	}
	if l.flags.json {
		if err := writeJSON(l.stdout, object{in.Result, in.Page}); err != nil {
			return err
		}
	}
	return l.show(serial, in)
}

// watched runs a test. At a terminal what is scanned meanwhile is no serial,
// as nobody can have changed the unit; STOP ends the test.
func (l *lotLoop) watched(ctx context.Context, f runFlags) (report.Input, error) {
	if !l.terminal {
		in, _, err := l.test(ctx, f)
		return in, err
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	done, ended := make(chan struct{}), make(chan []string)
	go func() {
		var passed []string
		lines := l.lines
		for {
			select {
			case <-done:
				ended <- passed
				return
			case s, ok := <-lines:
				if !ok {
					lines = nil // the input's end is found again at the prompt
					continue
				}
				if w, _, is := control(s.text); is && w == wordStop {
					cancel()
				} else if s.text != "" {
					passed = append(passed, s.text)
				}
			}
		}
	}()
	in, _, err := l.test(ctx, f)
	close(done)
	passed := <-ended
	for _, s := range passed {
		if lot.Key(s) != lot.Key(f.unit) { // else a scan read twice
			l.say("%s was scanned while the test ran, and is not taken: scan it again when the unit is in place.", plot.Plain(strings.TrimSpace(s)))
		}
	}
	return in, err
}

// waits says why the lot waits for the bench; empty when it does not.
func (l *lotLoop) waits() string {
	if len(l.failed) >= benchTries {
		return l.failed[len(l.failed)-1]
	}
	if l.mended > len(l.tests) {
		l.mended = len(l.tests)
	}
	if n, why := lot.BenchStreak(l.tests[l.mended:]); n >= benchTries {
		return why
	}
	return ""
}

// pause waits until the bench is mended.
func (l *lotLoop) pause(ctx context.Context, why string) error {
	l.banner("BENCH", "")
	l.say("The lot waits: %d tests in a row were not decided for the bench's own sake, and count for nothing. The last: %s.", benchTries, strings.TrimSuffix(plot.Plain(why), "."))
	for {
		s, err := l.ask(ctx, "Mend the bench, then scan MENDED (END ends the lot): ")
		if err != nil {
			return err
		}
		w, _, isWord := control(s)
		switch w {
		case wordMended:
			l.failed, l.mended = nil, len(l.tests)
			return nil
		case wordEnd:
			return errEnd
		case wordSummary:
			if err := l.showSummary(l.stderr); err != nil {
				return err
			}
		default:
			if !isWord {
				l.say("%s is not taken: the lot waits for the bench.", plot.Plain(s))
			}
		}
	}
}
