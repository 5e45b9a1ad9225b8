package main

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"dutybench/bench/kind"
	"dutybench/bench/learn"
	"dutybench/bench/plot"
	"dutybench/bench/report"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

func newProfilesShow(a *app) *cobra.Command {
	width, ascii, all := 0, false, false
	var t tolerance
	c := &cobra.Command{
		Use: "show NAME|FILE", Short: "Show what a profile asks, its curve and its limits",
		Args: one("profile, by name or file"),
		RunE: a.do(func(_ *cobra.Command, args []string) error {
			if err := checkWidth(width); err != nil {
				return err
			}
			if err := t.check(); err != nil {
				return err
			}
			p, k, err := loadProfile(args[0])
			if err != nil {
				return err
			}
			if _, err := a.stdout.Write([]byte(showProfile(p, k, t, all, a.textOptions(width, ascii)))); err != nil {
				return fmt.Errorf("writing the profile: %w", err)
			}
			return nil
		}),
	}
	t.flags(c)
	c.Flags().BoolVar(&all, "all", false, "list the current at every duty; without it the first, middle and last of each direction")
	textFlags(c, &width, &ascii)
	return c
}

func showProfile(p *profiles.Profile, k kind.Kind, t tolerance, all bool, o report.TextOptions) string {
	if o.Width == 0 {
		o.Width = textWidth
	}
	var b strings.Builder
	line := func(key, format string, args ...any) { fill(&b, key, fmt.Sprintf(format, args...), keyColumn, o.Width) }
	fmt.Fprintf(&b, "%s\n\n", p.Title)
	line("Profile", "%s, revision %d, for a %s%s", p.Name, p.Revision, p.Kind, standing(p))
	if p.PartRevision != "" {
		line("Part", "revision %s", p.PartRevision)
	}
	line("Source", "%s", p.Source)
	line("SHA-256", "%s", p.SHA256)
	for _, s := range p.Notes {
		line("Note", "%s", s)
	}
	b.WriteByte('\n')
	showCommand(line, p.Command, p.Position.By != "")
	line("Supply", "%g V, from %g to %g V", p.Supply.Nominal_V, p.Supply.Low_V, p.Supply.High_V)
	showLimits(line, p.Limits)
	showReturn(line, p.Return)
	showPosition(line, p.Position)
	showFixture(line, p.Fixture)
	if drawing := connectorText(p.Connector); drawing != "" {
		b.WriteString("\nConnector: " + drawing)
	}
	b.WriteByte('\n')
	if len(p.Good) == 0 {
		line("Good units", "none measured yet, so only stated limits can be judged")
	} else {
		line("Good units", "%d, learned on %s at %.4g V and %.4g samples a second or more", len(p.Good), p.Learned.On, p.Learned.Supply_V, p.Learned.Rate_Hz)
	}
	for _, s := range p.Learned.Statement {
		line("", "%s", s)
	}
	findings, curve := limitsOf(p, k)
	if slices.ContainsFunc(curve, func(d plot.Dot) bool { return d.X != curve[0].X }) {
		b.WriteString("\nThe mean good unit, and the band in which one more good unit would lie:\n")
		drawing := plot.Terminal{Width: o.Width, Unicode: o.Unicode, Colour: o.Colour}
		b.WriteString(drawing.Curve(curve, "duty, %", "current, A"))
	}
	showFindings(&b, findings, p)
	showIntervals(&b, learn.Intervals(p, k, t.coverage/100, t.confidence/100), t, all)
	s := b.String()
	if !o.Unicode {
		s = plainSigns.Replace(s)
	}
	return s
}

// plainSigns says the same in plain letters.
var plainSigns = strings.NewReplacer("±", "+/-", "°", "deg ", "–", "-", "−", "-", "≥", ">=", "≤", "<=", "×", "x", "…", "...", "²", "2")

// known says what nobody stated.
func known(s string) string {
	if s == "" {
		return "not known"
	}
	return s
}

