package main

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"dutybench/bench/plot"
	"dutybench/bench/record"
	"dutybench/bench/result"
)

func newRecordsHistory(a *app) *cobra.Command {
	var asJSON bool
	var width int
	c := &cobra.Command{
		Use: "history SERIAL", Short: "Tell the history of one serial, test by test",
		Args: one("serial, as it was given to run with --unit"),
		RunE: a.do(func(_ *cobra.Command, args []string) error { return a.tellHistory(args[0], asJSON, width) }),
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object")
	widthFlag(c, &width)
	return c
}

// visit is one test of a unit.
type visit struct {
	entryObject
	// SinceDays is the time since the visit before; nil for the first, and
	// where the clock ran back.
	SinceDays *float64 `json:"since_days,omitempty"`
	Attempts  int      `json:"start_attempts,omitempty"` // 0: not known
	Sentence  string   `json:"sentence,omitempty"`
}

// historyObject is the history of a serial as scripts get it.
type historyObject struct {
	Unit  string   `json:"unit"`
	Tests []visit  `json:"tests"`
	Says  []string `json:"says"` // whole sentences
}

// mostVisits are read with their results; of the older ones a line is told.
const mostVisits = 50

func (a *app) tellHistory(unit string, asJSON bool, width int) error {
	if err := checkWidth(width); err != nil {
		return err
	}
	unit = strings.TrimSpace(unit)
	if unit == "" {
		return usage("give the serial of the unit")
	}
	s, err := a.standingStore()
	if err != nil {
		return err
	}
	defer a.close(s)
	entries, err := s.List(record.Filter{Unit: unit})
	if err != nil {
		return err
	}
	if len(entries) == 0 {
		return fmt.Errorf("there is no record of a unit %q: look for a part of what you know with %s", unit, a.command("records find"))
	}
	slices.SortStableFunc(entries, func(x, y record.Entry) int { return x.When.Compare(y.When) })
	h := historyObject{Unit: unit}
	for i := range entries {
		v := visit{entryObject: entryObjectOf(&entries[i])}
		if i > 0 {
			days := entries[i].When.Sub(entries[i-1].When).Hours() / 24
			v.SinceDays = &days
		}
		if len(entries)-i <= mostVisits {
			v.result(s, entries[i].ID)
		}
		h.Tests = append(h.Tests, v)
	}
	h.Says = history(h.Tests)
	if asJSON {
		return writeJSON(a.stdout, h)
	}
	return a.writeLines(h.text(width))
}

// result reads what the list does not hold.
func (v *visit) result(s interface {
	Get(record.ID) (*record.Record, error)
}, id record.ID) {
	rec, err := s.Get(id)
	if err != nil || rec.Result == nil {
		return // verify names what is damaged
	}
	var r result.Result
	if json.Unmarshal(rec.Result, &r) == nil {
		v.Attempts, v.Sentence = len(r.Startup.Attempts), r.Sentence
	}
}

// came is what a visit came to, as in a list.
func (v *visit) came() string {
	return cameTo(&record.Entry{Interrupted: v.Interrupted, Cancelled: v.Cancelled, Verdict: v.Verdict})
}

// whole says that the test came to its end and was judged.
func (v *visit) whole() bool { return !v.Interrupted && !v.Cancelled && v.Verdict != "" }

// history is what the visits say together, in whole sentences.
func history(tests []visit) []string {
	var out []string
	count := map[string]int{}
	for i := range tests {
		count[tests[i].came()]++
	}
	var parts []string
	for _, word := range []string{"pass", "fail", "undecided", "cancelled", "broke off", "not judged"} {
		if n := count[word]; n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, word))
		}
	}
	times := "once"
	if len(tests) > 1 {
		times = fmt.Sprintf("%d times", len(tests))
	}
	out = append(out, fmt.Sprintf("It was tested %s: %s.", times, strings.Join(parts, ", ")))
	out = append(out, cameBack(tests)...)
	out = append(out, firstStarts(tests)...)
	out = append(out, causesOf(tests)...)
	return append(out, labels(tests)...)
}

// cameBack says that a unit had left the bench before this visit: a day went
// by (chosen), or somebody sent it again.
func (v *visit) cameBack(before *visit) bool {
	now, was := &v.Circumstances, &before.Circumstances
	return v.When.Sub(before.When) > 24*time.Hour || now.ReturnedBy != was.ReturnedBy || now.Claim != was.Claim || now.Received != was.Received
}

