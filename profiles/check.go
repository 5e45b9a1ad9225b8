package profiles

import (
	"fmt"
	"math"
	"regexp"
	"time"
)

var namePattern = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)

// check holds the parts of a file against each other. What one value alone
// must satisfy stands in the tags.
func (d *decoder) check(root *node, f *file) {
	bad := func(format string, path []any, args ...any) { d.add(root.at(path...).place, format, args...) }
	if !namePattern.MatchString(f.Name) || len(f.Name) > maxName {
		bad("name is %q: use small letters, digits and single hyphens between them, such as \"aux-pump-20w\"", path("name"), clip(f.Name))
	}
	d.checkCommand(root.at("command"), f)
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
	if l := f.Limits; l.Time.Duration() == 0 {
		bad("time is below a nanosecond: give a time such as \"800 ms\"", path("limits", "time"))
	}
	if _, err := time.Parse(time.DateOnly, f.Learned.On); f.Learned.On != "" && err != nil {
		bad("on is %q: write the date as year-month-day, such as \"2026-03-31\"", path("learned", "on"), clip(f.Learned.On))
	}
	d.checkGrid(root, f)
	d.checkGood(root, f)
	d.checkStated(root, f)
}

func path(p ...any) []any { return p }

func (d *decoder) checkCommand(n *node, f *file) {
	c := f.Command
	if c.Wake <= c.Stop {
		d.add(n.at("wake").place, "wake is %v %%, not above stop, %v %%: both are commands, and wake must be the higher", float64(c.Wake), float64(c.Stop))
	}
	if c.Full < c.Wake {
		d.add(n.at("full").place, "full is %v %%, below wake, %v %%: it must be at least that", float64(c.Full), float64(c.Wake))
	}
	for i, w := range c.Reserved {
		at := n.at("reserved", i).place
		switch {
		case w.From_pct < 0 || w.To_pct > 100:
			d.add(at, "the window reaches beyond 0 %% to 100 %%: line duty cannot")
		case w.From_pct == w.To_pct:
			d.add(at, "the window is empty: its ends must differ, such as \"0 %% to 5 %%\"")
		case i > 0 && w.From_pct < c.Reserved[i-1].To_pct:
			d.add(at, "the window begins below the end of the one before: list windows in rising order without overlap")
		}
	}
	if len(c.Law) == 0 {
		return
	}
	law := n.at("law")
	if len(c.Law) < 2 || c.Law[0].Line != 0 || c.Law[len(c.Law)-1].Line != 100 {
		d.add(law.place, "the law must lead from line = \"0 %%\" to line = \"100 %%\" with at least these two points")
	}
	for i := 1; i < len(c.Law); i++ {
		a, b := c.Law[i-1], c.Law[i]
		if b.Line <= a.Line {
			d.add(law.at(i, "line").place, "line is %v %%, not above the point before, %v %%: points must rise in line duty", float64(b.Line), float64(a.Line))
		}
		if c.Inverted && b.Command > a.Command {
			d.add(law.at(i, "command").place, "command rises from %v %% to %v %% although inverted = true: it must fall, or inverted be false", float64(a.Command), float64(b.Command))
		}
		if !c.Inverted && b.Command < a.Command {
			d.add(law.at(i, "command").place, "command falls from %v %% to %v %% although inverted is not true: it must rise, or inverted be true", float64(a.Command), float64(b.Command))
		}
	}
}

// checkGrid holds the grid and the full command against the reserved windows.
func (d *decoder) checkGrid(root *node, f *file) {
	c := f.profile().Command
	reserved := func(command float64) bool {
		line := c.LineDuty(command)
		return command != c.Stop_pct && c.Reserves(line)
	}
	if len(d.list) > 0 {
		return // a broken law has no line duties
	}
	if reserved(c.Full_pct) {
		d.add(root.at("command", "full").place, "full, %v %%, is a line duty of %v %% and lies in a reserved window: choose a command outside", c.Full_pct, c.LineDuty(c.Full_pct))
	}
	at := root.at("learned", "grid").place
	for i, x := range f.Learned.Grid {
		switch {
		case math.IsNaN(x):
			d.add(at, "value %d of grid is not measured: the grid needs every duty", i+1)
		case i > 0 && x <= f.Learned.Grid[i-1]:
			d.add(at, "grid does not rise at value %d, %v %%: list duties from low to high, each once", i+1, x)
		case reserved(x):
			d.add(at, "value %d of grid, %v %%, is a line duty of %v %% and lies in a reserved window: choose a command outside", i+1, x, c.LineDuty(x))
		}
	}
}

