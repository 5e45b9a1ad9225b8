// Package learn makes a profile from the traces of known-good units.
package learn

import (
	"fmt"
	"iter"
	"math"
	"slices"
	"strings"

	"dutybench/bench/kind"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// Fewest is how many distinct units a profile needs; below Provisional it is
// marked so. The range of five units covers no more than 34 % of what good
// units do with 95 % confidence, that of ten 61 % (Wilks: 1 − n·p^(n−1) +
// (n−1)·p^n = 0.95).
const (
	Fewest      = 5
	Provisional = 10
)

// Options of one learning.
type Options struct {
	Name     string
	Revision int    // 0 is taken as 1
	On       string // date, ISO 8601
	Program  string
	// Like is a profile whose command, supply, limits, fixture and section are
	// taken over; nil: taken from the traces as far as they tell.
	Like *profiles.Profile
	// Coverage and Confidence of the tolerance intervals, fractions; 0 is
	// taken as Usual.
	Coverage, Confidence float64
}

// Usual is the coverage and the confidence of tolerance intervals where nobody
// says another (common practice, no source).
const Usual = 0.95

// Report says what was learned and what was left out.
type Report struct {
	Units   int
	LeftOut []string // which unit and why, one clause each
	// Unusual are units that lie far out in a quantity and were kept, one
	// clause each.
	Unusual []string
	// Refused is how many units the others' profile refuses.
	Refused   int
	Intervals []Interval
	Notes     []string
}

// measured is one unit: its measurements, over all its traces, as they are and
// as they would be at the supply of all units.
type measured struct {
	unit, sha string
	m, level  []*kind.Measured
	up, down  []float64
	values    []profiles.Value
}

// Learn measures every trace and writes down what the units do. Several
// traces of one unit count as one unit; a trace given twice counts once.
func Learn(traces []*trace.Trace, k kind.Kind, o Options) (*profiles.Profile, *Report, error) {
	rep := &Report{}
	for _, share := range []*float64{&o.Coverage, &o.Confidence} {
		if *share == 0 {
			*share = Usual
		}
		if !(*share > 0 && *share < 1) {
			return nil, nil, fmt.Errorf("learn: coverage and confidence are shares between 0 and 1, not %g: give such as 0.95", *share)
		}
	}
	units, err := gather(traces, k, o, rep)
	if err != nil {
		return nil, nil, err
	}
	if len(units) < Fewest {
		return nil, nil, fmt.Errorf("learn: %s given, and a profile needs %d distinct known-good units: measure more units (several traces of one unit count once)", count(len(units)), Fewest)
	}
	grid, err := commonGrid(units)
	if err != nil {
		return nil, nil, err
	}
	rows(units, grid, k, o.Like)
	units, rep.LeftOut = leaveOut(units, grid)
	// One stranger in six is a slip; more, and it is not clear which are the
	// strangers.
	if len(units) < Fewest || len(rep.LeftOut)*5 > len(units) {
		return nil, nil, fmt.Errorf("learn: the units do not agree with each other, so they cannot all be good ones of one type: %s: check them and give good ones only", strings.Join(rep.LeftOut, "; "))
	}
	supply := rows(units, grid, k, o.Like) // those left out count no more
	p := frame(units, k, o, rep)
	p.Grid = grid
	p.Good = goodUnits(units)
	rep.Units = len(units)
	p.Learned.Units, p.Learned.Provisional = len(units), len(units) < Provisional
	seen := look(units)
	seen.fill(&p.Learned)
	p.Learned.Own = ownUncertainty(units)
	rep.Unusual = unusual(quantities(p.Good, grid, k))
	rep.Intervals = Intervals(p, k, o.Coverage, o.Confidence)
	p.Learned.Statement = statement{units, p, k, rep, o, seen, supply}.sentences()
	return p, rep, nil
}

// goodUnits are the units' rows of a profile.
func goodUnits(units []measured) (out []profiles.GoodUnit) {
	for _, u := range units {
		out = append(out, profiles.GoodUnit{Unit: u.unit, Trace: u.sha, Up: u.up, Down: u.down, Values: u.values})
	}
	return out
}

func count(n int) string {
	if n == 1 {
		return "one unit was"
	}
	return fmt.Sprintf("%d units were", n)
}

// gather measures the traces and puts those of one unit together.
func gather(traces []*trace.Trace, k kind.Kind, o Options, rep *Report) ([]measured, error) {
	var units []measured
	seen := map[string]string{}
	as := o.Like
	if as == nil {
		stop, full := commandEnds(traces)
		as = &profiles.Profile{Command: profiles.Command{Stop_pct: stop, Full_pct: full}}
		if len(traces) > 0 {
			assumePosition(as, traces[0])
		}
		if as.Position.By != "" { // a kind without reads its own of no section
			as.Section = assumedSection(k, as.Command)
		}
	}
	for _, tr := range traces {
		if first, twice := seen[tr.SHA256]; twice && tr.SHA256 != "" {
			rep.Notes = append(rep.Notes, fmt.Sprintf("%s is the same recording as %s and counts once", tr.Source, first))
			continue
		}
		seen[tr.SHA256] = tr.Source
		if named, ok := tr.Get(trace.KeyKind); ok && named != "" && named != k.Name() {
			return nil, fmt.Errorf("learn: %s is a trace of a %s, and the others are of a %s: give traces of one kind", tr.Source, named, k.Name())
		}
		m, err := k.Measure(tr, as)
		if err != nil {
			return nil, fmt.Errorf("learn: %w", err)
		}
		if len(m.Curve) == 0 {
			return nil, fmt.Errorf("learn: %s holds no steady step of duty: a profile is learned from traces of whole sweeps", tr.Source)
		}
		name, ok := tr.Get(trace.KeyUnit)
		if !ok || name == "" {
			name = tr.Source
			rep.Notes = append(rep.Notes, fmt.Sprintf("%s does not say which unit it is and counts as a unit of its own", tr.Source))
		}
		i := slices.IndexFunc(units, func(u measured) bool { return u.unit == name })
		if i < 0 {
			units = append(units, measured{unit: name, sha: tr.SHA256})
			i = len(units) - 1
		}
		units[i].m, units[i].level = append(units[i].m, m), append(units[i].level, m)
	}
	return units, nil
}

// near is how far apart two duties may lie and be the same step, in per cent.
const near = 0.6

// commonGrid is the duties that every unit was measured at, rising.
func commonGrid(units []measured) ([]float64, error) {
	var grid []float64
	for _, q := range units[0].m[0].Curve {
		everywhere := q.Up
		for _, u := range units {
			everywhere = everywhere && !math.IsNaN(u.at(q.Duty_pct, true))
		}
		if everywhere && !slices.ContainsFunc(grid, func(d float64) bool { return math.Abs(d-q.Duty_pct) <= near }) {
			grid = append(grid, math.Round(q.Duty_pct*100)/100)
		}
	}
	slices.Sort(grid)
	// A unit that is only switched on and off has one duty; one that was swept
	// needs what a curve needs.
	need := 3
	if !slices.ContainsFunc(units[0].m[0].Curve, func(q kind.Point) bool { return math.Abs(q.Duty_pct-units[0].m[0].Curve[0].Duty_pct) > near }) {
		need = 1
	}
	if len(grid) < need {
		return nil, fmt.Errorf("learn: the units share only %d steps of duty, and a curve needs %d: run the same plan on all of them", len(grid), need)
	}
	return grid, nil
}

// at is the mean current of a unit's plateaus at a duty, NaN when it has none.
func (u measured) at(duty float64, up bool) float64 {
	var sum float64
	n := 0
	for q := range u.plateaus(duty, up) {
		sum += q.Current.Value
		n++
	}
	if n == 0 {
		return math.NaN()
	}
	return sum / float64(n)
}

// plateaus of a unit at a duty, in one direction, over all its traces.
func (u measured) plateaus(duty float64, up bool) iter.Seq[kind.Point] {
	return func(yield func(kind.Point) bool) {
		for _, m := range u.level {
			for _, q := range m.Curve {
				if q.Up == up && math.Abs(q.Duty_pct-duty) <= near && !yield(q) {
					return
				}
			}
		}
	}
}

// digits that a measured value is written with: a hundredth of what the best
// converter here resolves.
const digits = 6

// row fills the unit's row of a profile.
func (u *measured) row(grid []float64) {
	u.up, u.down, u.values = nil, nil, nil
	swept := false
	for _, d := range grid {
		u.up = append(u.up, round(u.at(d, true), digits))
		y := round(u.at(d, false), digits)
		swept = swept || !math.IsNaN(y)
		u.down = append(u.down, y)
	}
	if !swept {
		u.down = nil
	}
	for _, v := range u.level[0].Values { // a kind names all its values for every trace
		var xs []float64
		for _, m := range u.level {
			if w := m.Get(v.Name); w != nil && w.Missing == "" {
				xs = append(xs, w.Q.Value)
			}
		}
		if len(xs) > 0 {
			u.values = append(u.values, profiles.Value{Name: v.Name, X: stat.Mean(xs), Unit: v.Unit})
		}
	}
}

// ownUncertainty is what the measurements were unsure of by themselves, the
// median over the units, for those that had any.
func ownUncertainty(units []measured) (out []profiles.Value) {
	for _, v := range units[0].m[0].Values {
		if kind.Circumstance(v.Name) {
			continue
		}
		var us []float64
		for _, u := range units {
			for _, m := range u.m {
				if w := m.Get(v.Name); w != nil && w.Missing == "" {
					own, _ := w.Q.Split()
					us = append(us, own)
				}
			}
		}
		if m := stat.Median(us); len(us) > 0 && m > 0 && !math.IsInf(m, 0) {
			out = append(out, profiles.Value{Name: v.Name, X: round(m, 3), Unit: v.Unit})
		}
	}
	return out
}
