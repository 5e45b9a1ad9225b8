package weigh

import (
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// Sources of uncertainty that the bench itself states in a trace.
const (
	GainSource   = "converter gain and shunt"
	OffsetSource = "converter offset after the zero"
	// RemountSource is found by a gauge study of the bench.
	RemountSource = "refilling and remounting, by a gauge study"
	OtherGain     = "gain of the benches that measured the good units"
)

// Yardstick is what findings are held with: a profile, the rule of a purpose,
// and whether the trace comes from a bench that the good units were measured
// on. What all measurements of one bench share, such as its gain, is in the
// limits learned there; on another bench it counts, and so does that of the
// benches learned on.
type Yardstick struct {
	Profile   *profiles.Profile
	Purpose   kind.Purpose
	Elsewhere bool
	// studied is what a gauge study of the bench found, by finding.
	studied map[string]kind.Gauge
}

// NewYardstick is the yardstick of a test: its trace says which bench it ran on
// and what a gauge study found there.
func NewYardstick(tr *trace.Trace, p *profiles.Profile, c kind.Conditions) Yardstick {
	rig, known := tr.Get(trace.KeyRig)
	return Yardstick{Profile: p, Purpose: c.Purpose, studied: kind.GaugesOf(tr),
		Elsewhere: known && len(p.Learned.Rigs) > 0 && !slices.Contains(p.Learned.Rigs, rig)}
}

// LearnedGain is the relative standard uncertainty of the gain behind the good
// units' currents, on a bench that is none of theirs.
func (y Yardstick) LearnedGain() float64 {
	if !y.Elsewhere {
		return 0
	}
	return y.Profile.Learned.GainU / math.Sqrt(float64(len(y.Profile.Learned.Rigs)))
}

// Local is a current or charge as this yardstick sees it: on another bench,
// the gain of those that the profile was learned on is in the comparison too.
func (y Yardstick) Local(v *kind.Value) stat.Quantity {
	if g := y.LearnedGain(); g > 0 && (v.Unit == "A" || v.Unit == "C") {
		return v.Q.WithShared(OtherGain, g*math.Abs(v.Q.Value))
	}
	return v.Q
}

// Counts are the standard uncertainties of a quantity in the comparison: what
// is its own, and what it shares with its bench where that does not cancel.
func (y Yardstick) Counts(q stat.Quantity) (own, shared float64) {
	own, shared = q.Split()
	if !y.Elsewhere {
		shared = 0
	}
	return own, shared
}

// Hold finishes a check: value with expanded uncertainty, budget, and the
// outcome by the purpose's rule. spread is the standard deviation of good
// units, which holds one measurement's own uncertainty; NaN when the limits
// were stated by hand and hold none.
func (y Yardstick) Hold(c *Check, q stat.Quantity, spread, low, high float64) {
	x := q.Value
	c.Value = &x
	mine, shared := y.Counts(q)
	scatter, beside, dof := y.scatter(c.Name, q, spread)
	if whole := scatter.of(q); len(whole.Budget) > 0 {
		e, k := whole.Expanded(level95)
		c.Uncertainty, c.K = Finite(e), k
	}
	held := 0.0
	if !math.IsNaN(spread) {
		// The good units' spread holds what their measurements were unsure of.
		// How much that was is known where learning kept it; else the spread
		// itself bounds it.
		held = spread
		if u, ok := Own(y.Profile, c.Name); ok {
			held = u
		}
	}
	beyond := math.Hypot(math.Hypot(math.Sqrt(max(0, mine*mine-held*held)), shared), beside)
	for _, b := range q.Budget {
		if math.IsInf(b.DoF, 0) {
			b.DoF = 0 // known without limit
		}
		if math.IsInf(b.U, 0) {
			continue // nothing is known of it; the uncertainty is left out whole
		}
		c.Budget = append(c.Budget, result.Part{Source: b.Source, U: b.U, DoF: b.DoF,
			Contained: b.Shared && !y.Elsewhere || !b.Shared && held >= mine})
	}
	c.Budget = append(c.Budget, scatter...)
	c.Low, c.High = Finite(low), Finite(high)
	if c.Low == nil && c.High == nil {
		c.Result = result.Passed
		return
	}
	if !math.IsInf(beyond, 0) {
		c.Guard = beyond
	}
	// What the study is unsure of its own figures widens the guard band.
	band := beyond
	if beside > 0 && !math.IsInf(beyond, 0) {
		band *= kind.Widen(dof * math.Pow(beyond/beside, 4))
	}
	c.Result = y.Purpose.Decide(x, band, low, high)
	if c.Hollow = kind.Hollow(beside*kind.Widen(dof), low, high, c.Middle); c.Hollow {
		c.Result = kind.DecideHollow(x, band, low, high)
	}
	if band > 0 && !math.IsInf(band, 0) {
		c.Conformity = Finite(stat.Conformance(x, band, kind.OrEndless(low, -1), kind.OrEndless(high, 1)))
	}
}

// Own is the standard uncertainty that good units' measurements had of their
// own, where the profile keeps it.
func Own(p *profiles.Profile, name string) (u float64, ok bool) {
	return profiles.GoodUnit{Values: p.Learned.Own}.Get(name)
}

// level95 is the level of expanded uncertainties (JCGM 100:2008, 6.3.3).
const level95 = 0.95

// Gains adds to the currents of a measurement what the bench says of its own
// errors, where it says it.
func Gains(tr *trace.Trace, m *kind.Measured) {
	g, stated := tr.Number(trace.KeyCurrentGainU)
	offset, _ := tr.Number(trace.KeyCurrentOffsetU)
	volt, _ := tr.Number(trace.KeyVoltageGainU)
	for i := range m.Values {
		v := &m.Values[i]
		if v.Missing != "" {
			continue
		}
		switch v.Unit {
		case "A", "C":
			v.Q = WithBench(v.Q, GainSource, g*math.Abs(v.Q.Value))
		case "V":
			v.Q = WithBench(v.Q, "converter and divider of the voltage", volt*math.Abs(v.Q.Value))
		case "ohm":
			v.Q = WithBench(v.Q, "gains of current and voltage", math.Hypot(g, volt)*math.Abs(v.Q.Value))
		}
		if v.Unit == "A" && offset > 0 {
			v.Q = v.Q.With(OffsetSource, offset, 0)
		}
	}
	for i := range m.Curve {
		q := &m.Curve[i].Current
		*q = WithBench(*q, GainSource, g*math.Abs(q.Value))
		if offset > 0 {
			*q = q.With(OffsetSource, offset, 0)
		}
	}
	if !stated {
		m.Warnings = append(m.Warnings, "the trace does not say how accurate its current reading is: uncertainties cover noise, resolution and settling only")
	}
}

// WithBench adds an error of the bench that all its measurements share.
func WithBench(q stat.Quantity, source string, u float64) stat.Quantity {
	if u == 0 {
		return q
	}
	return q.WithShared(source, u)
}