// showCommand says how a unit is told what to do; a placed one goes to a position.
func showCommand(line func(key, format string, args ...any), c profiles.Command, placed bool) {
	if c.Type == profiles.Switched {
		how := "on and off only"
		if c.Frequency_Hz > 0 {
			how = fmt.Sprintf("at %g Hz", c.Frequency_Hz)
		}
		line("Command", "the bench switches its supply, %s", how)
		line("", "off at 0 %%, acts from %g %%, full from %g %%", c.Wake_pct, c.Full_pct)
		return
	}
	way := ""
	if c.Inverted {
		way = ", a higher line duty asks for less"
	}
	line("Command", "%s at %g Hz ± %.3g %%, %s%s", c.Type, c.Frequency_Hz, 100*c.Tolerance, c.Drive, way)
	if c.PullUp_Ohm > 0 {
		line("", "its own pull-up of %g kohm to %g V", c.PullUp_Ohm/1000, c.PullUp_V)
	}
	if placed {
		line("", "at rest at %g %%, goes along from %g %%, to its far end at %g %%", c.Stop_pct, c.Wake_pct, c.Full_pct)
	} else {
		line("", "stands still at %g %%, starts from %g %%, full from %g %%", c.Stop_pct, c.Wake_pct, c.Full_pct)
	}
	for _, w := range c.Reserved {
		line("", "line duty reserved from %g to %g %%", w.From_pct, w.To_pct)
	}
	for i, q := range c.Law {
		if i > 0 {
			from := c.Law[i-1]
			line("", "line duty %g to %g %%: command %g to %g %%", from.Line_pct, q.Line_pct, from.Command_pct, q.Command_pct)
		}
	}
	line("No command", "cut wire: %s; stuck low: %s; stuck high: %s", known(c.Missing.Open), known(c.Missing.Low), known(c.Missing.High))
}

func showLimits(line func(key, format string, args ...any), l profiles.Limits) {
	line("Guard", "%g A for at most %s, never above %g A", l.Current_A, duration(l.Time), l.Peak_A)
	if l.Continuous_A > 0 {
		line("", "%g A without end; beyond that squared current up to %g A²s", l.Continuous_A, l.Heat_A2s)
	}
	if l.Stall_A > 0 {
		line("", "standing still at more than %g A for at most %s", l.Stall_A, duration(l.StallTime))
	}
	if l.Charge_C > 0 {
		line("", "charging peak of up to %g C within %s", l.Charge_C, duration(l.ChargeTime))
	}
	for _, x := range []struct {
		words string
		d     time.Duration
	}{{"without water at most %s", l.DryRun}, {"rest of %s between tests", l.Rest}, {"%s to start", l.StartTimeout}} {
		if x.d > 0 {
			line("", x.words, duration(x.d))
		}
	}
}

func showPosition(line func(key, format string, args ...any), p profiles.Position) {
	if p.By == "" {
		return
	}
	unit, more := "V", ""
	if p.By == profiles.ByPWM {
		unit = "% high share"
	}
	if p.Ratiometric {
		more = ", following the supply"
	}
	if p.PullUp_Ohm > 0 {
		more += fmt.Sprintf(", on a pull-up of %g kohm", p.PullUp_Ohm/1000)
	}
	line("Position", "told by %s: %g to %g %s from 0 to 100 %%%s", p.By, p.At0, p.At100, unit, more)
}

func showFixture(line func(key, format string, args ...any), f profiles.Fixture) {
	s := f.Type
	if s == profiles.Vice {
		s += ", dry"
	}
	if f.Bore_mm > 0 {
		s += fmt.Sprintf(", bore %g mm", f.Bore_mm)
	}
	if f.Lift_m > 0 {
		s += fmt.Sprintf(", lift %g m", f.Lift_m)
	}
	if f.Fluid != "" {
		s += ", " + f.Fluid
	}
	if f.LowTemp_C != 0 || f.HighTemp_C != 0 {
		s += fmt.Sprintf(", %g to %g °C", f.LowTemp_C, f.HighTemp_C)
	}
	line("Fixture", "%s", s)
	if f.Description != "" {
		line("", "%s", f.Description)
	}
}

func showFindings(b *strings.Builder, findings []result.Finding, p *profiles.Profile) {
	rows := 0
	for _, f := range findings {
		if f.Low == nil && f.High == nil || f.Value == nil {
			continue
		}
		if rows++; rows == 1 {
			fmt.Fprintf(b, "\n%-22s %12s %12s %12s  %s\n", "Finding", "lowest", "mean", "highest", "unit")
		}
		fmt.Fprintf(b, "%-22s %12s %12s %12s  %s\n", f.Name, number(f.Low), number(f.Value), number(f.High), f.Unit)
	}
	for _, l := range p.Stated {
		fmt.Fprintf(b, "stated by hand: %s from %s to %s %s (%s)\n", l.Finding, number(&l.Low), number(&l.High), l.Unit, l.Source)
	}
}

