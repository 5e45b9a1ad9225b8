package stat

import (
	"fmt"
	"math"
)

// Line fits y = Coef[0] + Coef[1]·x. u are the standard uncertainties of y,
// nil when only the scatter tells (JCGM 100:2008, H.3).
func Line(x, y, u []float64) (*Fit, error) { return Polynomial(1, x, y, u) }

// Polynomial fits y = Σ Coef[k]·x^k up to the degree; u as in Line.
func Polynomial(degree int, x, y, u []float64) (*Fit, error) {
	if degree < 0 {
		return nil, fmt.Errorf("stat: a polynomial of degree %d is none; use 0 or more", degree)
	}
	rows := make([][]float64, len(x))
	for i, v := range x {
		rows[i] = Powers(degree, v)
	}
	if u == nil {
		return LeastSquares(rows, y, nil)
	}
	return WeightedLeastSquares(rows, y, u)
}

// Powers is 1, x, x², … up to the degree: a row for Fit.Predict.
func Powers(degree int, x float64) []float64 {
	row := make([]float64, degree+1)
	p := 1.0
	for k := range row {
		row[k] = p
		p *= x
	}
	return row
}

// Power is the law y = Factor·x^Exponent.
type Power struct {
	Factor, Exponent   float64
	UFactor, UExponent float64
	// Fit is the straight line of ln y on ln x behind it.
	Fit *Fit
}

// At is the law's value.
func (p Power) At(x float64) float64 { return p.Factor * math.Pow(x, p.Exponent) }

// PowerLaw fits by a straight line through the logarithms: errors of y count
// in proportion. All values must be above 0.
func PowerLaw(x, y []float64) (Power, error) {
	if len(x) != len(y) {
		return Power{}, fmt.Errorf("stat: %d x for %d y; give one each", len(x), len(y))
	}
	lx, ly := make([]float64, len(x)), make([]float64, len(y))
	for i := range x {
		if !(x[i] > 0 && y[i] > 0) {
			return Power{}, fmt.Errorf("stat: a power law needs values above 0, point %d is (%g, %g); leave it out or take off the offset", i, x[i], y[i])
		}
		lx[i], ly[i] = math.Log(x[i]), math.Log(y[i])
	}
	f, err := Line(lx, ly, nil)
	if err != nil {
		return Power{}, err
	}
	a := math.Exp(f.Coef[0])
	return Power{Factor: a, Exponent: f.Coef[1], UFactor: a * f.U(0), UExponent: f.U(1), Fit: f}, nil
}

// TheilSen is the line through the medians whose slope is the median slope of
// all pairs of points with different x (Theil 1950, Sen 1968): up to 29 % of
// the points may be wild. It takes n² steps; use it for block means and
// curves. NaN when no two points differ in x.
func TheilSen(x, y []float64) (intercept, slope float64) {
	n := min(len(x), len(y))
	slopes := make([]float64, 0, n*(n-1)/2)
	for i := range n {
		for j := range i {
			if x[i] != x[j] {
				slopes = append(slopes, (y[i]-y[j])/(x[i]-x[j]))
			}
		}
	}
	slope = MedianInPlace(slopes)
	rest := make([]float64, n)
	for i := range rest {
		rest[i] = y[i] - slope*x[i]
	}
	return MedianInPlace(rest), slope
}

// Drift is a straight trend in a series.
type Drift struct {
	// Slope per unit of x and its standard uncertainty, autocorrelation of
	// the noise taken into account.
	Slope, U float64
	// DoF is the effective degrees of freedom of U.
	DoF float64
	// Link is the correlation of neighbours that was allowed for, 0 to 0.8.
	Link float64
}

// Interval is the two-sided interval of the slope at a level such as 0.95.
func (d Drift) Interval(level float64) (low, high float64) {
	h := StudentT((1+level)/2, d.DoF) * d.U
	return d.Slope - h, d.Slope + h
}

// Significant says whether the slope differs from 0 at the level. Settled
// means more than not significant: hold Interval against what drift does not
// matter.
func (d Drift) Significant(level float64) bool {
	low, high := d.Interval(level)
	return low > 0 || high < 0
}

// Trend fits a straight line to a series of block means y at x, in order, and
// widens its uncertainty for correlated residuals: the variance by
// (1+r)/(1-r), the degrees of freedom by the inverse, r the correlation of
// neighbouring residuals freed of its bias, about -(2+4r)/n (effective
// sample size after Santer et al., "Statistical significance of trends",
// J. Geophys. Res. 105, 2000; from memory). Six points at least.
func Trend(x, y []float64) (Drift, error) {
	n := len(y)
	if n < 6 {
		return Drift{}, fmt.Errorf("stat: a trend needs 6 block means or more, got %d; record longer", n)
	}
	f, err := Line(x, y, nil)
	if err != nil {
		return Drift{}, err
	}
	r := Autocorrelation(f.Residual, 1)
	if math.IsNaN(r) {
		r = 0
	}
	nf := float64(n)
	r = min(max(r+(2+4*r)/nf, 0), maxLink)
	factor := (1 + r) / (1 - r)
	return Drift{Slope: f.Coef[1], U: f.U(1) * math.Sqrt(factor), DoF: max(1, nf/factor-2), Link: r}, nil
}
