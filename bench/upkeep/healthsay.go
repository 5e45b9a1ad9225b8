package upkeep

import (
	"fmt"
	"io"
	"strings"

	"dutybench/bench/plot"
	"dutybench/signal/quality"
)

// Sentence says how the bench is, first of all.
func (h *Health) Sentence() string {
	last := h.last()
	at := last.When.Local().Format("2006-01-02 15:04")
	switch {
	case h.Out:
		var in []string
		for _, c := range h.Charts {
			var kinds []string
			for _, a := range h.Alarms {
				if a.Record == last.ID.String() && a.Finding == c.Finding {
					kinds = append(kinds, a.Kind)
				}
			}
			if len(kinds) > 0 {
				in = append(in, named(c.Finding)+" ("+strings.Join(kinds, ", ")+")")
			}
		}
		if len(in) == 0 {
			return fmt.Sprintf("The bench is out of control: its check unit did not pass on %s.", at)
		}
		return fmt.Sprintf("The bench is out of control: the check of %s lies out in %s.", at, strings.Join(in, ", "))
	case h.Missing > 0:
		return fmt.Sprintf("There are no limits yet: %d of %d tests of check unit %s are made. Test it once every working day.", h.Baseline-h.Missing, h.Baseline, plot.Plain(h.Unit))
	}
	return fmt.Sprintf("The bench is in control: the check of %s lies inside all limits.", at)
}

// Next is one next step; empty when there is none.
func (h *Health) Next() string {
	for i := len(h.Alarms) - 1; i >= 0 && h.Out; i-- {
		if h.Alarms[i].Record == h.last().ID.String() {
			return h.Alarms[i].Next
		}
	}
	return ""
}

// why says in a clause how the newest test lies out; empty when it does not.
func (h *Health) why() string {
	var in []string
	for _, a := range h.Alarms {
		if a.Record == h.last().ID.String() {
			in = append(in, a.Words())
		}
	}
	if n := len(in) - 2; n > 0 {
		in = append(in[:2], fmt.Sprintf("%d more", n))
	}
	return strings.Join(in, "; ")
}

// other is the unit as it stands beside another one.
func (h *Health) other() Other {
	return Other{Unit: h.Unit, When: h.last().When, Record: h.last().ID.String(), Why: h.why()}
}

// Words say of another check unit that it lay out.
func (o Other) Words() string {
	return fmt.Sprintf("Check unit %s lay out when it was tested last, on %s (record %s): %s. Another unit does not clear that: test it again, or find what it was.",
		plot.Plain(o.Unit), o.When.Local().Format("2006-01-02 15:04"), o.Record, plot.Plain(o.Why))
}

// Rules say how the limits were made and what they cost.
func (h *Health) Rules() []string {
	out := []string{
		fmt.Sprintf("Limits rest on the first %d tests of each phase, which know the scatter to %.0f %%; they are the wider for it.", h.Baseline, 100*quality.SigmaError(h.Baseline)),
		fmt.Sprintf("%s, each looked at in %d ways (value, step from the test before, average for drift), share at most one false alarm in %d tests: limits of values at %.2f standard deviations.", count(len(h.Charts), "finding"), ways, FalseAlarms, h.Sigmas),
		fmt.Sprintf("The average for drift weighs the newest test with %.1f, and leaves out values that lie out themselves.", Weight),
		h.seenWords(),
		"Cpk: how many times three standard deviations of the check unit fit between its mean and the nearer limit of its profile. Below 1 its scatter alone reaches beyond that limit now and then.",
		"A new phase, with new limits, begins where rig file, calibration or profile changed; an alarm that stood until then stays open until a check with a note says what it was.",
	}
	return out
}