// showIntervals is a table of tolerance intervals; of currents at duties all, or the
// first, middle and last of each direction.
func showIntervals(b *strings.Builder, of []learn.Interval, t tolerance, all bool) {
	if len(of) == 0 {
		return
	}
	fmt.Fprintf(b, "\nTolerance: what at least %g %% of good units do, with %g %% confidence. Where a\nquantity does not spread normally, the range of the units with what it covers.\n", t.coverage, t.confidence)
	const row = "%-16s %-4s %7s %7s %7s %7s  %s\n"
	fmt.Fprintf(b, row, "Quantity", "unit", "mean", "sd", "low", "high", "basis")
	shown := of
	if !all {
		shown = fewer(of)
	}
	for _, v := range shown {
		fmt.Fprintf(b, row, v.Quantity, v.Unit, narrow(v.Mean), narrow(v.SD), narrow(v.Low), narrow(v.High), v.Basis())
	}
	if n := len(of) - len(shown); n > 0 {
		fmt.Fprintf(b, "%d more duties between: profiles show --all lists them.\n", n)
	}
}

// fewer keeps of the currents at each duty the first, middle and last of each
// direction, and everything else.
func fewer(of []learn.Interval) (out []learn.Interval) {
	direction := func(v learn.Interval) string {
		_, after, at := strings.Cut(v.Quantity, " % duty")
		if !at {
			return ""
		}
		return "duty" + after
	}
	for i := 0; i < len(of); {
		n := 1
		for d := direction(of[i]); d != "" && i+n < len(of) && direction(of[i+n]) == d; n++ {
		}
		if n > 3 {
			out = append(out, of[i], of[i+(n-1)/2], of[i+n-1])
		} else {
			out = append(out, of[i:i+n]...)
		}
		i += n
	}
	return out
}

// narrow is a number of up to four digits in at most seven letters, where that
// can be.
func narrow(x float64) string {
	s := plot.Short(x, 4)
	for digits := 3; len(s) > 7 && digits > 0; digits-- {
		s = plot.Short(x, digits)
	}
	return s
}

func number(x *float64) string {
	if finite(x) == nil {
		return "any"
	}
	return plot.Short(*x, 4)
}

// limitsOf holds the mean good unit against its own profile, which shows the
// limits that one more unit would be held to, and the curve with its band.
func limitsOf(p *profiles.Profile, k kind.Kind) ([]result.Finding, []plot.Dot) {
	if len(p.Good) == 0 || len(p.Grid) == 0 {
		return nil, nil
	}
	zero := []float64{0, 0}
	still := &trace.Trace{Source: p.Name, Columns: []trace.Column{
		{Name: trace.ColTime, Values: []float64{0, 1}}, {Name: trace.ColDuty, Values: zero}, {Name: trace.ColCurrent, Values: zero}}}
	m, err := k.Measure(still, p)
	if err != nil {
		return nil, nil
	}
	m.Values, m.Curve = nil, nil
	for _, v := range p.Good[0].Values {
		var xs []float64
		for _, g := range p.Good {
			if x, ok := g.Get(v.Name); ok && isFinite(x) {
				xs = append(xs, x)
			}
		}
		if len(xs) > 0 {
			m.Values = append(m.Values, kind.Value{Name: v.Name, Unit: v.Unit, Q: stat.Quantity{Value: stat.Mean(xs)}})
		}
	}
	for _, up := range []bool{true, false} {
		for i, d := range p.Grid {
			if x := meanAt(p, i, up); isFinite(x) {
				at := float64(len(m.Curve)) // a time of its own for each
				m.Curve = append(m.Curve, kind.Point{Duty_pct: d, Up: up, Current: stat.Quantity{Value: x}, Supply_V: math.NaN(), Start_s: at, End_s: at + 1})
			}
		}
	}
	a := k.Assess(m, p, kind.Conditions{})
	var dots []plot.Dot
	for _, q := range a.Curve {
		d := plot.Dot{X: q.Duty, Y: q.Current, U: math.NaN(), Low: math.NaN(), High: math.NaN(), Up: q.Direction == "up"}
		if q.Low != nil {
			d.Low = *q.Low
		}
		if q.High != nil {
			d.High = *q.High
		}
		dots = append(dots, d)
	}
	return a.Findings, dots
}

// meanAt is the good units' mean current at a duty of the grid, NaN when none
// was measured there.
func meanAt(p *profiles.Profile, i int, up bool) float64 {
	var xs []float64
	for _, g := range p.Good {
		row := g.Down
		if up {
			row = g.Up
		}
		if i < len(row) && isFinite(row[i]) {
			xs = append(xs, row[i])
		}
	}
	if len(xs) == 0 {
		return math.NaN()
	}
	return stat.Mean(xs)
}
