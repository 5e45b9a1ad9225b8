package stat

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Variation is a one-way analysis of variance: how much groups differ from
// each other against the scatter within them.
type Variation struct {
	BetweenSS, WithinSS   float64
	BetweenDoF, WithinDoF int
	// F is the ratio of the mean squares, +Inf without scatter within.
	F float64
	// P is the probability of such an F or more when the groups are alike.
	P float64
	// R2 is the share of the sum of squares that lies between groups.
	R2 float64
	// WithinSD is the scatter within a group. BetweenSD is the scatter of the
	// groups' true means beyond it, 0 when the means differ no more than it
	// explains (sizes that differ are averaged as n0 of Satterthwaite).
	WithinSD, BetweenSD float64
}

// ANOVA compares groups of values, such as repeated tests of several units.
// It needs two groups or more and one group with two values or more.
func ANOVA(groups [][]float64) (Variation, error) {
	var v Variation
	var all Running
	var squares float64
	for i, g := range groups {
		if len(g) == 0 {
			return v, fmt.Errorf("stat: group %d is empty; leave it out", i)
		}
		squares += float64(len(g)) * float64(len(g))
		for _, x := range g {
			if !finite(x) {
				return v, fmt.Errorf("stat: group %d holds a value that is not finite; leave it out", i)
			}
			all.Add(x)
		}
	}
	n, k := all.N(), len(groups)
	if k < 2 || n <= k {
		return v, fmt.Errorf("stat: %d values in %d groups; comparing needs 2 groups or more, and more values than groups", n, k)
	}
	// Sums of squares about a common point that the values lie around: exact
	// differences where the leading digits are all alike (Sterbenz).
	centre := all.Mean()
	means := make([]float64, k)
	var grand float64
	for i, g := range groups {
		var within float64
		means[i], within = deviations(g, centre)
		v.WithinSS += within
		grand += float64(len(g)) * means[i]
	}
	grand /= float64(n)
	for i, g := range groups {
		d := means[i] - grand
		v.BetweenSS += float64(len(g)) * d * d
	}
	v.BetweenDoF, v.WithinDoF = k-1, n-k
	between := v.BetweenSS / float64(v.BetweenDoF)
	within := v.WithinSS / float64(v.WithinDoF)
	v.F = between / within
	v.R2 = v.BetweenSS / (v.BetweenSS + v.WithinSS)
	if !math.IsInf(v.F, 1) {
		v.P = distuv.F{D1: float64(v.BetweenDoF), D2: float64(v.WithinDoF)}.Survival(v.F)
	}
	v.WithinSD = math.Sqrt(within)
	n0 := (float64(n) - squares/float64(n)) / float64(k-1)
	v.BetweenSD = math.Sqrt(max(0, (between-within)/n0))
	return v, nil
}

// deviations is the mean of xs less a centre, and the sum of squares about
// that mean.
func deviations(xs []float64, centre float64) (mean, ss float64) {
	n := float64(len(xs))
	var sum, rest float64
	for _, x := range xs {
		sum += x - centre
	}
	mean = sum / n
	for _, x := range xs {
		d := (x - centre) - mean
		rest += d
		ss += d * d
	}
	return mean + rest/n, ss - rest*rest/n
}

// Outlier is the value of a sample that lies furthest from the mean.
type Outlier struct {
	Index int
	// G is its distance from the mean in standard deviations.
	G float64
	// Critical is what G exceeds with probability 1-confidence when all
	// values are normal.
	Critical float64
	// Found says that G is beyond Critical.
	Found bool
}

// Grubbs tests the furthest value of a normal sample, on either side
// (Grubbs 1969; e-Handbook 1.3.5.17.1). It is for one outlier: two can hide
// each other. Three values at least, not all equal.
func Grubbs(xs []float64, confidence float64) (Outlier, error) {
	if !share(confidence) {
		return Outlier{}, fmt.Errorf("stat: confidence %g is not between 0 and 1; use a fraction such as 0.95", confidence)
	}
	mean, sd := MeanSD(xs)
	if len(xs) < 3 || !(sd > 0) || !finite(sd) {
		return Outlier{}, fmt.Errorf("stat: looking for an outlier needs 3 finite values that are not all equal, got %d values", len(xs))
	}
	var o Outlier
	for i, x := range xs {
		if g := math.Abs(x-mean) / sd; g > o.G {
			o.Index, o.G = i, g
		}
	}
	o.Critical = GrubbsCritical(len(xs), (1+confidence)/2)
	o.Found = o.G > o.Critical
	return o, nil
}

// GrubbsCritical is the critical value of a one-sided test at the confidence:
// (n-1)/√n · √(t²/(n-2+t²)), t at 1-(1-confidence)/n with n-2 degrees of
// freedom. For a two-sided test give (1+confidence)/2.
func GrubbsCritical(n int, confidence float64) float64 {
	if n < 3 || !share(confidence) {
		return math.NaN()
	}
	nf := float64(n)
	t := StudentT((1-confidence)/nf, nf-2)
	return (nf - 1) / math.Sqrt(nf) * math.Sqrt(t*t/(nf-2+t*t))
}
