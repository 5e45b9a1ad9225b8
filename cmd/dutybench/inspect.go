package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"golang.org/x/term"

	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/bench/rig"
)

// inspectFlags say what a person saw, or that they want to be asked.
type inspectFlags struct {
	inspect    bool   // ask, also on a simulated rig
	inspection string // the answers, for scripts
}

// errStopped is a person who stops at a question.
var errStopped = errors.New("stopped at the inspection; nothing was switched on")

// inspected is the inspection of a test: the answers given, else asked for on a
// real rig; nil where there is nothing to look at. Where nobody can be asked it
// holds that nothing was inspected.
func (a *app) inspected(ctx context.Context, f runFlags) (*result.Inspection, error) {
	onBench := f.rig != rig.Sim && !f.simulate
	switch {
	case f.inspection != "":
		i, err := result.ParseInspection(f.inspection)
		if err != nil {
			return nil, usage("--%v", err)
		}
		return i, nil
	case !onBench && !f.inspect:
		return nil, nil
	}
	if _, terminal := a.isTerminal(a.stdin); !terminal {
		i := result.NoInspection()
		fmt.Fprintln(a.stderr, "dutybench: nobody was asked for the inspection, as this is no terminal; the record says so (--inspection gives the answers)")
		if why, next := i.NotEnergised(onBench); why != "" {
			fmt.Fprintln(a.stderr, "dutybench:", why, next)
		}
		return i, nil
	}
	ctx, stop := a.interrupt(ctx)
	defer stop()
	return a.inspectUnit(ctx, onBench)
}

// inspectUnit puts the questions, one key each, and no answer as the default.
// real says that the unit on the bench is one.
func (a *app) inspectUnit(ctx context.Context, real bool) (*result.Inspection, error) {
	i := result.NoInspection()
	fmt.Fprintln(a.stderr, "Before anything is switched on. y or 1: yes; n or 0: no; space: not looked at; q: stop.")
	for at, p := range result.InspectionPoints() {
		fmt.Fprintf(a.stderr, "%d/%d %s ", at+1, len(i.Answers), p.Question)
		word, err := a.looked(ctx, p)
		if err != nil {
			fmt.Fprintln(a.stderr)
			return nil, err
		}
		i.Answers[at].Found = word
		if word == "" {
			word = "not inspected"
		}
		fmt.Fprintln(a.stderr, word)
	}
	if why, next := i.NotEnergised(real); why != "" {
		fmt.Fprintln(a.stderr, why, next)
	}
	return i, nil
}

// looked waits for a key that is one. Others are passed over: wet hands slip, and
// who is used to it ends every answer with Enter.
func (a *app) looked(ctx context.Context, p result.InspectionPoint) (string, error) {
	for {
		k, err := a.key(ctx)
		if err != nil {
			return "", err
		}
		switch k {
		case 'y', 'Y', '1':
			return p.Yes, nil
		case 'n', 'N', '0':
			return p.No, nil
		case ' ':
			return "", nil
		case 'q', 'Q', 3, 4: // Ctrl-C and Ctrl-D come as letters from a raw terminal
			return "", errStopped
		}
	}
}

// key reads one key, without waiting for the end of a line where standard input
// is a terminal.
func (a *app) key(ctx context.Context) (byte, error) {
	if f, ok := a.stdin.(*os.File); ok {
		was, err := term.MakeRaw(int(f.Fd()))
		if err != nil {
			return 0, fmt.Errorf("the terminal gives no single keys: %w; give the answers with --inspection", err)
		}
		defer func() { _ = term.Restore(int(f.Fd()), was) }()
	}
	type read struct {
		b   byte
		err error
	}
	got := make(chan read, 1)
	go func() {
		var b [1]byte
		_, err := io.ReadFull(a.stdin, b[:])
		got <- read{b[0], err}
	}()
	select {
	case <-ctx.Done():
		return 0, fmt.Errorf("%w: %w", errStopped, context.Cause(ctx))
	case r := <-got:
		if r.err != nil {
			return 0, errStopped
		}
		return r.b, nil
	}
}

// heed takes an inspection into account: what may not be energised is not.
func (t *test) heed(i *result.Inspection) {
	t.inspection = i
	if why, _ := i.NotEnergised(!t.simulated()); why != "" {
		t.plan, t.decider = unpowered(t.plan), nil
	}
}

// unpowered is a plan that switches nothing on: the zero alone, so that there
// is a record of a unit that may not be energised.
func unpowered(p kind.Plan) kind.Plan {
	var out kind.Plan
	for _, s := range p.Steps {
		if s.Supply {
			break
		}
		out.Steps = append(out.Steps, s)
	}
	return out
}

// inspectionWords is an inspection on one line, for the trace: such as "leak=no
// seal=good"; empty for none.
func inspectionWords(i *result.Inspection) string {
	if i == nil {
		return ""
	}
	var s []string
	for _, a := range i.Answers {
		if a.Found != "" {
			s = append(s, a.Point+"="+a.Found)
		}
	}
	if len(s) == 0 {
		return "none"
	}
	return strings.Join(s, " ")
}
