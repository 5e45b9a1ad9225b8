package learn

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/stat"
)

// nineOfTen is the normal quantile for nine units in ten.
var nineOfTen = stat.Normal(0.9)

// shift is a change of the curve by a factor: in full at one end of the
// duties, fading in proportion to none at the other.
type shift struct {
	at, none float64 // duties, %
}

// on is the curve of a measurement changed by exp(size) where the shift is
// largest.
func (s shift) on(m *kind.Measured, size float64) *kind.Measured {
	c := *m
	c.Curve = slices.Clone(m.Curve)
	for i := range c.Curve {
		q := &c.Curve[i]
		q.Current = q.Current.Scale(math.Exp(size * (q.Duty_pct - s.none) / (s.at - s.none)))
	}
	return &c
}

// detection is what it takes for a shift to be refused, as learned and with
// twice as many units of the same spread.
type detection struct {
	limit, limitMore float64 // standard deviations of good units at the limit
	size, sizeMore   float64 // logarithm of the factor that is refused in nine of ten units
}

// prober holds a mean good unit against the profile, as the judge would.
type prober struct {
	k       kind.Kind
	mean    *kind.Measured
	p, more *profiles.Profile // as learned, and with every good unit twice
	// findings of the mean good unit under both
	still, stillMore *kind.Assessment
}

// newProber makes the mean good unit from the measurement of one and the means
// of the rows; nil when a curve of three duties does not come of it.
func newProber(units []measured, p *profiles.Profile, k kind.Kind) *prober {
	m := *units[0].m[0]
	m.Curve = nil
	for _, q := range units[0].m[0].Curve {
		if x := meanAt(p, q); x > 0 {
			q.Current = q.Current.Scale(x / q.Current.Value)
			q.Supply_V = math.NaN() // the rows are at their own supply
			m.Curve = append(m.Curve, q)
		}
	}
	if len(m.Curve) < 3 {
		return nil
	}
	more := *p
	more.Good = slices.Concat(p.Good, p.Good)
	return &prober{k: k, mean: &m, p: p, more: &more, still: k.Assess(&m, p, kind.Conditions{}), stillMore: k.Assess(&m, &more, kind.Conditions{})}
}

// meanAt is the geometric mean of the good units at a plateau, NaN when the
// grid or the rows do not hold it.
func meanAt(p *profiles.Profile, q kind.Point) float64 {
	i := slices.IndexFunc(p.Grid, func(d float64) bool { return math.Abs(d-q.Duty_pct) <= near })
	if i < 0 || !(q.Current.Value > 0) {
		return math.NaN()
	}
	var logs []float64
	for _, g := range p.Good {
		row := g.Up
		if !q.Up && g.Down != nil {
			row = g.Down
		}
		if row[i] > 0 {
			logs = append(logs, math.Log(row[i]))
		}
	}
	if len(logs) == 0 {
		return math.NaN()
	}
	return math.Exp(stat.Mean(logs))
}

// largest change that is looked for: to 4.5 times, or 22 %.
const largest = 1.5

// probe is the size of the shift that is tried, as a logarithm: inside every
// limit, as no profile takes good units to differ by less than half of a per
// cent, and far beyond rounding.
const probe = 0.01

// find looks for the size from which on a shift is refused in nine of ten
// units; ok is false when nothing in the profile refuses it. Findings go with
// the logarithm of the shift in proportion, so one small shift tells which comes
// to its limit first and where. There a mean unit would be refused in half of
// the cases; other units lie about it as they spread.
func (r *prober) find(s shift, sign float64) (d detection, ok bool) {
	var at result.Finding // that decides
	var part float64      // how much of the way to its limit it has gone
	moved := s.on(r.mean, probe*sign)
	for _, f := range r.k.Assess(moved, r.p, kind.Conditions{}).Findings {
		if t := reach(f, named(r.still, f.Name), sign); t > part && f.Spread != nil && *f.Spread != 0 {
			part, at = t, f
		}
	}
	if part*largest < probe {
		return d, false
	}
	n := float64(len(r.p.Good))
	perSpread := probe * sign / math.Abs(*at.Spread)
	need := func(limit, n float64) float64 { return perSpread * (limit + nineOfTen*math.Sqrt(1+1/n)) }
	d.limit = math.Abs(*at.Spread) / part
	d.limitMore = d.limit
	f := named(r.k.Assess(moved, r.more, kind.Conditions{}), at.Name)
	if t := reach(f, named(r.stillMore, at.Name), sign); t > 0 && f.Spread != nil {
		d.limitMore = math.Abs(*f.Spread) / t
	}
	d.size, d.sizeMore = need(d.limit, n), need(d.limitMore, 2*n)
	return d, true
}

