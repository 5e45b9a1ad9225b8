package learn

import (
	"fmt"
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/profiles"
	"dutybench/signal/stat"
)

// Interval is a tolerance interval: with the confidence asked for, it holds at
// least Coverage of all good units in one quantity.
type Interval struct {
	Quantity string // the value's name, or the duty and direction of a current
	Unit     string
	Units    int // good units that have it
	// Mean and SD of the units in Unit; where they spread in ratios, the
	// geometric mean, and the spread of logarithms times it.
	Mean, SD  float64
	Low, High float64
	Ratio     bool // the interval is one of ratios
	// K is how many standard deviations the ends lie from the mean; 0 for a
	// quantity that does not spread normally, whose ends are the smallest and
	// largest unit.
	K float64
	// Coverage is the share that it holds: as asked for with K, and else what
	// the range of so many units has, whatever their distribution.
	Coverage float64
}

// Basis says in words what the interval rests on.
func (v Interval) Basis() string {
	switch {
	case v.K == 0:
		return fmt.Sprintf("range of %d: covers %.0f %%", v.Units, 100*v.Coverage)
	case v.Ratio:
		return fmt.Sprintf("log-normal, k=%.2f", v.K)
	}
	return fmt.Sprintf("normal, k=%.2f", v.K)
}

// Intervals of every quantity of a profile's good units: the kind's values,
// then the currents at the duties of the grid, which spread in ratios. Those
// of the rows are as learned, brought to one supply where the type's
// regulation is known. Coverage and confidence are fractions, such as 0.95.
func Intervals(p *profiles.Profile, k kind.Kind, coverage, confidence float64) []Interval {
	var out []Interval
	factors := map[int]float64{} // of so many units
	for _, q := range quantities(p.Good, p.Grid, k) {
		if len(q.values) < 2 {
			continue
		}
		v := Interval{Quantity: q.name, Unit: q.unit, Units: len(q.values), Low: slices.Min(q.values), High: slices.Max(q.values)}
		xs, ratios := q.scale()
		mean, sd := stat.MeanSD(xs)
		v.Mean, v.SD = mean, sd
		if ratios {
			v.Mean, v.SD = math.Exp(mean), math.Exp(mean)*sd
		}
		if q.count || !normal(xs) {
			v.Coverage = stat.RangeCoverage(v.Units, confidence)
			out = append(out, v)
			continue
		}
		if factors[v.Units] == 0 {
			factors[v.Units] = stat.K2(v.Units, coverage, confidence)
		}
		v.Ratio, v.K, v.Coverage = ratios, factors[v.Units], coverage
		v.Low, v.High = mean-v.K*sd, mean+v.K*sd
		if ratios {
			v.Low, v.High = math.Exp(v.Low), math.Exp(v.High)
		}
		out = append(out, v)
	}
	return out
}

// quantity is what good units have in one value, or one duty of the curve.
type quantity struct {
	name, unit   string
	values       []float64
	of           []string // the unit of each value
	ratio, count bool
}

// scale is the values as they spread: their logarithms where they differ by
// ratios and all are above zero.
func (q quantity) scale() (xs []float64, ratios bool) {
	if !q.ratio || slices.Min(q.values) <= 0 {
		return q.values, false
	}
	for _, x := range q.values {
		xs = append(xs, math.Log(x))
	}
	return xs, true
}

// quantities of good units: each value that any of them has, then each duty.
func quantities(good []profiles.GoodUnit, grid []float64, k kind.Kind) []quantity {
	var out []quantity
	add := func(q quantity, get func(profiles.GoodUnit) (float64, bool)) {
		for _, g := range good {
			if x, ok := get(g); ok && !math.IsNaN(x) && !math.IsInf(x, 0) {
				q.values, q.of = append(q.values, x), append(q.of, g.Unit)
			}
		}
		if len(q.values) > 0 {
			out = append(out, q)
		}
	}
	for _, v := range everything(good) {
		add(quantity{name: v.Name, unit: v.Unit, ratio: ratio(k, v.Name), count: v.Unit == ""}, func(g profiles.GoodUnit) (float64, bool) { return g.Get(v.Name) })
	}
	for _, up := range []bool{true, false} {
		for i, d := range grid {
			add(quantity{name: atDuty(d, up), unit: "A", ratio: true}, func(g profiles.GoodUnit) (float64, bool) {
				row := g.Down
				if up {
					row = g.Up
				}
				if i >= len(row) {
					return 0, false
				}
				return row[i], true
			})
		}
	}
	return out
}

// atDuty names a current of the curve.
func atDuty(duty float64, up bool) string {
	if up {
		return fmt.Sprintf("%g %% duty, up", duty)
	}
	return fmt.Sprintf("%g %% duty, down", duty)
}

// everything is each measurement that any of the units has, once;
// circumstances are none.
func everything(units []profiles.GoodUnit) (out []profiles.Value) {
	for _, u := range units {
		for _, v := range u.Values {
			if kind.Circumstance(v.Name) {
				continue // says how the unit was tested, not what it is
			}
			if !slices.ContainsFunc(out, func(w profiles.Value) bool { return w.Name == v.Name }) {
				out = append(out, v)
			}
		}
	}
	return out
}

// notNormal is the value of the modified statistic that normal samples exceed
// once in a hundred (Stephens 1986, in D'Agostino and Stephens, Goodness-of-Fit
// Techniques, table 4.7, from memory; checked by simulation in the tests). One
// in a hundred, as there are some thirty quantities to a profile (chosen): one
// that is wrongly called not normal gets a wider or a more modest interval.
const notNormal = 1.035

// normal says that nothing speaks against values being normal. Below five,
// and where all are equal, nothing can be said for it.
func normal(xs []float64) bool {
	return len(xs) >= 5 && andersonDarling(xs) <= notNormal
}

// andersonDarling is A²·(1 + 0.75/n + 2.25/n²) of the values against the
// normal distribution of their own mean and standard deviation (Stephens 1986,
// as above). +Inf where all are equal.
func andersonDarling(xs []float64) float64 {
	z := slices.Clone(xs)
	slices.Sort(z)
	mean, sd := stat.MeanSD(z)
	if !(sd > 0) || z[0] == z[len(z)-1] {
		return math.Inf(1)
	}
	n := float64(len(z))
	var sum float64
	for i := range z {
		low, high := (z[i]-mean)/sd, (z[len(z)-1-i]-mean)/sd
		sum += float64(2*i+1) * (math.Log(stat.NormalCDF(low)) + math.Log(stat.NormalCDF(-high)))
	}
	return (-n - sum/n) * (1 + 0.75/n + 2.25/(n*n))
}
