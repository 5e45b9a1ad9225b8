package coil

import "math"

// grid is readings averaged in blocks, finer where the current bends.
type grid struct {
	t, i []float64
	sd   []float64 // standard uncertainty of each mean, A
}

// blocks averages the readings from the first on: the block at a time since
// the onset is that time over fineness, and within the span of a motion that
// over fineness too. drift is what else a mean may be off.
func (e *edge) blocks(fineness, from, to, drift float64) *grid {
	g := &grid{}
	real2 := max(0, e.noise*e.noise-e.quantum*e.quantum/12)
	// The mean of a converter's step left by noise: its first harmonic.
	stuck2 := 0.0
	if e.quantum > 0 {
		stuck2 = e.quantum * e.quantum / (2 * math.Pi * math.Pi) * math.Exp(-4*math.Pi*math.Pi*real2/(e.quantum*e.quantum))
	}
	for n := e.first; n < len(e.t); {
		width := (e.t[n] - e.onset) / fineness
		if to > from && e.t[n] > from && e.t[n] < to {
			width = min(width, (to-from)/fineness)
		}
		end := e.t[n] + width
		var st, si float64
		m := n
		for m == n || m < len(e.t) && e.t[m] < end {
			st += e.t[m] - e.onset
			si += e.i[m]
			m++
		}
		c := float64(m - n)
		g.t = append(g.t, st/c+e.onset)
		g.i = append(g.i, si/c-e.start)
		g.sd = append(g.sd, math.Sqrt(e.noise*e.noise/c+stuck2+drift*drift))
		n = m
	}
	return g
}

// prior is what is known of the parameters beforehand: a mean and a standard
// deviation, infinite for nothing, and the span that makes sense.
type prior struct{ mean, sd, low, high parameters }

// solution is a fit.
type solution struct {
	p    parameters
	chi2 float64 // the prior's share included
	dof  int
	cov  [allParameters][allParameters]float64 // zero for what was held
	bad  bool
}

// solver fits the model to a grid.
type solver struct {
	m     *model
	g     *grid
	prior *prior
	until int // how many means of the grid count
	out   []float64
	trial []float64
	jac   [allParameters][]float64
}

func newSolver(m *model, g *grid, pr *prior) *solver {
	s := &solver{m: m, g: g, prior: pr, until: len(g.t)}
	all := make([]float64, (allParameters+2)*len(g.t))
	n := len(g.t)
	s.out, s.trial = all[:n], all[n:2*n]
	for k := range s.jac {
		s.jac[k] = all[(k+2)*n : (k+3)*n]
	}
	return s
}

// chi2 of the parameters; the current is left in out.
func (s *solver) chi2(p *parameters, out []float64, moving bool) float64 {
	s.m.current(p, s.g.t[:s.until], out, moving)
	var sum float64
	for n, i := range out[:s.until] {
		r := (s.g.i[n] - i) / s.g.sd[n]
		sum += r * r
	}
	for k := range allParameters {
		if k >= restParameters && !moving {
			break
		}
		r := (p[k] - s.prior.mean[k]) / s.prior.sd[k]
		sum += r * r
	}
	if math.IsNaN(sum) {
		return math.Inf(1)
	}
	return sum
}

// steps of the numerical derivative, in the parameter's own size.
func (s *solver) difference(p *parameters, k int) float64 {
	switch k {
	case pFinal:
		return 1e-4 * s.m.scale_A
	case pOnset, pEnd:
		return 1e-4 * math.Exp(-p[pRate])
	}
	return 1e-4
}

