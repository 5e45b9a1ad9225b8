package main

import (
	"bytes"
	"fmt"
	"io"

	"dutybench/bench/lot"
	"dutybench/bench/plot"
)

// lotSummary is `lot NAME --summary`.
func (a *app) lotSummary(name string, f lotFlags) error {
	store, err := a.standingStore()
	if err != nil {
		return err
	}
	defer a.close(store)
	tests, err := lot.Load(store, name, nil)
	if err != nil {
		return err
	}
	if len(tests) == 0 {
		return fmt.Errorf("there is no record of lot %s; lot list shows the lots that there are", plot.Plain(name))
	}
	l := &lotLoop{app: a, name: lot.Last(tests).At.Lot, flags: f, store: store, tests: tests}
	if err := l.lookOutside(tests...); err != nil {
		return err
	}
	if !f.explicit("tries") {
		l.flags.tries = triesOf(lot.Last(tests))
	}
	s := l.summary()
	if err := l.writePage(s); err != nil {
		return err
	}
	if f.json {
		return writeJSON(a.stdout, s)
	}
	return l.writeText(a.stdout, s)
}

func (l *lotLoop) summary() *lot.Summary {
	s := lot.Summarise(l.name, l.tests, l.rule())
	if last := lot.Last(l.tests); last != nil {
		s.Well = append(s.Well, well(l.store, &s, last.At.Kind)...)
	}
	return &s
}

func (l *lotLoop) writeText(w io.Writer, s *lot.Summary) error {
	o := l.textOptions(l.flags.width, l.flags.ascii)
	return s.Text(w, lot.TextOptions{Width: o.Width, Unicode: o.Unicode})
}

func (l *lotLoop) writePage(s *lot.Summary) error {
	if l.flags.page == "" {
		return nil
	}
	var b bytes.Buffer
	if err := s.Page(&b, fmt.Sprintf("%s, %s", program(), l.now().Format("2006-01-02 15:04:05 -07:00"))); err != nil {
		return err
	}
	if err := writeFile(l.flags.page, b.Bytes()); err != nil {
		return err
	}
	fmt.Fprintf(l.stderr, "The page is %s.\n", plot.Plain(l.flags.page))
	return nil
}

// showSummary tells what the lot has come to so far.
func (l *lotLoop) showSummary(w io.Writer) error { return l.writeText(w, l.summary()) }

// finish ends the lot: its summary, and the page if one is wanted.
func (l *lotLoop) finish() error {
	if len(l.tests) == 0 {
		l.say("No unit was tested.")
		return nil
	}
	s := l.summary()
	w := l.stdout
	if l.flags.json {
		w = l.stderr
	}
	if err := l.writeText(w, s); err != nil {
		return err
	}
	l.say("%s goes on with it.", l.app.command("lot %s", shellWord(l.name)))
	return l.writePage(s)
}
