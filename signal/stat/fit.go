package stat

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// ErrSingular means that the columns of a fit depend on each other, so that
// its coefficients cannot be told apart.
var ErrSingular = errors.New("stat: the columns of the fit depend on each other; vary the inputs more, or fit fewer terms")

// Fit is a least-squares fit y = X·b.
type Fit struct {
	Coef []float64
	// Cov is the covariance of the coefficients.
	Cov *mat.SymDense
	// Residual is y - X·b, unweighted.
	Residual []float64
	// ResidualSD is √(Σ w·r²/dof), NaN without degrees of freedom.
	ResidualSD float64
	// ChiSquare is Σ w·r².
	ChiSquare float64
	// R2 is the share of the variation that the fit explains: about the mean
	// when a column of X is constant, about zero when none is.
	R2 float64
	// DoF is the number of rows with weight, less the columns.
	DoF int
}

// U is the standard uncertainty of a coefficient.
func (f *Fit) U(i int) float64 { return math.Sqrt(f.Cov.At(i, i)) }

// Correlation of two coefficients.
func (f *Fit) Correlation(i, j int) float64 { return f.Cov.At(i, j) / (f.U(i) * f.U(j)) }

// Predict is the fitted value for a row of X and the standard uncertainty
// that the coefficients give it.
func (f *Fit) Predict(row ...float64) (value, u float64) {
	var v float64
	for i, a := range row {
		value += a * f.Coef[i]
		for j, b := range row {
			v += a * b * f.Cov.At(i, j)
		}
	}
	return value, math.Sqrt(max(v, 0))
}

// LeastSquares fits y = X·b, x one row an observation, by QR decomposition of
// the columns scaled to unit length, then refines with residuals in doubled
// precision (Björck, "Numerical Methods for Least Squares Problems", 2.9;
// from memory). Weights, nil for equal ones, are relative (1/variance up to a
// factor; 0 leaves an observation out); the covariance is scaled by the
// residuals. Errors: shapes that do not fit, fewer rows than columns, values
// that are not finite, ErrSingular.
func LeastSquares(x [][]float64, y, weights []float64) (*Fit, error) {
	f, err := solve(x, y, weights)
	if err != nil {
		return nil, err
	}
	f.Cov.ScaleSym(f.ResidualSD*f.ResidualSD, f.Cov)
	return f, nil
}

// WeightedLeastSquares is LeastSquares with known standard uncertainties u of
// y: the covariance follows from them alone, and ChiSquare can be held
// against DoF.
func WeightedLeastSquares(x [][]float64, y, u []float64) (*Fit, error) {
	w := make([]float64, len(u))
	for i, v := range u {
		if !(v > 0) {
			return nil, fmt.Errorf("stat: uncertainty %g of observation %d is not above 0; state how well it is known", v, i)
		}
		w[i] = 1 / (v * v)
	}
	return solve(x, y, w)
}

func checkFit(x [][]float64, y, weights []float64) (cols, rows int, err error) {
	if len(x) != len(y) || weights != nil && len(weights) != len(y) {
		return 0, 0, fmt.Errorf("stat: %d rows, %d values and %d weights do not fit together; give one each", len(x), len(y), len(weights))
	}
	if len(x) == 0 || len(x[0]) == 0 {
		return 0, 0, errors.New("stat: nothing to fit; give observations")
	}
	cols = len(x[0])
	for i, row := range x {
		if len(row) != cols {
			return 0, 0, fmt.Errorf("stat: row %d has %d columns where the first has %d; make them equal", i, len(row), cols)
		}
		ok := finite(y[i]) && (weights == nil || finite(weights[i]) && weights[i] >= 0)
		for _, v := range row {
			ok = ok && finite(v)
		}
		if !ok {
			return 0, 0, fmt.Errorf("stat: observation %d holds a value or weight that is not finite, or a weight below 0; leave it out", i)
		}
		if weights == nil || weights[i] > 0 {
			rows++
		}
	}
	if rows < cols {
		return 0, 0, fmt.Errorf("stat: %d observations cannot give %d coefficients; measure more points", rows, cols)
	}
	return cols, rows, nil
}