// minimise runs Levenberg and Marquardt's method over the parameters named in
// free, for so many steps at most.
func (s *solver) minimise(p parameters, free []int, moving bool, steps int) solution {
	best := solution{p: p, dof: len(s.g.t) - len(free)}
	best.chi2 = s.chi2(&p, s.out, moving)
	if math.IsInf(best.chi2, 1) {
		best.bad = true
		return best
	}
	damp := 1e-3
	var normal, factor [allParameters][allParameters]float64
	var slope, step [allParameters]float64
	for range steps {
		s.linearise(&best.p, free, moving, &normal, &slope)
		improved := false
		var before float64
		for range 6 {
			factor = normal
			for a := range free {
				factor[a][a] += damp * normal[a][a]
			}
			if !cholesky(&factor, len(free)) {
				damp *= 10
				continue
			}
			step = slope
			substitute(&factor, &step, len(free))
			next := best.p
			for a, k := range free {
				next[k] = min(max(next[k]+step[a], s.prior.low[k]), s.prior.high[k])
			}
			next[pLength] = min(next[pLength], math.Log(max(next[pEnd]-next[pOnset], 1e-9)))
			chi2 := s.chi2(&next, s.trial, moving)
			if chi2 < best.chi2 {
				before, best.p, best.chi2 = best.chi2, next, chi2
				s.out, s.trial = s.trial, s.out
				damp = max(damp/10, 1e-9)
				improved = true
				break
			}
			damp *= 10
		}
		if !improved || before-best.chi2 < 0.05 {
			break
		}
	}
	return best
}

// linearise fills the normal equations at p, the prior's share included.
func (s *solver) linearise(p *parameters, free []int, moving bool, normal *[allParameters][allParameters]float64, slope *[allParameters]float64) {
	for a, k := range free {
		moved := *p
		d := s.difference(p, k)
		if moved[k]+d > s.prior.high[k] {
			d = -d
		}
		moved[k] += d
		s.m.current(&moved, s.g.t[:s.until], s.jac[a], moving)
		for n := range s.jac[a][:s.until] {
			s.jac[a][n] = (s.jac[a][n] - s.out[n]) / (d * s.g.sd[n])
		}
	}
	for a, k := range free {
		ja := s.jac[a][:s.until]
		for b := range a + 1 {
			var sum float64
			for n, v := range s.jac[b][:s.until] {
				sum += v * ja[n]
			}
			normal[a][b], normal[b][a] = sum, sum
		}
		var sum float64
		for n, v := range ja {
			sum += v * (s.g.i[n] - s.out[n]) / s.g.sd[n]
		}
		weight := 1 / (s.prior.sd[k] * s.prior.sd[k])
		normal[a][a] += weight
		slope[a] = sum - (p[k]-s.prior.mean[k])*weight
	}
}

// covariance of the free parameters at the solution, for unit chi-square.
func (s *solver) covariance(at *solution, free []int, moving bool) {
	var normal, factor [allParameters][allParameters]float64
	var slope [allParameters]float64
	s.m.current(&at.p, s.g.t[:s.until], s.out, moving)
	s.linearise(&at.p, free, moving, &normal, &slope)
	for a := range free {
		normal[a][a] *= 1 + 1e-12
	}
	factor = normal
	if !cholesky(&factor, len(free)) {
		at.bad = true
		return
	}
	for a, k := range free {
		var unit [allParameters]float64
		unit[a] = 1
		substitute(&factor, &unit, len(free))
		for b, l := range free {
			at.cov[k][l] = unit[b]
		}
	}
}

// cholesky factors the upper left n by n of a in place; false when it is not
// positive.
func cholesky(a *[allParameters][allParameters]float64, n int) bool {
	for j := range n {
		for i := j; i < n; i++ {
			sum := a[i][j]
			for k := range j {
				sum -= a[i][k] * a[j][k]
			}
			if i > j {
				a[i][j] = sum / a[j][j]
				continue
			}
			if !(sum > 1e-14*a[j][j]) {
				return false
			}
			a[j][j] = math.Sqrt(sum)
		}
	}
	return true
}

// substitute solves with a factor of cholesky, in place.
func substitute(a *[allParameters][allParameters]float64, x *[allParameters]float64, n int) {
	for i := range n {
		for k := range i {
			x[i] -= a[i][k] * x[k]
		}
		x[i] /= a[i][i]
	}
	for i := n - 1; i >= 0; i-- {
		for k := i + 1; k < n; k++ {
			x[i] -= a[k][i] * x[k]
		}
		x[i] /= a[i][i]
	}
}
