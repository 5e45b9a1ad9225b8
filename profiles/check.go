package profiles

import (
	"fmt"
	"math"
	"regexp"
	"time"

	"dutybench/profiles/strict"
)

var namePattern = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)

// check holds the parts of a file against each other. What one value alone
// must satisfy stands in the tags.
func (d *decoder) check(root *strict.Node, f *file) {
	bad := func(format string, path []any, args ...any) { d.Add(root.At(path...).Place, format, args...) }
	if !namePattern.MatchString(f.Name) || len(f.Name) > strict.MaxName {
		bad("name is %q: use small letters, digits and single hyphens between them, such as \"aux-pump-20w\"", path("name"), strict.Clip(f.Name))
	}
	d.checkCommand(root.At("command"), f)
	if s := f.Supply; s.Low > s.Nominal {
		bad("low is %v V, above nominal, %v V: low, nominal and high must rise", path("supply", "low"), float64(s.Low), float64(s.Nominal))
	}
	if s := f.Supply; s.High < s.Nominal {
		bad("high is %v V, below nominal, %v V: low, nominal and high must rise", path("supply", "high"), float64(s.High), float64(s.Nominal))
	}
	if l := f.Limits; l.Peak < l.Current {
		bad("peak is %v A, below current, %v A: it must be at least that", path("limits", "peak"), float64(l.Peak), float64(l.Current))
	}
	if l := f.Limits; (l.Charge == 0) != (l.ChargeTime == 0) {
		bad("charge and charge_time belong together: give both above zero, or neither", path("limits", "charge"))
	}
	if l := f.Limits; (l.Continuous == 0) != (l.Heat == 0) {
		bad("continuous and heat belong together: give both above zero, or neither", path("limits", "heat"))
	}
	if l := f.Limits; (l.Stall == 0) != (l.StallTime == 0) {
		bad("stall and stall_time belong together: give both above zero, or neither", path("limits", "stall"))
	}
	if l := f.Limits; l.Time.Duration() == 0 {
		bad("time is below a nanosecond: give a time such as \"800 ms\"", path("limits", "time"))
	}
	if _, err := time.Parse(time.DateOnly, f.Learned.On); f.Learned.On != "" && err != nil {
		bad("on is %q: write the date as year-month-day, such as \"2026-03-31\"", path("learned", "on"), strict.Clip(f.Learned.On))
	}
	if n := root.Child("connector"); n != nil {
		d.checkConnector(n, f.Connector)
	}
	if n := root.Child("position"); n != nil {
		d.checkPosition(n, f.Position)
	}
	if n := root.Child("return"); n != nil {
		d.checkReturn(n, &f.Return)
	}
	d.checkGrid(root, f)
	d.checkGood(root, f)
	d.checkStated(root, f)
}

func path(p ...any) []any { return p }

func (d *decoder) checkCommand(n *strict.Node, f *file) {
	c := f.Command
	d.checkType(n, f)
	if c.Wake <= c.Stop {
		d.Add(n.At("wake").Place, "wake is %v %%, not above stop, %v %%: both are commands, and wake must be the higher", float64(c.Wake), float64(c.Stop))
	}
	if c.Full < c.Wake {
		d.Add(n.At("full").Place, "full is %v %%, below wake, %v %%: it must be at least that", float64(c.Full), float64(c.Wake))
	}
	for i, w := range c.Reserved {
		at := n.At("reserved", i).Place
		switch {
		case w.From_pct < 0 || w.To_pct > 100:
			d.Add(at, "the window reaches beyond 0 %% to 100 %%: line duty cannot")
		case w.From_pct == w.To_pct:
			d.Add(at, "the window is empty: its ends must differ, such as \"0 %% to 5 %%\"")
		case i > 0 && w.From_pct < c.Reserved[i-1].To_pct:
			d.Add(at, "the window begins below the end of the one before: list windows in rising order without overlap")
		}
	}
	if len(c.Law) == 0 {
		return
	}
	law := n.At("law")
	if len(c.Law) < 2 || c.Law[0].Line != 0 || c.Law[len(c.Law)-1].Line != 100 {
		d.Add(law.Place, "the law must lead from line = \"0 %%\" to line = \"100 %%\" with at least these two points")
	}
	for i := 1; i < len(c.Law); i++ {
		a, b := c.Law[i-1], c.Law[i]
		if b.Line <= a.Line {
			d.Add(law.At(i, "line").Place, "line is %v %%, not above the point before, %v %%: points must rise in line duty", float64(b.Line), float64(a.Line))
		}
		if c.Inverted && b.Command > a.Command {
			d.Add(law.At(i, "command").Place, "command rises from %v %% to %v %% although inverted = true: it must fall, or inverted be false", float64(a.Command), float64(b.Command))
		}
		if !c.Inverted && b.Command < a.Command {
			d.Add(law.At(i, "command").Place, "command falls from %v %% to %v %% although inverted is not true: it must rise, or inverted be true", float64(a.Command), float64(b.Command))
		}
	}
}