// looks says that any finding at all changes with the curve.
func (r *prober) looks(s shift) bool {
	return slices.ContainsFunc(r.k.Assess(s.on(r.mean, probe), r.p, kind.Conditions{}).Findings, func(f result.Finding) bool {
		was := named(r.still, f.Name)
		return f.Value != nil && was.Value != nil && *f.Value != *was.Value
	})
}

// reach is how much of the way from where a finding was to its limit a shift up
// or down has moved it; 0 when it has no limit on that side.
func reach(f, was result.Finding, sign float64) float64 {
	if f.Value == nil || was.Value == nil {
		return 0
	}
	limit := f.High
	if *f.Value < *was.Value {
		limit = f.Low
	}
	if limit == nil {
		return 0
	}
	scale := func(x float64) float64 { return x }
	if f.Unit == "%" {
		// Per cent of current, counted up or down: the logarithm of the factor.
		scale = func(x float64) float64 { return math.Copysign(math.Log1p(max(-1, sign*math.Abs(x)/100)), x) }
	}
	t := (scale(*f.Value) - scale(*was.Value)) / (scale(*limit) - scale(*was.Value))
	if !(t > 0) || math.IsInf(t, 0) {
		return 0
	}
	return t
}

func named(a *kind.Assessment, name string) result.Finding {
	for _, f := range a.Findings {
		if f.Name == name {
			return f
		}
	}
	return result.Finding{}
}

// support says which changes of the curve the profile refuses, and what more
// units would do for that.
func support(units []measured, p *profiles.Profile, k kind.Kind) []string {
	r := newProber(units, p, k)
	if r == nil {
		return nil
	}
	low, full := p.Grid[0], p.Grid[len(p.Grid)-1]
	now, later := make([]string, 0, 2), make([]string, 0, 2)
	limits := []float64{}
	with := []float64{}
	for _, s := range []shift{{low, full}, {full, low}} {
		var sizes, more []string
		for _, sign := range []float64{1, -1} {
			d, ok := r.find(s, sign)
			if !ok {
				continue
			}
			word := map[float64]string{1: "too high", -1: "too low"}[sign]
			sizes = append(sizes, fmt.Sprintf("%.2g %% %s", 100*math.Abs(math.Expm1(d.size)), word))
			more = append(more, fmt.Sprintf("%.2g %% %s", 100*math.Abs(math.Expm1(d.sizeMore)), word))
			limits, with = append(limits, d.limit), append(with, d.limitMore)
		}
		if len(sizes) > 0 {
			now = append(now, fmt.Sprintf("%s at %g %% duty, fading to nothing at %g %%", strings.Join(sizes, " or "), s.at, s.none))
			later = append(later, fmt.Sprintf("%s at %g %% duty", strings.Join(more, " or "), s.at))
		}
	}
	if len(now) == 0 && !r.looks(shift{low, full}) && !r.looks(shift{full, low}) {
		return nil // the kind holds its units to other things
	}
	if len(now) == 0 {
		return []string{"No change of the curve alone is refused by this profile."}
	}
	n := len(p.Good)
	return []string{
		fmt.Sprintf("In nine of ten units the test refuses a current that is %s. What is smaller may pass.", strings.Join(now, ", and ")),
		fmt.Sprintf("Its limits there lie %s standard deviations out. With %d units of the same spread they would lie at %s, and refuse %s.", span(limits), 2*n, span(with), strings.Join(later, ", and ")),
	}
}

// span is the range of some numbers in words.
func span(xs []float64) string {
	low, high := fmt.Sprintf("%.1f", slices.Min(xs)), fmt.Sprintf("%.1f", slices.Max(xs))
	if low == high {
		return low
	}
	return low + " to " + high
}