// seenWords say how soon a finding that has moved is seen.
func (h *Health) seenWords() string {
	half, most := h.Seen()
	moved := fmt.Sprintf("A finding that has moved by %d standard deviations for good is seen ", shift)
	hangs := fmt.Sprintf(": it hangs on how the first %d tests came out (simulated).", h.Baseline)
	switch {
	case half > mostRun:
		return moved + fmt.Sprintf("within %d tests on fewer than half of all benches", mostRun) + hangs
	case most > mostRun:
		return moved + fmt.Sprintf("within %d tests on half of all benches, and on one of ten not within %d", half, mostRun) + hangs
	}
	return moved + fmt.Sprintf("within %d tests on half of all benches, and within %d on nine of ten", half, most) + hangs
}

// WriteText writes what a terminal shows. plain leaves out all but ASCII.
func (h *Health) WriteText(w io.Writer, plain bool) error {
	var b strings.Builder
	kind := ""
	if h.Simulated {
		kind = ", simulated"
	}
	fmt.Fprintf(&b, "%s\n", h.Sentence())
	if n := h.Next(); n != "" {
		fmt.Fprintf(&b, "Next step: %s\n", n)
	}
	for _, s := range h.OpenWords() {
		fmt.Fprintf(&b, "%s\n", s)
	}
	for _, o := range h.Others {
		fmt.Fprintf(&b, "%s\n", o.Words())
	}
	fmt.Fprintf(&b, "\nCheck unit %s on rig %s%s: %s from %s to %s\n", plot.Plain(h.Unit), plot.Plain(h.Rig), kind, count(len(h.Tests), "test"),
		h.Tests[0].When.Local().Format("2006-01-02"), h.Tests[len(h.Tests)-1].When.Local().Format("2006-01-02"))
	for _, ph := range h.Phases[1:] {
		fmt.Fprintf(&b, "New limits from %s on: %s\n", h.Tests[ph.From].When.Local().Format("2006-01-02"), plot.Plain(ph.Why))
	}
	fmt.Fprintf(&b, "\n%-24s %12s %12s %25s %14s %9s %s\n", "finding", "newest", "mean", "limits", "drift average", "Cpk", "unit")
	for _, c := range h.Charts {
		p := c.Points[len(c.Points)-1]
		l := c.Limits[len(c.Limits)-1]
		mark := ""
		if p.Out {
			mark = "  OUT"
		}
		if l == nil {
			fmt.Fprintf(&b, "%-24s %12s %s\n", named(c.Finding), inUnit(p.Value, 5, ""), c.Note)
			continue
		}
		cpk := plot.None
		if l.Capability != nil {
			cpk = plot.Short(l.Capability.Cpk, 3)
		}
		fmt.Fprintf(&b, "%-24s %12s %12s %25s %14s %9s %s%s\n", named(c.Finding), inUnit(p.Value, 5, ""), inUnit(l.Mean, 5, ""),
			inUnit(l.Low, 5, "")+" to "+inUnit(l.High, 5, ""), inUnit(p.Average, 5, ""), cpk, plot.Plain(c.Unit), mark)
	}
	if len(h.Alarms) > 0 {
		b.WriteString("\nOut of control:\n")
		for _, r := range h.runs() {
			fmt.Fprintf(&b, "  %s  %s  %s\n", r.When, r.Record, r.What)
		}
	}
	b.WriteByte('\n')
	for _, r := range h.Rules() {
		fmt.Fprintf(&b, "%s\n", r)
	}
	return write(w, b.String(), plain)
}

// Words are an alarm with the finding that it is of, as a clause.
func (a Alarm) Words() string {
	if a.Finding == "" {
		return a.Sentence
	}
	return named(a.Finding) + ": " + a.Sentence
}

// write writes a text; plain keeps it to ASCII.
func write(w io.Writer, s string, plain bool) error {
	if plain {
		s = strings.NewReplacer("–", "-", "°", "deg ", "±", "+-", "·", "*", "²", "2", "µ", "u").Replace(s)
	}
	if _, err := io.WriteString(w, s); err != nil {
		return fmt.Errorf("upkeep: writing the result: %w", err)
	}
	return nil
}
