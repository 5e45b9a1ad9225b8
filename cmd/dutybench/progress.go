package main

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"dutybench/bench/run"
)

// redraw is how often the line on a terminal is rewritten at most.
const redraw = 50 * time.Millisecond

// progress shows where a test stands: on a terminal in one line that is
// rewritten, elsewhere in a line for each step.
type progress struct {
	w     io.Writer
	width int // of the terminal; 0: no terminal
	now   func() time.Time

	last  run.Progress
	drawn time.Time
	shown bool // a line stands on the terminal
}

// show takes what a run reports.
func (p *progress) show(q run.Progress) {
	changed := q.Index != p.last.Index
	if p.width == 0 {
		if changed && p.last.Index > 0 {
			fmt.Fprintln(p.w, words(p.last))
		}
		p.last = q
		return
	}
	p.last = q
	if now := p.now(); changed || now.Sub(p.drawn) >= redraw {
		p.drawn, p.shown = now, true
		fmt.Fprintf(p.w, "\r%-*.*s", p.width-1, p.width-1, words(q))
	}
}

// aside writes a line of its own; what stood in its place comes again.
func (p *progress) aside(s string) {
	if p.shown {
		fmt.Fprintf(p.w, "\r%s\r", strings.Repeat(" ", p.width-1))
		p.drawn = time.Time{}
	}
	fmt.Fprintln(p.w, s)
}

// end leaves a clean line.
func (p *progress) end() {
	switch {
	case p.width == 0 && p.last.Index > 0:
		fmt.Fprintln(p.w, words(p.last))
	case p.shown:
		fmt.Fprintf(p.w, "\r%s\r", strings.Repeat(" ", p.width-1))
	}
	p.last, p.shown = run.Progress{}, false
}

func words(q run.Progress) string {
	supply := "    - V"
	if !math.IsNaN(q.Supply_V) {
		supply = fmt.Sprintf("%5.2f V", q.Supply_V)
	}
	duty := fmt.Sprintf("%5.1f %%", q.Duty_pct)
	if q.Tells {
		at := "  -"
		if !math.IsNaN(q.Position_pct) {
			at = fmt.Sprintf("%5.1f", q.Position_pct)
		}
		duty += " at " + at + " %"
	}
	left := max(q.Expected-q.Elapsed, 0)
	return fmt.Sprintf("step %2d of %d  %-12s %s  %7.3f A  %s  at most %.0f s left",
		q.Index, q.Of, q.Step, duty, q.Current_A, supply, left.Seconds())
}
