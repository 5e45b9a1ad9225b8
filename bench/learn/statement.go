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

// statement is what the sentences of a profile are made from.
type statement struct {
	units  []measured
	p      *profiles.Profile
	k      kind.Kind
	rep    *Report
	o      Options
	seen   circumstances
	supply supply
}

// sentences say what so few units support and what they cannot.
func (s statement) sentences() []string {
	n := len(s.units)
	out := []string{
		fmt.Sprintf("Learned from %d distinct units. The range of %d units covers at least %.0f %% of good units with %s %% confidence (distribution-free).",
			n, n, 100*stat.RangeCoverage(n, s.o.Confidence), percent(s.o.Confidence)),
		fmt.Sprintf("A tolerance interval, for %s %% of good units in one quantity with %s %% confidence, lies %.2f standard deviations about the mean of %d units (%.2f of endless many); the judge's limits are prediction limits, for one more unit in all quantities together at a stated rate of refusals, and lie where that rate puts them.",
			percent(s.o.Coverage), percent(s.o.Confidence), stat.K2(n, s.o.Coverage, s.o.Confidence), n, stat.Normal((1+s.o.Coverage)/2)),
	}
	if n < Provisional {
		out = append(out, fmt.Sprintf("Provisional: under %d units the limits are wide, and a faulty unit may lie within them.", Provisional))
	}
	out = append(out, s.notNormal()...)
	out = append(out, s.seen.sentences(s.o.Like, kind.Wet(s.k))...)
	out = append(out, s.supply.sentences(n)...)
	refused, why := leaveOneOut(s.units, s.p, s.k)
	s.rep.Refused = refused
	low, high := stat.ClopperPearson(refused, n, 0.95)
	out = append(out, fmt.Sprintf("Each unit judged by the others: %d of %d refused (95 %% interval %.1f to %.1f %%).%s", refused, n, 100*low, 100*high, why))
	out = append(out, scatter(n, s.k.Assess(s.units[0].m[0], s.p, kind.Conditions{}).Refusal))
	out = append(out, support(s.units, s.p, s.k)...)
	for _, w := range s.rep.Unusual {
		out = append(out, fmt.Sprintf("Unusual, and kept (Grubbs, %.0f %% over all quantities): %s.", 100*falsely, w))
	}
	for _, w := range s.rep.LeftOut {
		out = append(out, "Not learned from: "+w+".")
	}
	return out
}

// percent is a share for people, such as 95 or 99.9.
func percent(share float64) string { return fmt.Sprintf("%.4g", 100*share) }

// notNormal names what does not spread as the limits take it to.
func (s statement) notNormal() []string {
	var names []string
	spread := 0
	for _, v := range s.rep.Intervals {
		if v.Unit == "" || v.SD <= floor(v.Unit, v.Mean) {
			continue // a count, or alike in all units but for what no bench repeats
		}
		spread++
		if v.K == 0 {
			names = append(names, v.Quantity)
		}
	}
	if len(names) == 0 {
		return nil
	}
	return []string{fmt.Sprintf("Not normal (Anderson-Darling, 1 %%): %s, %d of %d quantities. Their tolerance interval is their range, with the coverage it has; the judge's limits take them for normal.", list(names), len(names), spread)}
}

// scatter says how well so many units tell a spread: s·√((n−1)/χ²) of a normal
// sample (NIST/SEMATECH e-Handbook 7.2.3), and what that means for the rate at
// which the judge refuses good units, 0 when the kind does not state it.
func scatter(n int, rate float64) string {
	dof := float64(n - 1)
	stated := ""
	if rate > 0 {
		stated = fmt.Sprintf(" (%.2g %%)", 100*rate)
	}
	return fmt.Sprintf("%d units tell the spread of all good ones only to between %.2f and %.2f times what they show (95 %%, normal): the rate at which the judge refuses good units%s is a mean over many learnings, and this profile's own may lie above or below it.",
		n, math.Sqrt(dof/stat.ChiSquare(0.975, dof)), math.Sqrt(dof/stat.ChiSquare(0.025, dof)), stated)
}

// leaveOneOut holds each unit's traces against the other units and counts those
// that would not all pass.
func leaveOneOut(units []measured, p *profiles.Profile, k kind.Kind) (refused int, why string) {
	for i, u := range units {
		q := *p
		q.Good = slices.Delete(slices.Clone(p.Good), i, i+1)
		for _, m := range u.m {
			if a := k.Assess(m, &q, kind.Conditions{}); !a.Flawless() {
				refused++
				why += fmt.Sprintf(" Unit %s by %s.", u.unit, strings.Join(flaws(a), ", "))
				break
			}
		}
	}
	return refused, why
}

// flaws names what speaks against a pass.
func flaws(a *kind.Assessment) []string {
	out := slices.Clone(a.Lacking)
	for _, f := range a.Findings {
		if refuses(f) {
			out = append(out, f.Name+against(f))
		}
	}
	if len(out) == 0 {
		out = append(out, a.Seen)
	}
	return out
}

func refuses(f result.Finding) bool { return f.Result == result.Failed || f.Result == result.Doubtful }

// against is a value beside the limit that it is beyond.
func against(f result.Finding) string {
	if f.Value == nil {
		return ""
	}
	switch {
	case f.High != nil && *f.Value > *f.High:
		return strings.TrimSuffix(fmt.Sprintf(" (%.4g, at most %.4g %s", *f.Value, *f.High, f.Unit), " ") + ")"
	case f.Low != nil && *f.Value < *f.Low:
		return strings.TrimSuffix(fmt.Sprintf(" (%.4g, at least %.4g %s", *f.Value, *f.Low, f.Unit), " ") + ")"
	}
	return ""
}
