package stat

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Population is what good units look like in several quantities at once.
type Population struct {
	// N is the number of units it was learned from.
	N    int
	Mean []float64
	Cov  *mat.SymDense
	// Shrinkage is the weight that the uncorrelated target got, 0 to 1.
	Shrinkage float64
	sd        []float64
	chol      mat.Cholesky // of the correlations
}

// Sampled is the plain mean and covariance of good units, one row a unit. It
// needs more units than quantities.
func Sampled(rows [][]float64) (*Population, error) {
	p, sd, corr, err := standardised(rows)
	if err != nil {
		return nil, err
	}
	if p.N <= len(p.Mean) {
		return nil, fmt.Errorf("stat: %d units do not give a covariance of %d quantities; measure more units or use Shrunk", p.N, len(p.Mean))
	}
	if err := p.set(sd, corr, 0); err != nil {
		return nil, err
	}
	return p, nil
}

// Shrunk is the mean and covariance of good units with the correlations
// shrunk towards none, so that it can be inverted with fewer units than
// quantities. The variances stay as sampled. The weight of the target is that
// of least expected squared error (Ledoit and Wolf 2003; this target: Schäfer
// and Strimmer, Stat. Appl. Genet. Mol. Biol. 4:32, 2005, target D with
// correlations, from memory):
//
//	λ = Σ Var(r_ij) / Σ r_ij², i ≠ j, Var(r_ij) = n/(n-1)³ Σ_k (w_kij - w̄_ij)²
//
// where w_kij is the product of the standardised values of unit k.
func Shrunk(rows [][]float64) (*Population, error) {
	p, sd, corr, err := standardised(rows)
	if err != nil {
		return nil, err
	}
	n, dim := float64(p.N), len(p.Mean)
	var spread, squares float64
	for i := range dim {
		for j := range i {
			mean := corr.At(i, j) * (n - 1) / n
			for _, row := range rows {
				d := (row[i]-p.Mean[i])/sd[i]*(row[j]-p.Mean[j])/sd[j] - mean
				spread += d * d
			}
			squares += corr.At(i, j) * corr.At(i, j)
		}
	}
	lambda := 1.0
	if squares > 0 {
		lambda = min(1, n/((n-1)*(n-1)*(n-1))*spread/squares)
	}
	if err := p.set(sd, corr, lambda); err != nil {
		return nil, err
	}
	return p, nil
}

// standardised is the mean, the deviations and the correlations.
func standardised(rows [][]float64) (*Population, []float64, *mat.SymDense, error) {
	n := len(rows)
	if n < 3 || len(rows[0]) == 0 {
		return nil, nil, nil, fmt.Errorf("stat: a population needs 3 units with one quantity or more, got %d units; measure more good units", n)
	}
	dim := len(rows[0])
	mean, sd := make([]float64, dim), make([]float64, dim)
	column := make([]float64, n)
	z := mat.NewDense(n, dim, nil)
	for j := range dim {
		for i, row := range rows {
			if len(row) != dim {
				return nil, nil, nil, fmt.Errorf("stat: unit %d has %d quantities where the first has %d; make them equal", i, len(row), dim)
			}
			column[i] = row[j]
		}
		mean[j], sd[j] = MeanSD(column)
		if !(sd[j] > 0) || !finite(sd[j]) {
			return nil, nil, nil, fmt.Errorf("stat: quantity %d is the same in all units or not finite; leave it out", j)
		}
		for i := range rows {
			z.Set(i, j, (column[i]-mean[j])/sd[j])
		}
	}
	corr := mat.NewSymDense(dim, nil)
	corr.SymOuterK(1/float64(n-1), z.T())
	return &Population{N: n, Mean: mean}, sd, corr, nil
}

// set fills the covariance from deviations and shrunk correlations.
func (p *Population) set(sd []float64, corr *mat.SymDense, lambda float64) error {
	dim := len(sd)
	p.Shrinkage, p.sd = lambda, sd
	used := mat.NewSymDense(dim, nil)
	p.Cov = mat.NewSymDense(dim, nil)
	for i := range dim {
		used.SetSym(i, i, 1)
		p.Cov.SetSym(i, i, sd[i]*sd[i])
		for j := range i {
			r := (1 - lambda) * corr.At(i, j)
			used.SetSym(i, j, r)
			p.Cov.SetSym(i, j, r*sd[i]*sd[j])
		}
	}
	if ok := p.chol.Factorize(used); !ok || !(p.chol.Cond() < 1e13) {
		return errors.New("stat: two quantities say the same in all units; leave one out")
	}
	return nil
}

// Distance2 is the squared Mahalanobis distance of x from the mean; NaN when
// x has not one value a quantity.
func (p *Population) Distance2(x []float64) float64 {
	if len(x) != len(p.Mean) {
		return math.NaN()
	}
	d := mat.NewVecDense(len(x), nil)
	for i, v := range x {
		d.SetVec(i, (v-p.Mean[i])/p.sd[i])
	}
	var solved mat.VecDense
	if err := p.chol.SolveVecTo(&solved, d); err != nil {
		return math.NaN()
	}
	return mat.Dot(d, &solved)
}

// Hotelling is T² of one new unit against the population, n/(n+1)·d², in
// which the mean's own uncertainty is allowed for.
func (p *Population) Hotelling(x []float64) float64 {
	n := float64(p.N)
	return n / (n + 1) * p.Distance2(x)
}

// HotellingLimit is what T² of one more good unit stays below with the
// probability level, for n units and dim quantities of a normal population:
// dim(n-1)/(n-dim) · F(level; dim, n-dim). It holds for Sampled; after
// shrinking it is only a guide. NaN unless n > dim.
func HotellingLimit(n, dim int, level float64) float64 {
	if dim < 1 || n <= dim || !share(level) {
		return math.NaN()
	}
	d, rest := float64(dim), float64(n-dim)
	return d * float64(n-1) / rest * FisherF(level, d, rest)
}