// solve leaves the covariance unscaled: (XᵀWX)⁻¹.
func solve(x [][]float64, y, weights []float64) (*Fit, error) {
	p, rows, err := checkFit(x, y, weights)
	if err != nil {
		return nil, err
	}
	a := mat.NewDense(rows, p, nil)
	root := make([]float64, 0, rows)
	from := make([]int, 0, rows)
	for i := range x {
		w := 1.0
		if weights != nil {
			w = math.Sqrt(weights[i])
		}
		if w == 0 {
			continue
		}
		for j, v := range x[i] {
			a.Set(len(from), j, w*v)
		}
		root, from = append(root, w), append(from, i)
	}
	scale := make([]float64, p)
	for j := range p {
		scale[j] = mat.Norm(a.ColView(j), 2)
		if scale[j] == 0 {
			return nil, ErrSingular
		}
		for i := range rows {
			a.Set(i, j, a.At(i, j)/scale[j])
		}
	}
	var qr mat.QR
	qr.Factorize(a)
	var r mat.Dense
	qr.RTo(&r)
	upper := mat.NewTriDense(p, mat.Upper, nil)
	for i := range p {
		for j := i; j < p; j++ {
			upper.SetTri(i, j, r.At(i, j))
		}
	}
	if cond := mat.Cond(upper, 1); !(cond < 1e15) {
		return nil, ErrSingular
	}
	f := &Fit{Coef: make([]float64, p), DoF: rows - p, Residual: make([]float64, len(y))}
	if err := f.refine(&qr, x, y, root, from, scale); err != nil {
		return nil, err
	}
	f.covariance(upper, scale)
	f.quality(x, y, weights)
	return f, nil
}

// refine solves, then corrects by the solution for its own residuals as long
// as the corrections shrink.
func (f *Fit) refine(qr *mat.QR, x [][]float64, y, root []float64, from []int, scale []float64) error {
	rhs := mat.NewVecDense(len(from), nil)
	var step mat.VecDense
	low := make([]float64, len(f.Coef)) // low words of the coefficients
	last := math.Inf(1)
	for range 8 {
		for k, i := range from {
			rhs.SetVec(k, root[k]*residual(x[i], f.Coef, low, y[i]))
		}
		var cond mat.Condition
		if err := qr.SolveVecTo(&step, false, rhs); err != nil && !errors.As(err, &cond) {
			return fmt.Errorf("stat: fit: %w", err)
		}
		size := mat.Norm(&step, 2)
		if !(size < last/2) {
			break
		}
		last = size
		for j := range f.Coef {
			f.Coef[j], low[j] = twoSum(f.Coef[j], low[j]+step.AtVec(j)/scale[j])
		}
	}
	for i := range y {
		f.Residual[i] = residual(x[i], f.Coef, low, y[i])
	}
	return nil
}

// residual is y - row·(b + low), summed in doubled precision (Ogita, Rump,
// Oishi, "Accurate sum and dot product", 2005, algorithm Dot2).
func residual(row, b, low []float64, y float64) float64 {
	sum, rest := y, 0.0
	for j, a := range row {
		p := float64(-a * b[j]) // rounded here: fused with the sum, as arm64 would, e were wrong
		e := math.FMA(-a, b[j], -p)
		var s float64
		sum, s = twoSum(sum, p)
		rest += s + e - a*low[j]
	}
	return sum + rest
}

// twoSum is a+b and what rounding lost of it (Knuth).
func twoSum(a, b float64) (sum, lost float64) {
	sum = a + b
	bb := sum - a
	return sum, (a - (sum - bb)) + (b - bb)
}

func (f *Fit) covariance(upper *mat.TriDense, scale []float64) {
	p := len(scale)
	var inv mat.TriDense
	// The condition was checked: an error here only repeats it.
	_ = inv.InverseTri(upper)
	f.Cov = mat.NewSymDense(p, nil)
	for i := range p {
		for j := i; j < p; j++ {
			var s float64
			for k := j; k < p; k++ {
				s += inv.At(i, k) * inv.At(j, k)
			}
			f.Cov.SetSym(i, j, s/(scale[i]*scale[j]))
		}
	}
}

func (f *Fit) quality(x [][]float64, y, weights []float64) {
	weight := func(i int) float64 {
		if weights == nil {
			return 1
		}
		return weights[i]
	}
	var mean, total float64
	if constantColumn(x) {
		var sw float64
		for i, v := range y {
			sw += weight(i)
			mean += weight(i) * v
		}
		mean /= sw
	}
	for i, v := range y {
		f.ChiSquare += weight(i) * f.Residual[i] * f.Residual[i]
		total += weight(i) * (v - mean) * (v - mean)
	}
	f.ResidualSD = math.NaN()
	if f.DoF > 0 {
		f.ResidualSD = math.Sqrt(f.ChiSquare / float64(f.DoF))
	}
	f.R2 = 1 - f.ChiSquare/total
}

func constantColumn(x [][]float64) bool {
	for j := range x[0] {
		same := x[0][j] != 0
		for _, row := range x {
			same = same && row[j] == x[0][j]
		}
		if same {
			return true
		}
	}
	return false
}
