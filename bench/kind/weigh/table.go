package weigh

import (
	"math"
	"slices"
	"strings"

	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/profiles"
)

// Table is the checks of one test.
type Table struct {
	Checks    []*Check
	Yardstick Yardstick
	// Detail is the kind's own, for the looks of its modes.
	Detail any

	measured *kind.Measured
	conds    kind.Conditions
}

// Hold holds the measurements of a test against a profile by rules, in their
// order. extra is how many findings beside them share the rate of refusals, such
// as those of a curve.
func Hold(m *kind.Measured, p *profiles.Profile, c kind.Conditions, rules []Rule, extra int) *Table {
	t := &Table{Yardstick: NewYardstick(m.Trace, p, c), measured: m, conds: c}
	for _, r := range rules {
		k := r.Hold(m.Get(r.Name), t.Yardstick, t.Share(rules, extra))
		t.Add(k)
	}
	return t
}

// Share is the m of Rule.Hold: how many findings share the rate.
func (t *Table) Share(rules []Rule, extra int) float64 {
	n := extra
	for _, r := range rules {
		if v := t.measured.Get(r.Name); v != nil && v.Missing == "" && !r.Count {
			n++
		}
	}
	return float64(max(n, 1))
}

// Add puts a check at the end.
func (t *Table) Add(k Check) *Check {
	if k.Hollow {
		k.Note = strings.TrimPrefix(k.Note+"; "+kind.HollowWords, "; ")
	}
	t.Checks = append(t.Checks, &k)
	return &k
}

// Get finds a check by name; nil when there is none.
func (t *Table) Get(name string) *Check {
	i := slices.IndexFunc(t.Checks, func(k *Check) bool { return k.Name == name })
	if i < 0 {
		return nil
	}
	return t.Checks[i]
}

// Z is the distance of a check; 0 when it was not measured.
func (t *Table) Z(name string) float64 {
	if k := t.Get(name); k.Measured() {
		return k.Z
	}
	return 0
}

// Value is that of a check; NaN when it was not measured.
func (t *Table) Value(name string) float64 {
	if k := t.Get(name); k.Measured() {
		return *k.Value
	}
	return math.NaN()
}

// Assessment is what the checks alone say; causes come by Conclude. needed says
// of a core finding that was not measured whether its lack counts in the state
// that the unit is in; nil: always.
func (t *Table) Assessment(notTested []string) *kind.Assessment {
	p := t.Yardstick.Profile
	a := &kind.Assessment{NotTested: notTested, Chance: 1, Refusal: RefusalOf(p, t.rules())}
	OtherPart(t.measured.Trace, p, a)
	for _, k := range t.Checks {
		a.Findings = append(a.Findings, k.Finding)
		a.Chance = min(a.Chance, k.Chance)
		if k.Hollow {
			a.Hollow = append(a.Hollow, k.Name)
		}
		_, stated := Stated(p, k.Name)
		if k.Rule.Core && k.Result == result.NotMeasured && (len(p.Good) > 0 || k.Low != nil || k.High != nil || stated) {
			a.Lacking = append(a.Lacking, "not measured: "+Words(k.Name)+" ("+k.Note+")")
		}
	}
	if len(p.Good) == 0 && len(p.Stated) == 0 {
		a.Lacking = append(a.Lacking, "profile "+p.Name+" holds neither good units nor stated limits")
	}
	return a
}

func (t *Table) rules() (rs []Rule) {
	for _, k := range t.Checks {
		rs = append(rs, k.Rule)
	}
	return rs
}

// RefusalOf is the rate at which a test by such rules refuses good units, at
// most: what is shared out, and what counts add that differ between good units.
func RefusalOf(p *profiles.Profile, rules []Rule) float64 {
	if len(p.Good) == 0 {
		return 0 // limits stated by hand say nothing of good units
	}
	rate := Refusal
	for _, r := range rules {
		if good := Values(p, r.Name); r.Count && len(good) > 0 && slices.Max(good) > slices.Min(good) {
			rate += 1 / float64(len(good)+1)
		}
	}
	return rate
}

// Words is a finding's name as people write it.
func Words(name string) string { return strings.ReplaceAll(name, "_", " ") }
