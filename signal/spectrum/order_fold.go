package spectrum

import (
	"math"
	"slices"

	"dutybench/signal/stat"
)

// foldedAsWell is ln of a bound on the probability that a folded line lies
// behind p. Every folded law through three speeds of p is tried, and through
// two; what the best one leaves unexplained, noise has to have made. A folded
// law explains a line that lies as near it as p's lines lie to theirs, in
// proportion: scatter belongs to the machine, and would be larger here for a
// line that is folded.
func (w *sweep) foldedAsWell(p path) float64 {
	half := w.blocks[0].rate / 2
	if w.o.Highest_Hz <= half {
		return math.Inf(-1)
	}
	n, near := len(p.hz), w.scatter(p)
	most, explained := -1.0, make([]bool, n)
	try := make([]bool, n)
	better := func() {
		sum := 0.0
		for m, in := range try {
			if in {
				sum += p.e[m]
			}
		}
		if sum > most {
			most = sum
			copy(explained, try)
		}
	}
	at := w.clearest(p.e)
	for x, i := range at {
		w.same(try, i)
		better() // a law leads through any one speed
		for _, j := range at[x+1:] {
			for _, fi := range w.candidates(p, i, w.o.Highest_Hz) {
				for _, fj := range w.candidates(p, j, fi*(1+slack)) {
					slope := math.Log(fi/fj) / (w.u(i) - w.u(j))
					room := 2 * slack / (w.u(i) - w.u(j))
					if slope < w.o.Least-room || slope > w.o.Greatest+room {
						continue
					}
					if fi*math.Exp(-w.u(i)*w.o.Greatest) > half {
						w.same(try, i, j)
						better()
					}
					for _, k := range at {
						if k <= j {
							continue
						}
						for _, fk := range w.candidates(p, k, fj*(1+slack)) {
							l, ok := w.through([3]float64{w.u(i), w.u(j), w.u(k)}, [3]float64{fi, fj, fk}, w.u(n-1))
							if !ok || l.at(0) <= half {
								continue
							}
							for m, v := range w.blocks[:n] {
								f := l.at(w.u(m))
								try[m] = math.Abs(Apparent(f, v.rate)-p.hz[m]) <= near*f+(float64(v.bins(f, p.smear))/2+1)*v.step
							}
							better()
						}
					}
				}
			}
		}
	}
	lnWays, rest, blocks := w.lnLaws(n), 0.0, 0
	for i, e := range p.e {
		if !explained[i] {
			rest, blocks = rest+e, blocks+1
			lnWays += math.Log(w.blocks[i].choices(p.hz[i], p.smear))
		}
	}
	return min(0, lnWays+lnGammaTail(blocks, rest))
}

// candidates are the true frequencies of p's line in block i up to a limit.
func (w *sweep) candidates(p path, i int, highest_Hz float64) []float64 {
	return Candidates(p.hz[i], w.blocks[i].rate, min(highest_Hz, w.o.Highest_Hz))
}

// same marks the blocks that have the speeds of some.
func (w *sweep) same(mark []bool, of ...int) {
	for m := range mark {
		mark[m] = slices.ContainsFunc(of, func(i int) bool { return w.blocks[i].class == w.blocks[m].class })
	}
}

// scatter is three times the deviation of p's lines from the parabola through
// them, in proportion, at most slack.
func (w *sweep) scatter(p path) float64 {
	var x, y, u []float64
	for i, e := range p.e {
		if e >= visible {
			x, y, u = append(x, w.u(i)), append(y, math.Log(p.hz[i])), append(u, 1/math.Sqrt(e))
		}
	}
	fit, err := stat.Polynomial(2, x, y, u)
	if err != nil || fit.DoF < 2 {
		return slack
	}
	var sum, weights float64
	for i, r := range fit.Residual {
		sum += r * r / (u[i] * u[i])
		weights += 1 / (u[i] * u[i])
	}
	return min(slack, 3*math.Sqrt(sum/weights*float64(len(x))/float64(fit.DoF)))
}
