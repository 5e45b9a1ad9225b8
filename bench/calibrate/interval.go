package calibrate

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"

	"dutybench/signal/stat"
)

// expanded is half the 95 % interval of a quantity whose shared components are
// uniform within limits. The largest of them keeps its shape; the others join
// the rest, whose sum is taken as Student's t (JCGM 100:2008, G.2.3 and
// G.4.1). Where one uniform component outweighs all others, k comes near
// 0.95·√3 = 1.65 (EA-4/02, S9.14, from memory), and two standard uncertainties
// would be too wide.
func expanded(q stat.Quantity) (half, k float64) {
	largest := -1
	for i, c := range q.Budget {
		if c.Shared && (largest < 0 || c.U > q.Budget[largest].U) {
			largest = i
		}
	}
	if largest < 0 {
		return q.Expanded(Level)
	}
	limit := q.Budget[largest].U * math.Sqrt(3)
	rest := stat.Quantity{}
	for i, c := range q.Budget {
		if i != largest {
			rest.Budget = append(rest.Budget, c)
		}
	}
	half = joined(limit, rest.U(), rest.DoF())
	return half, half / q.U()
}

// joined is the half width that holds 95 % of the sum of an error that is
// uniform within ±limit and one of Student's t times u.
func joined(limit, u, dof float64) float64 {
	switch {
	case !(u > limit*1e-3):
		return Level * limit
	case !(limit > u*1e-3):
		return stat.StudentT((1+Level)/2, dof) * u
	}
	// In panels no wider than u the integrand is smooth.
	panels := min(int(math.Ceil(limit/u)), 1000)
	const nodes = 8
	var x, w [nodes]float64
	outside := func(half float64) float64 {
		var p float64
		for i := range panels {
			from, to := limit*float64(i)/float64(panels), limit*float64(i+1)/float64(panels)
			quad.Legendre{}.FixedLocations(x[:], w[:], from, to)
			for j := range x {
				p += w[j] / limit * (stat.StudentTail((half-x[j])/u, dof) + stat.StudentTail((half+x[j])/u, dof))
			}
		}
		return p
	}
	lo, hi := 0.0, limit+stat.StudentT((1+Level)/2, dof)*u
	for range 60 {
		if mid := (lo + hi) / 2; outside(mid) > 1-Level {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}
