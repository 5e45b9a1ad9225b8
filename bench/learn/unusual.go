package learn

import (
	"fmt"
	"math"

	"dutybench/signal/stat"
)

// falsely is how often units that are all good and normal have one named as
// unusual, over all quantities of a learning together (chosen: the usual 5 %).
// Each quantity gets an equal share of it (Bonferroni).
const falsely = 0.05

// unusual names units that lie far from the others in some quantity, but not
// so far that they are no good unit (Grubbs' test). Counts do not spread
// normally and are left out. A distance that no bench repeats is none.
func unusual(of []quantity) []string {
	tested := 0
	for _, q := range of {
		if !q.count && len(q.values) >= 3 {
			tested++
		}
	}
	type far struct {
		times float64 // of the critical distance
		words string
		more  int
	}
	found := map[string]*far{}
	var order []string
	for _, q := range of {
		if q.count || len(q.values) < 3 {
			continue
		}
		xs, ratios := q.scale()
		o, err := stat.Grubbs(xs, 1-falsely/float64(tested))
		if err != nil {
			continue // all equal
		}
		mean, sd := stat.MeanSD(xs)
		x, least := q.values[o.Index], floor(q.unit, stat.Median(q.values))
		if ratios {
			mean = math.Exp(mean)
			least /= mean
		}
		g := o.G * sd / max(sd, least)
		if g <= o.Critical {
			continue
		}
		u := q.of[o.Index]
		if found[u] == nil {
			found[u] = &far{more: -1}
			order = append(order, u)
		}
		f := found[u]
		f.more++
		if t := g / o.Critical; t > f.times {
			f.times = t
			f.words = fmt.Sprintf("%s is %.4g %s, %.1f standard deviations from the mean of %.4g", q.name, x, q.unit, g, mean)
		}
	}
	var out []string
	for _, u := range order {
		s := fmt.Sprintf("unit %s: %s", u, found[u].words)
		if n := found[u].more; n > 0 {
			s += fmt.Sprintf(", and it is as unusual in %d more of %d", n, tested)
		}
		out = append(out, s)
	}
	return out
}