func (d *decoder) checkGood(root *node, f *file) {
	if len(f.Good) != f.Learned.Units {
		d.add(root.at("learned", "units").place, "units says %d, but the file holds %d [[good]] tables: they must agree, one a unit", f.Learned.Units, len(f.Good))
	}
	units, traces := map[string]int{}, map[string]int{}
	unitOf := map[string]string{} // of each named value
	first := map[string]string{}  // the good unit that had it first
	for i, g := range f.Good {
		n := root.at("good", i)
		if !isPlain(g.Unit) {
			d.add(n.at("unit").place, "unit is %q: give the unit a name of visible characters, at most %d", clip(g.Unit), maxName)
		}
		if j, twice := units[g.Unit]; twice {
			d.add(n.at("unit").place, "unit %q stands twice, first as [[good]] number %d: each good unit counts once, remove one", clip(g.Unit), j+1)
		}
		units[g.Unit] = i
		if g.Trace != "" {
			if !isHash(g.Trace) {
				d.add(n.at("trace").place, "trace is %q: it must be a SHA-256 in 64 small hex digits", clip(g.Trace))
			} else if j, twice := traces[g.Trace]; twice {
				d.add(n.at("trace").place, "this trace is that of [[good]] number %d too: each unit needs a trace of its own", j+1)
			}
			traces[g.Trace] = i
		}
		if len(g.Up) != len(f.Learned.Grid) {
			d.add(n.at("up").place, "up holds %d currents, but the grid has %d duties: they must agree, with a dash where not measured", len(g.Up), len(f.Learned.Grid))
		}
		if g.Down != nil && len(g.Down) != len(f.Learned.Grid) {
			d.add(n.at("down").place, "down holds %d currents, but the grid has %d duties: they must agree, or leave down out", len(g.Down), len(f.Learned.Grid))
		}
		for _, v := range g.Values {
			if u, seen := unitOf[v.Name]; seen && u != v.Unit {
				d.add(n.at("values", v.Name).place, "%s is %s here but %s for unit %q: use one unit", shownKey(v.Name), named(v.Unit), named(u), first[v.Name])
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

func (d *decoder) checkStated(root *node, f *file) {
	seen := map[string]bool{}
	for i, s := range f.Stated {
		n := root.at("limit", i)
		if !isPlain(s.Finding) {
			d.add(n.at("finding").place, "finding is %q: give the name of a finding, visible characters, at most %d", clip(s.Finding), maxName)
		}
		if seen[s.Finding] {
			d.add(n.at("finding").place, "a limit for %q stands twice: remove one", clip(s.Finding))
		}
		seen[s.Finding] = true
		switch {
		case s.Low == nil && s.High == nil:
			d.add(n.place, "the limit has neither low nor high: give one or both")
		case s.Low != nil && math.IsNaN(s.Low.X):
			d.add(n.at("low").place, "low is no number: leave it out where there is no limit")
		case s.High != nil && math.IsNaN(s.High.X):
			d.add(n.at("high").place, "high is no number: leave it out where there is no limit")
		case s.Low == nil || s.High == nil:
		case s.Low.Unit != s.High.Unit:
			d.add(n.at("high").place, "high is %s but low %s: use one unit", named(s.High.Unit), named(s.Low.Unit))
		case s.Low.X > s.High.X:
			d.add(n.at("low").place, "low, %v, is above high, %v: exchange them", s.Low.X, s.High.X)
		}
	}
}
