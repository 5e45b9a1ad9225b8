package stat

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mathext"
)

// Tolerance intervals: mean ± k·s of n units that, with the confidence given,
// hold at least the share coverage of all units (ISO 16269-6; NIST/SEMATECH
// e-Handbook 7.2.6.3). All shares are fractions, such as 0.95. The factors
// are NaN below two units or for shares outside 0 to 1.

// K1 is the factor of a one-sided limit: the k at which
//
//	P(x̄ + k·s ≥ z(coverage)) = confidence
//
// for n standard normal values. k·√n is a quantile of the noncentral t with
// n-1 degrees of freedom and noncentrality z·√n.
func K1(n int, coverage, confidence float64) float64 {
	if n < 2 || !share(coverage) || !share(confidence) {
		return math.NaN()
	}
	z := Normal(coverage)
	return bisect(func(k float64) float64 { return reaches(n, z, k) - confidence }, -1e5, 1e5)
}

// reaches is P(x̄ + k·s ≥ z). Either the mean or s is integrated over: the
// one over which the rest is the smoother.
func reaches(n int, z, k float64) float64 {
	nf, dof := float64(n), float64(n-1)
	root := math.Sqrt(nf)
	switch {
	case k < -0.5:
		return 1 - reaches(n, -z, -k)
	case k > 0.5:
		p := NormalCDF(-z * root) // there the mean alone is enough
		x, w := normalNodes(-normalReach/root, min(z, normalReach/root), nf)
		for i := range x {
			s := (z - x[i]) / k
			p += w[i] * mathext.GammaIncRegComp(dof/2, dof*s*s/2)
		}
		return p
	}
	const rare = 1e-15
	s, w := nodes(math.Sqrt(ChiSquare(rare, dof)/dof), math.Sqrt(2*mathext.GammaIncRegCompInv(dof/2, rare)/dof))
	lg, _ := math.Lgamma(dof / 2)
	scale := math.Ln2 + dof/2*math.Log(dof/2) - lg
	var p float64
	for i := range s {
		// The density of s, chi over √dof.
		f := math.Exp(scale + (dof-1)*math.Log(s[i]) - dof*s[i]*s[i]/2)
		p += w[i] * f * NormalCDF(root*(k*s[i]-z))
	}
	return p
}

// normalReach is how many standard deviations a normal weight is followed;
// beyond it is below 1e-18.
const normalReach = 9

// nodes are Gauss-Legendre nodes from lo to hi and their weights.
func nodes(lo, hi float64) (x, w []float64) {
	const n = 100
	x, w = make([]float64, n), make([]float64, n)
	quad.Legendre{}.FixedLocations(x, w, lo, hi)
	return x, w
}

// normalNodes weighs nodes with the density of the mean of n standard normal
// values.
func normalNodes(lo, hi, n float64) (x, w []float64) {
	x, w = nodes(lo, hi)
	for i := range x {
		w[i] *= math.Sqrt(n/(2*math.Pi)) * math.Exp(-n*x[i]*x[i]/2)
	}
	return x, w
}

// K2 is the exact factor of a two-sided interval: the k at which
//
//	√(2n/π) ∫₀^∞ P(χ²(n-1) ≥ (n-1)·r²(x)/k²)·exp(-n·x²/2) dx = confidence
//
// with r(x) the root of Φ(x+r) - Φ(x-r) = coverage (Wald and Wolfowitz 1946
// without their approximation; ISO 16269-6 annex, from memory).
func K2(n int, coverage, confidence float64) float64 {
	if n < 2 || !share(coverage) || !share(confidence) {
		return math.NaN()
	}
	nf, dof := float64(n), float64(n-1)
	x, w := normalNodes(0, normalReach/math.Sqrt(nf), nf)
	r2 := make([]float64, len(x))
	for i := range x {
		r := centredRoot(x[i], coverage)
		r2[i] = r * r
	}
	return bisect(func(k float64) float64 {
		var p float64
		for i := range x {
			p += 2 * w[i] * mathext.GammaIncRegComp(dof/2, dof*r2[i]/(2*k*k))
		}
		return p - confidence
	}, 1e-3, 1e5)
}

// centredRoot is the r at which Φ(x+r) - Φ(x-r) = coverage.
func centredRoot(x, coverage float64) float64 {
	return bisect(func(r float64) float64 {
		return NormalCDF(x+r) - NormalCDF(x-r) - coverage
	}, 0, x+Normal((1+coverage)/2)+1)
}

// Howe is the usual approximation of K2, z·√((n-1)(1+1/n)/χ²) (Howe 1969;
// e-Handbook 7.2.6.3). At 95 % confidence it is within 1 % from 6 units up and
// up to 4 % off at 3.
func Howe(n int, coverage, confidence float64) float64 {
	if n < 2 || !share(coverage) || !share(confidence) {
		return math.NaN()
	}
	nf := float64(n)
	return Normal((1+coverage)/2) * math.Sqrt((nf-1)*(1+1/nf)/ChiSquare(1-confidence, nf-1))
}

// Prediction is the factor of the two-sided interval that holds one future
// unit with the probability level: t(1-α/2, n-1)·√(1+1/n).
func Prediction(n int, level float64) float64 {
	if n < 2 || !share(level) {
		return math.NaN()
	}
	nf := float64(n)
	return StudentT((1+level)/2, nf-1) * math.Sqrt(1+1/nf)
}

// Wilks is the least number of units whose smallest and largest value hold
// the coverage with the confidence, whatever the distribution (Wilks 1941);
// with one side only, the largest alone. 0 for shares outside 0 to 1, or when
// more than a thousand million units would be needed.
func Wilks(coverage, confidence float64, twoSided bool) int {
	const most = 1_000_000_000
	if !share(coverage) || !share(confidence) {
		return 0
	}
	n := sort.Search(most, func(n int) bool { return wilksConfidence(n, coverage, twoSided) >= confidence })
	if n == most {
		return 0
	}
	return n
}

// wilksConfidence is 1 - n·p^(n-1) + (n-1)·p^n, or 1 - p^n one-sided.
func wilksConfidence(n int, p float64, twoSided bool) float64 {
	nf := float64(n)
	switch {
	case n < 1:
		return 0
	case !twoSided:
		return -math.Expm1(nf * math.Log(p))
	}
	return 1 - math.Exp((nf-1)*math.Log(p))*(nf-(nf-1)*p)
}

// RangeCoverage is the share of all units that the smallest and largest of n
// hold with the confidence, whatever the distribution.
func RangeCoverage(n int, confidence float64) float64 {
	if n < 2 || !share(confidence) {
		return math.NaN()
	}
	return bisect(func(p float64) float64 { return confidence - wilksConfidence(n, p, true) }, 0, 1)
}

func share(p float64) bool { return p > 0 && p < 1 }

// bisect finds where the rising f crosses 0 between lo and hi, to the last
// bits.
func bisect(f func(float64) float64, lo, hi float64) float64 {
	for range 200 {
		mid := lo + (hi-lo)/2
		if mid == lo || mid == hi {
			break
		}
		if f(mid) < 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo + (hi-lo)/2
}
