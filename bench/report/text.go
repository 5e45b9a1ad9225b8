package report

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"dutybench/bench/plot"
	"dutybench/bench/result"
)

// TextOptions say what the terminal can show.
type TextOptions struct {
	// Width in characters; 0 means 80, and less than 60 is drawn as 60.
	Width int
	// Unicode allows signs beyond ASCII.
	Unicode bool
	// Colour allows ANSI colour; shapes and words say the same without it.
	Colour bool
	// Explain adds the uncertainty budget of every finding.
	Explain bool
}

// Text writes what a terminal shows after a test: the sentence, the findings,
// the curve, the start-up, and where record and page lie. No line is wider
// than the terminal.
func Text(w io.Writer, in Input, o TextOptions) error {
	if o.Width == 0 {
		o.Width = 80
	}
	t := &text{o: o, width: max(o.Width, 60)}
	r := in.Result
	t.bold(lead(r))
	if r.Error == "" {
		t.item("Cause", causeLine(r))
		t.item("Next step", next(r))
		t.items("Carried by", carried(r))
		t.item("Told apart by", separatedBy(r))
		t.item("Disproved by", sentence(r.Disproof))
	}
	care := cautions(in)
	if r.Early != "" {
		care = append(care, "--full runs the whole plan.")
	}
	t.items("Take care", care)
	if r.Error == "" {
		t.findings(r.Findings)
		t.others(r)
		t.blank()
		t.items("Risk", riskLines(r))
		if o.Explain {
			t.explain(r)
		}
		if viewsFirst(r) {
			t.views(r)
			t.curve(r)
		} else {
			t.curve(r)
			t.views(r)
		}
		if started(r) {
			t.startup(in)
		}
		t.blank()
		t.item("Reusable", strings.Join(plainAll(r.Reusable), "; "))
		t.item("Not tested", list(plainAll(NotTested(r))))
	}
	t.items("Unit says", plainAll(reportedLines(r.Reports)))
	t.items("Inspection", inspectionLines(r.Inspection))
	t.items("Bench before", checkLines(r.Checks))
	t.items("Warnings", plainAll(r.Warnings))
	t.blank()
	t.item("Profile", header(in)[4].Value)
	t.place("Record", r.Record)
	t.place("Page", in.Page)
	t.place("Trace", in.TracePath)
	if _, err := io.WriteString(w, t.b.String()); err != nil {
		return fmt.Errorf("report: writing to the terminal: %w", err)
	}
	return nil
}

// text collects lines that fit the terminal.
type text struct {
	b     strings.Builder
	o     TextOptions
	width int
}

// ascii says the same without signs that an old terminal lacks.
var ascii = strings.NewReplacer("\u00a0", " ", "±", "+/-", "–", "-", "−", "-", "°", "deg ", "µ", "u", "Ω", "Ohm",
	"×", "x", "≤", "<=", "≥", ">=", "“", "\"", "”", "\"", "’", "'", "·", "*", "→", "->")

func (t *text) sign(s string) string {
	if t.o.Unicode {
		return s
	}
	return strings.Map(func(r rune) rune {
		if r > 126 {
			return '?'
		}
		return r
	}, ascii.Replace(s))
}

func (t *text) line(s string) { t.b.WriteString(strings.TrimRight(s, " ") + "\n") }

// blank leaves one line free, never two.
func (t *text) blank() {
	if s := t.b.String(); s != "" && !strings.HasSuffix(s, "\n\n") {
		t.b.WriteByte('\n')
	}
}

func (t *text) bold(s string) {
	for _, l := range wrap(t.sign(s), t.width) {
		if t.o.Colour {
			l = "\x1b[1m" + l + "\x1b[0m"
		}
		t.line(l)
	}
	t.blank()
}

const itemColumn = 16

// item is a key and its words, wrapped beside it; nothing for no words.
func (t *text) item(key, words string) {
	words = strings.TrimSpace(words)
	if words == "" {
		return
	}
	for i, l := range wrap(t.sign(words), t.width-itemColumn) {
		if i > 0 {
			key = ""
		}
		t.line(fmt.Sprintf("%-*s%s", itemColumn, key, l))
	}
}