// cameBack tells of tests after a pass.
func cameBack(tests []visit) (out []string) {
	passed := -1
	n := 0
	for i := range tests {
		v := &tests[i]
		if passed >= 0 {
			did := "It was tested again"
			if v.cameBack(&tests[passed]) {
				n++
				did = "It came back"
			}
			s := fmt.Sprintf("%s %s after it had passed (%s), and came out as %s", did, apart(v.When.Sub(tests[passed].When)), tests[passed].Record, v.came())
			if c := v.Circumstances.Complaint; c != "" {
				s += fmt.Sprintf("; the complaint was \"%s\"", plot.Plain(c))
			}
			out = append(out, s+" ("+v.Record+").")
			passed = -1
		}
		if v.whole() && v.Verdict == result.Pass {
			passed = i
		}
	}
	if n > 1 {
		out = append(out, fmt.Sprintf("It came back after a pass %d times.", n))
	}
	return out
}

// firstStarts tells of starts that failed before one passed.
func firstStarts(tests []visit) (out []string) {
	for i := range tests {
		v := &tests[i]
		if v.Attempts > 1 && v.Verdict == result.Pass {
			out = append(out, fmt.Sprintf("It passed in %s, but only its start attempt number %d succeeded.", v.Record, v.Attempts))
			continue
		}
		if v.Attempts <= 1 {
			continue
		}
		for j := i + 1; j < len(tests); j++ {
			if later := &tests[j]; later.whole() && later.Verdict == result.Pass && later.Attempts == 1 {
				out = append(out, fmt.Sprintf("Its start failed before it passed: %d attempts in %s, one in %s.", v.Attempts, v.Record, later.Record))
				break
			}
		}
	}
	return out
}

// causesOf tells of causes that changed.
func causesOf(tests []visit) (out []string) {
	var last *visit
	for i := range tests {
		v := &tests[i]
		if v.Cause == nil {
			continue
		}
		if last != nil && *last.Cause != *v.Cause {
			out = append(out, fmt.Sprintf("The cause changed from %s (%s) to %s (%s).", *last.Cause, last.Record, *v.Cause, v.Record))
		}
		last = v
	}
	return out
}

// labels tells of what the label and the seal said, where that changed, and of
// who opened the unit.
func labels(tests []visit) (out []string) {
	for _, x := range []struct {
		name string
		of   func(*record.Circumstances) string
	}{
		{"part number", func(c *record.Circumstances) string { return c.PartNumber }},
		{"revision", func(c *record.Circumstances) string { return c.Revision }},
		{"date code", func(c *record.Circumstances) string { return c.DateCode }},
		{"seal", func(c *record.Circumstances) string { return c.Seal }},
	} {
		var last *visit
		for i := range tests {
			v := &tests[i]
			now := x.of(&v.Circumstances)
			if now == "" {
				continue
			}
			if last != nil && !strings.EqualFold(x.of(&last.Circumstances), now) {
				out = append(out, fmt.Sprintf("Its %s changed from %s (%s) to %s (%s).", x.name, plot.Plain(x.of(&last.Circumstances)), last.Record, plot.Plain(now), v.Record))
			}
			last = v
		}
	}
	for i := range tests {
		v := &tests[i]
		if who := v.Circumstances.OpenedBy; who != "" {
			out = append(out, fmt.Sprintf("%s opened it (%s).", plot.Plain(who), v.Record))
		}
		if prior := v.Circumstances.PriorOpening; prior != "" {
			out = append(out, fmt.Sprintf("Of a prior opening was said: \"%s\" (%s).", plot.Plain(prior), v.Record))
		}
	}
	return out
}

// apart is a time between two visits, for people.
func apart(d time.Duration) string {
	days := d.Hours() / 24
	switch {
	case d < 0:
		return "by its clock " + apart(-d) + " before, not"
	case d < time.Minute:
		return "less than a minute"
	case d < time.Hour:
		return fmt.Sprintf("%.0f min", d.Minutes())
	case days < 2:
		return fmt.Sprintf("%.0f h", d.Hours())
	}
	return fmt.Sprintf("%.0f days", days)
}

// text is the history for people.
func (h *historyObject) text(width int) string {
	if width == 0 {
		width = textWidth
	}
	var b strings.Builder
	fmt.Fprintf(&b, "Unit %s\n\n", plot.Plain(h.Unit))
	for _, s := range h.Says {
		fill(&b, "", s, 0, width)
	}
	b.WriteString("\n")
	for i := range h.Tests {
		v := &h.Tests[i]
		words := v.came()
		if v.Cause != nil {
			words += ", " + string(*v.Cause)
		}
		if v.SinceDays != nil {
			words += ", " + apart(v.When.Sub(h.Tests[i-1].When)) + " later"
		}
		more := notEmpty(v.Purpose, plot.Plain(v.Circumstances.Complaint))
		if v.Circumstances.Claim != "" {
			more = append(more, "claim "+plot.Plain(v.Circumstances.Claim))
		}
		if v.ClockDoubt != "" {
			more = append(more, v.ClockDoubt)
		}
		fill(&b, v.When.Local().Format("2006-01-02 15:04"), v.Record+"  "+words, 18, width)
		if len(more) > 0 {
			fill(&b, "", strings.Join(more, "; "), 18, width)
		}
	}
	return b.String()
}
