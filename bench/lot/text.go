package lot

import (
	"fmt"
	"io"
	"strings"

	"dutybench/bench/plot"
)

// TextOptions say what the terminal can show.
type TextOptions struct {
	Width   int // characters; 0 means 80, and less than 60 is drawn as 60
	Unicode bool
}

// Text writes a summary for a terminal.
func (s *Summary) Text(w io.Writer, o TextOptions) error {
	t := &text{width: 80}
	if o.Width != 0 {
		t.width = max(o.Width, 60)
	}
	t.line("Lot " + plot.Plain(s.Lot) + ", " + s.when())
	t.item("Yield", s.yieldWords(), 12)
	for _, n := range s.Notes {
		t.item("", n, 12)
	}
	t.blank()
	for _, b := range s.Bins {
		t.line(fmt.Sprintf("%5d  bin %d, %s", len(b.Serials), b.Number, b.Holds))
		if len(b.Serials) > 0 {
			t.item("", strings.Join(b.marked(), ", "), 7)
		}
		if star := b.star(); star != "" {
			t.item("", star, 7)
		}
	}
	t.blank()
	if len(s.Causes) > 0 {
		t.line("Causes of failed units")
		for _, c := range s.Causes {
			t.line(fmt.Sprintf("%5d  %s: %s of failed units", c.Rate.Count, CausesWord(c.Causes), c.Rate.Words()))
		}
		t.blank()
	}
	for _, g := range s.Groups {
		t.groups(g)
	}
	t.line("Bench time, median (and what four of five lie between)")
	for _, x := range s.Times.rows() {
		t.line(fmt.Sprintf("  %-22s %s", x[0], x[1]))
	}
	t.blank()
	t.remarks("Doubtful: for a person to look at", s.Doubtful)
	t.remarks("To be tested again", s.Open)
	t.remarks("To be known", s.Known)
	if s.Broken+s.Bench > 0 {
		t.item("Not counted", s.uncounted(), 12)
	}
	t.item("Bench", s.wellWords(), 12)
	t.item("Rule", s.ruleWords(), 12)
	t.item("Intervals", intervalWords, 12)
	out := t.b.String()
	if !o.Unicode {
		out = ascii.Replace(out)
	}
	if _, err := io.WriteString(w, out); err != nil {
		return fmt.Errorf("lot: writing the summary: %w", err)
	}
	return nil
}

func (t *text) groups(g Groups) {
	if len(g.Groups) == 0 || len(g.Groups) == 1 && g.Groups[0].Value == "" {
		return // nothing was told of any unit
	}
	t.line("No fault found, by " + g.By)
	for _, x := range g.Groups {
		note := x.note()
		if note != "" {
			note = "  " + note
		}
		t.item(fmt.Sprintf("%5d of %d", x.Rate.Count, x.Rate.Of), x.word()+"  "+x.Rate.Words()+note, 14)
	}
	t.blank()
}

func (t *text) remarks(title string, list []Remark) {
	if len(list) == 0 {
		return
	}
	t.line(title)
	for _, m := range list {
		t.item("", plot.Plain(m.Serial)+": "+plot.Plain(strings.Join(m.Why, "; "))+".", 2)
	}
	t.blank()
}

// text collects lines that fit the terminal.
type text struct {
	b     strings.Builder
	width int
}

func (t *text) blank()        { t.b.WriteByte('\n') }
func (t *text) line(s string) { t.b.WriteString(strings.TrimRight(s, " ") + "\n") }

// item is words beside a key.
func (t *text) item(key, words string, column int) { plot.Fill(&t.b, key, words, column, t.width) }

func plainAll(in []string) []string {
	out := make([]string, len(in))
	for i, s := range in {
		out[i] = plot.Plain(s)
	}
	return out
}

// ascii says the same without signs that an old terminal lacks.
var ascii = strings.NewReplacer("\u00a0", " ", "–", "-", "“", "\"", "”", "\"", "°", "deg ", "±", "+/-")