// place is a key and a path in one piece and with its own letters, so that it
// can be copied.
func (t *text) place(key, path string) {
	if path != "" {
		t.line(fmt.Sprintf("%-*s%s", itemColumn, key, plot.Plain(path)))
	}
}

func (t *text) items(key string, words []string) {
	for _, s := range words {
		t.item(key, s)
		key = ""
	}
}

func (t *text) findings(fs []result.Finding) {
	if len(fs) == 0 {
		return
	}
	fs, lacking := unmeasured(fs)
	rows, words := findingRows(fs)
	heads := [4]string{"Measured", "Value", "Good units", "Result"}
	cells := make([][4]string, len(rows))
	wide := [4]int{len(heads[0]), len(heads[1]), len(heads[2]), len("not measured")}
	for i, r := range rows {
		value := r.Value
		if r.U != "" {
			value += " ± " + r.U
		}
		if r.Unit != "" {
			value += " " + r.Unit
		}
		cells[i] = [4]string{t.sign(r.Name), t.sign(value), t.sign(r.Limits), r.Result}
		for c := range 3 {
			wide[c] = max(wide[c], width(cells[i][c]))
		}
	}
	room := t.width - wide[3] - 6
	wide[1] = min(wide[1], room*2/5)
	wide[2] = min(wide[2], room*2/5)
	wide[0] = min(wide[0], room-wide[1]-wide[2])
	t.blank()
	t.row(heads, wide, 0)
	t.line(strings.Repeat("-", wide[0]+wide[1]+wide[2]+wide[3]+6))
	for i, c := range cells {
		colour := 0
		switch rows[i].Tone {
		case "bad":
			colour = 31
		case "open":
			colour = 33
		}
		t.row(c, wide, colour)
		if fs[i].Result != result.Passed && fs[i].Note != "" {
			for _, l := range wrap(t.sign(sentence(fs[i].Note)), t.width-4) {
				t.line("    " + l)
			}
		}
	}
	for _, s := range lacking {
		for i, l := range wrap(t.sign(s), t.width-4) {
			if i > 0 {
				l = "    " + l
			}
			t.line(l)
		}
	}
	if words != "" {
		t.line(t.sign(words))
	}
}

// row writes one row of a table, cells wrapped within their columns.
func (t *text) row(cells [4]string, wide [4]int, colour int) {
	var parts [4][]string
	height := 1
	for c := range cells {
		parts[c] = wrap(cells[c], wide[c])
		height = max(height, len(parts[c]))
	}
	for l := range height {
		var b strings.Builder
		for c := range cells {
			s := ""
			if l < len(parts[c]) {
				s = parts[c][l]
			}
			if c == 3 {
				if colour != 0 && t.o.Colour && s != "" {
					s = fmt.Sprintf("\x1b[%dm%s\x1b[0m", colour, s)
				}
				b.WriteString(s)
				continue
			}
			b.WriteString(s + strings.Repeat(" ", max(0, wide[c]-width(s))+2))
		}
		t.line(b.String())
	}
}

// others is the causes that count beside those named at the top.
func (t *text) others(r result.Result) {
	if r.Verdict == result.Pass || len(r.Causes) == 0 {
		return
	}
	var out []string
	for _, c := range r.Causes {
		told := r.Cause != nil && c.Cause == *r.Cause || len(r.Inseparable) > 1 && slices.Contains(r.Inseparable, c.Cause)
		if c.Probability >= 0.01 && !told {
			out = append(out, causeWord(c.Cause)+" "+percent(c.Probability))
		}
	}
	if len(out) > 0 {
		t.blank()
		t.item("Other causes", strings.Join(out, ", "))
	}
}