// checkGrid holds the grid and the full command against the reserved windows.
func (d *decoder) checkGrid(root *strict.Node, f *file) {
	c := f.profile().Command
	reserved := func(command float64) bool {
		line := c.LineDuty(command)
		return command != c.Stop_pct && c.Reserves(line)
	}
	if d.Count() > 0 {
		return // a broken law has no line duties
	}
	if reserved(c.Full_pct) {
		d.Add(root.At("command", "full").Place, "full, %v %%, is a line duty of %v %% and lies in a reserved window: choose a command outside", c.Full_pct, c.LineDuty(c.Full_pct))
	}
	at := root.At("learned", "grid").Place
	for i, x := range f.Learned.Grid {
		switch {
		case math.IsNaN(x):
			d.Add(at, "value %d of grid is not measured: the grid needs every duty", i+1)
		case i > 0 && x <= f.Learned.Grid[i-1]:
			d.Add(at, "grid does not rise at value %d, %v %%: list duties from low to high, each once", i+1, x)
		case reserved(x):
			d.Add(at, "value %d of grid, %v %%, is a line duty of %v %% and lies in a reserved window: choose a command outside", i+1, x, c.LineDuty(x))
		}
	}
}

func (d *decoder) checkGood(root *strict.Node, f *file) {
	if len(f.Good) != f.Learned.Units {
		d.Add(root.At("learned", "units").Place, "units says %d, but the file holds %d [[good]] tables: they must agree, one a unit", f.Learned.Units, len(f.Good))
	}
	units, traces := map[string]int{}, map[string]int{}
	unitOf := map[string]string{} // of each named value
	first := map[string]string{}  // the good unit that had it first
	for i, g := range f.Good {
		n := root.At("good", i)
		if !strict.IsPlain(g.Unit) {
			d.Add(n.At("unit").Place, "unit is %q: give the unit a name of visible characters, at most %d", strict.Clip(g.Unit), strict.MaxName)
		}
		if j, twice := units[g.Unit]; twice {
			d.Add(n.At("unit").Place, "unit %q stands twice, first as [[good]] number %d: each good unit counts once, remove one", strict.Clip(g.Unit), j+1)
		}
		units[g.Unit] = i
		if g.Trace != "" {
			if !isHash(g.Trace) {
				d.Add(n.At("trace").Place, "trace is %q: it must be a SHA-256 in 64 small hex digits", strict.Clip(g.Trace))
			} else if j, twice := traces[g.Trace]; twice {
				d.Add(n.At("trace").Place, "this trace is that of [[good]] number %d too: each unit needs a trace of its own", j+1)
			}
			traces[g.Trace] = i
		}
		if len(g.Up) != len(f.Learned.Grid) {
			d.Add(n.At("up").Place, "up holds %d currents, but the grid has %d duties: they must agree, with a dash where not measured", len(g.Up), len(f.Learned.Grid))
		}
		if g.Down != nil && len(g.Down) != len(f.Learned.Grid) {
			d.Add(n.At("down").Place, "down holds %d currents, but the grid has %d duties: they must agree, or leave down out", len(g.Down), len(f.Learned.Grid))
		}
		for _, v := range g.Values {
			if u, seen := unitOf[v.Name]; seen && u != v.Unit {
				d.Add(n.At("values", v.Name).Place, "%s is %s here but %s for unit %q: use one unit", strict.ShownKey(v.Name), named(v.Unit), named(u), first[v.Name])
			} else if !seen {
				unitOf[v.Name], first[v.Name] = v.Unit, g.Unit
			}
		}
	}
}

func named(unit string) string {
	if unit == "" {
		return "without unit"
	}
	return fmt.Sprintf("in %q", unit)
}

func (d *decoder) checkStated(root *strict.Node, f *file) {
	seen := map[string]bool{}
	for i, s := range f.Stated {
		n := root.At("limit", i)
		if !strict.IsPlain(s.Finding) {
			d.Add(n.At("finding").Place, "finding is %q: give the name of a finding, visible characters, at most %d", strict.Clip(s.Finding), strict.MaxName)
		}
		if seen[s.Finding] {
			d.Add(n.At("finding").Place, "a limit for %q stands twice: remove one", strict.Clip(s.Finding))
		}
		seen[s.Finding] = true
		switch {
		case s.Low == nil && s.High == nil:
			d.Add(n.Place, "the limit has neither low nor high: give one or both")
		case s.Low != nil && math.IsNaN(s.Low.X):
			d.Add(n.At("low").Place, "low is no number: leave it out where there is no limit")
		case s.High != nil && math.IsNaN(s.High.X):
			d.Add(n.At("high").Place, "high is no number: leave it out where there is no limit")
		case s.Low == nil || s.High == nil:
		case s.Low.Unit != s.High.Unit:
			d.Add(n.At("high").Place, "high is %s but low %s: use one unit", named(s.High.Unit), named(s.Low.Unit))
		case s.Low.X > s.High.X:
			d.Add(n.At("low").Place, "low, %v, is above high, %v: exchange them", s.Low.X, s.High.X)
		}
	}
}
