package stat

import (
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// Normal is the quantile of the standard normal distribution: the z below
// which the probability is p. NaN outside 0 to 1.
func Normal(p float64) float64 {
	if !(p >= 0 && p <= 1) {
		return math.NaN()
	}
	return distuv.UnitNormal.Quantile(p)
}

// NormalCDF is the probability below z.
func NormalCDF(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// manyDoF is where Student's t is taken as normal: the two then differ by
// less than 1e-7 of the quantile for any p between 1e-6 and 1-1e-6.
const manyDoF = 1e8

// StudentT is the quantile of Student's t with dof degrees of freedom, which
// may be a fraction or +Inf. NaN for p outside 0 to 1 or dof not above 0.
func StudentT(p, dof float64) float64 {
	if !(p >= 0 && p <= 1) || !(dof > 0) {
		return math.NaN()
	}
	switch {
	case p == 0 || p == 1:
		return math.Inf(int(2*p - 1))
	case dof > manyDoF:
		return Normal(p)
	case dof > farDoF && p > 1e-4 && p < 1-1e-4:
		return farStudentT(Normal(p), dof)
	}
	return distuv.StudentsT{Sigma: 1, Nu: dof}.Quantile(p)
}

// farDoF is where the expansion below is right to 1e-12, and gonum's inverse
// of the incomplete beta function, which is off by 5e-9 at 1e8, is not.
const farDoF = 3000

// farStudentT is Student's quantile by its expansion in 1/dof about the normal
// quantile z (Abramowitz and Stegun, 26.7.5).
func farStudentT(z, dof float64) float64 {
	z2 := z * z
	g1 := z * (z2 + 1) / 4
	g2 := z * ((5*z2+16)*z2 + 3) / 96
	g3 := z * (((3*z2+19)*z2+17)*z2 - 15) / 384
	g4 := z * ((((79*z2+776)*z2+1482)*z2-1920)*z2 - 945) / 92160
	return z + (g1+(g2+(g3+g4/dof)/dof)/dof)/dof
}

// StudentTail is the probability that Student's t with dof degrees of freedom
// lies above t. NaN for dof not above 0.
func StudentTail(t, dof float64) float64 {
	switch {
	case !(dof > 0) || math.IsNaN(t):
		return math.NaN()
	case dof > manyDoF:
		return NormalCDF(-t)
	}
	return distuv.StudentsT{Sigma: 1, Nu: dof}.Survival(t)
}

// ChiSquare is the quantile of chi-square with dof degrees of freedom.
func ChiSquare(p, dof float64) float64 {
	if !(p >= 0 && p <= 1) || !(dof > 0) {
		return math.NaN()
	}
	return 2 * mathext.GammaIncRegInv(dof/2, p)
}

// FisherF is the quantile of F with d1 and d2 degrees of freedom.
func FisherF(p, d1, d2 float64) float64 {
	if !(p >= 0 && p <= 1) || !(d1 > 0) || !(d2 > 0) {
		return math.NaN()
	}
	return distuv.F{D1: d1, D2: d2}.Quantile(p)
}

// ClopperPearson is the exact two-sided interval of a rate after x hits in n
// trials (Clopper and Pearson 1934), level as a fraction such as 0.95. At the
// ends 0 and n the bound inward stays two-sided, at (1+level)/2. NaN for
// counts or a level that cannot be.
func ClopperPearson(x, n int, level float64) (low, high float64) {
	if n < 1 || x < 0 || x > n || !(level > 0 && level < 1) {
		return math.NaN(), math.NaN()
	}
	tail := (1 - level) / 2
	a, b := float64(x), float64(n-x)
	low, high = 0, 1
	if x > 0 {
		low = mathext.InvRegIncBeta(a, b+1, tail)
	}
	if x < n {
		high = mathext.InvRegIncBeta(a+1, b, 1-tail)
	}
	return low, high
}