// views are the pictures beside the curve, in words. The first line of each that
// runs on over a rising axis is drawn, and so is the first picture's that goes there
// and back.
func (t *text) views(r result.Result) {
	for i, v := range views(r) {
		t.blank()
		for _, l := range wrap(t.sign(viewTitle(v)+". "+viewWords(v)), t.width) {
			t.line(l)
		}
		axis := func(a result.Axis) string { return t.sign(strings.TrimSuffix(a.Label+", "+a.Unit, ", ")) }
		l := v.Lines[0]
		at := drawn(l)
		most := largest(l.Y, at)
		switch {
		case slices.IsSorted(l.X) && !slices.ContainsFunc(at, func(i int) bool { return l.Y[i] < -least*most }):
			t.b.WriteString(t.terminal(11).Wave(l.X, l.Y, 0, axis(v.X), axis(v.Y)))
		case i == 0:
			t.b.WriteString(t.terminal(14).Curve(viewDots(v), axis(v.X), axis(v.Y)))
		}
	}
}

// least is what of its largest value a line may fall below zero and be drawn
// without it: less than a row of the chart shows.
const least = 0.05

// viewDots are a picture's lines as dots, upright where the axis rises.
func viewDots(v result.View) (out []plot.Dot) {
	for _, l := range v.Lines {
		up, at := true, drawn(l)
		most := largest(l.Y, at)
		for k, i := range at {
			if k > 0 && l.X[i] != l.X[at[k-1]] {
				up = l.X[i] > l.X[at[k-1]]
			}
			y := l.Y[i]
			if y < 0 && y > -least*most {
				y = 0
			}
			out = append(out, plot.Dot{X: l.X[i], Y: y, U: math.NaN(), Low: limit(l.Low, i), High: limit(l.High, i), Up: up})
		}
	}
	return out
}

func (t *text) curve(r result.Result) {
	if len(r.Curve) == 0 {
		return
	}
	if !curved(r) {
		if words := held(r); words != "" {
			t.blank()
			for _, l := range wrap(t.sign(words), t.width) {
				t.line(l)
			}
		}
		return
	}
	dots := make([]plot.Dot, len(r.Curve))
	for i, p := range r.Curve {
		dots[i] = plot.Dot{X: p.Duty, Y: p.Current, U: p.Uncertainty,
			Low: orNaN(p.Low), High: orNaN(p.High), Up: p.Direction == "up"}
	}
	t.blank()
	t.b.WriteString(t.terminal(16).Curve(dots, "duty, %", "current, A"))
	for _, l := range wrap(t.sign(curveWords(r.Curve)), t.width) {
		t.line(l)
	}
}

func (t *text) startup(in Input) {
	t.blank()
	for _, l := range wrap(t.sign("Start-up: "+lower(attemptsLine(in.Result.Startup))), t.width) {
		t.line(l)
	}
	from, to, _, ok := startWindow(in)
	if !ok {
		return
	}
	x, y := cut(in.Trace.Time(), in.Trace.Current(), from, to)
	top := plot.HeldTop(x, y, heldFor, expected(in.Result.Curve)/2)
	t.b.WriteString(t.terminal(11).Wave(x, y, top, "time in the trace, s", "current, A"))
}

func (t *text) terminal(height int) plot.Terminal {
	return plot.Terminal{Width: t.width, Height: height, Unicode: t.o.Unicode, Colour: t.o.Colour}
}

func lower(s string) string {
	r := []rune(s)
	if len(r) == 0 {
		return s
	}
	return strings.ToLower(string(r[0])) + string(r[1:])
}

func width(s string) int { return len([]rune(s)) }

// wrap breaks a text into lines of at most n characters, at blanks where
// there are any.
func wrap(s string, n int) []string {
	n = max(n, 1)
	var lines []string
	line := ""
	for _, word := range strings.Fields(s) {
		switch {
		case line == "":
			line = word
		case width(line)+1+width(word) <= n:
			line += " " + word
		default:
			lines = append(lines, line)
			line = word
		}
		for width(line) > n {
			r := []rune(line)
			lines = append(lines, string(r[:n]))
			line = string(r[n:])
		}
	}
	if line != "" || len(lines) == 0 {
		lines = append(lines, line)
	}
	return lines
}
