package upkeep

import (
	"fmt"
	"io"
	"math"
	"strings"

	"dutybench/bench/plot"
	"dutybench/signal/quality"
)

// line is one component of a finding, in words.
type line struct{ Name, SD, Interval, DoF, Variation, Tolerance string }

// lines are a finding's components.
func (g *Gauged) lines() []line {
	s := &g.Study
	var out []line
	for _, c := range []struct {
		name string
		c    quality.Component
	}{{"repeatability", s.Repeatability}, {"refill and remount", s.Reproducibility}, {"both together", s.Gauge}, {"between units", s.Part}} {
		l := line{c.name, inUnit(c.c.SD(), 3, ""), inUnit(c.c.Low, 3, "") + " to " + inUnit(c.c.High, 3, ""), plot.None,
			percent(s.Variation(c.c)), percent(g.OfTolerance(c.c))}
		if c.c.DoF > 0 {
			l.DoF = plot.Short(c.c.DoF, 3)
		}
		out = append(out, l)
	}
	return out
}

// rowView is one line of an analysis of variance, in words.
type rowView struct{ Source, DoF, SS, MS, F, P string }

func rowOf(r quality.Row) rowView {
	v := rowView{Source: r.Source, DoF: plot.Short(r.DoF, 6), SS: inUnit(r.SS, 5, "")}
	if r.Source != "total" {
		v.MS = inUnit(r.MS, 5, "")
	}
	if !math.IsNaN(r.F) {
		if v.F, v.P = inUnit(r.F, 4, ""), plot.Short(r.P, 3); r.P < 0.001 {
			v.P = "< 0.001"
		}
	}
	return v
}

// limits are the profile's, in words.
func (g *Gauged) limits() string {
	switch {
	case !math.IsNaN(g.Low) && !math.IsNaN(g.High):
		return inUnit(g.Low, 4, "") + " to " + inUnit(g.High, 4, g.Unit)
	case !math.IsNaN(g.Low):
		return "at least " + inUnit(g.Low, 4, g.Unit) + " (the room is twice the way to it)"
	case !math.IsNaN(g.High):
		return "at most " + inUnit(g.High, 4, g.Unit) + " (the room is twice the way to it)"
	}
	return "none"
}

// tooMuch is the share of the tolerance above which the bench is too unsteady
// for a limit (Meaning has its source).
const tooMuch = 0.30

// worst is the finding whose scatter takes most of its tolerance, and how much;
// bad counts those above tooMuch. It is nil where there are no limits.
func (o *Outcome) worst() (g *Gauged, share float64, bad int) {
	for i := range o.Findings {
		s := o.Findings[i].OfTolerance(o.Findings[i].Study.Gauge)
		if s > tooMuch {
			bad++
		}
		if s > share {
			g, share = &o.Findings[i], s
		}
	}
	return g, share, bad
}

// Sentence says what a study came to, first of all.
func (o *Outcome) Sentence() string {
	g, share, bad := o.worst()
	switch {
	case g == nil:
		return "The profile has no limits to hold the bench's scatter against."
	case bad > 0:
		return fmt.Sprintf("In %s of %d the bench's scatter takes more than 30 %% of the tolerance: most in %s, where it takes %s of it.", count(bad, "finding"), len(o.Findings), named(g.Finding), percent(share))
	}
	return fmt.Sprintf("The bench is steady enough for %s: its scatter takes most of the tolerance in %s, %s of it.", count(len(o.Findings), "finding"), named(g.Finding), percent(share))
}

// Next is one next step; empty where the bench is steady enough.
func (o *Outcome) Next() string {
	g, _, bad := o.worst()
	if bad == 0 {
		return ""
	}
	if g.refills() {
		return fmt.Sprintf("Most of the scatter of %s comes from refilling and remounting: mount and bleed every unit in the same way (same place, same hoses, same time of bleeding), then make the study again.", named(g.Finding))
	}
	return fmt.Sprintf("Most of the scatter of %s comes from repeating, with nothing touched: look at supply, plug and leads (dutybench rig check), then make the study again.", named(g.Finding))
}

// refills says that refilling and remounting scatter more than repeating.
func (g *Gauged) refills() bool {
	return g.Study.Reproducibility.Variance > g.Study.Repeatability.Variance
}

// Ground says what the figures stand on.
func (o *Outcome) Ground() string {
	kind := ""
	if o.Setting.Simulated {
		kind = " (simulated)"
	}
	return fmt.Sprintf("Study %s on rig %s%s with profile %s revision %d: %d units, %d fillings each, %d tests a filling, %s to %s. Fillings lie within units; intervals are at 95 %%.",
		plot.Plain(o.Plan.Name), plot.Plain(o.Rig), kind, plot.Plain(o.Setting.Profile), o.Setting.Revision, len(o.Plan.Units), o.Plan.Fillings, o.Plan.Repeats,
		o.From.Local().Format("2006-01-02"), o.To.Local().Format("2006-01-02"))
}

// WriteText writes what a terminal shows.
func (o *Outcome) WriteText(w io.Writer, plain bool) error {
	var b strings.Builder
	say := func() {
		fmt.Fprintf(&b, "%s\n", o.Sentence())
		if n := o.Next(); n != "" {
			fmt.Fprintf(&b, "Next step: %s\n", n)
		}
	}
	say()
	fmt.Fprintf(&b, "%s\n", o.Ground())
	for i := range o.Findings {
		g := &o.Findings[i]
		fmt.Fprintf(&b, "\n%s: mean %s, limits %s\n", named(g.Finding), inUnit(g.Mean, 4, g.Unit), g.limits())
		fmt.Fprintf(&b, "  %-22s %5s %12s %12s %9s %8s\n", "source", "DoF", "sum squares", "mean square", "F", "p")
		for _, r := range g.Study.Rows {
			v := rowOf(r)
			b.WriteString(strings.TrimRight(fmt.Sprintf("  %-22s %5s %12s %12s %9s %8s", v.Source, v.DoF, v.SS, v.MS, v.F, v.P), " ") + "\n")
		}
		fmt.Fprintf(&b, "  %-22s %12s %22s %6s %10s %10s\n", "component", "sd, "+plot.Plain(g.Unit), "95 %", "DoF", "of study", "of limits")
		for _, l := range g.lines() {
			fmt.Fprintf(&b, "  %-22s %12s %22s %6s %10s %10s\n", l.Name, l.SD, l.Interval, l.DoF, l.Variation, l.Tolerance)
		}
		fmt.Fprintf(&b, "  distinct categories: %s\n  %s\n", categories(g.Study.Categories()), g.Meaning())
	}
	if len(o.Left) > 0 {
		b.WriteString("\nNot analysed:\n")
		for _, l := range o.Left {
			fmt.Fprintf(&b, "  %s: %s\n", named(l.Finding), plot.Plain(l.Why))
		}
	}
	b.WriteByte('\n')
	say() // again, as the tables have moved it off the screen
	return write(w, b.String(), plain)
}

// categories are rounded down, as their number is used.
func categories(n float64) string {
	switch {
	case math.IsNaN(n):
		return plot.None
	case n > 999:
		return "more than 999"
	}
	return fmt.Sprintf("%d (%s)", int(n), plot.Short(n, 3))
}
