package coil

import (
	"math"
	"slices"
)

// leave finds when the plunger left its stop, from the first part of the
// motion only: there the way goes with a power of time, whatever comes later.
// A force that passes what holds the plunger and grows on moves it with the
// cube; one that is there at once, as when it breaks loose, with the square.
func (a *adjusted) leave() {
	length := math.Exp(a.moving.p[pLength])
	begin := a.moving.p[pEnd] - length
	a.m.parts = 0
	saved := a.prior
	defer func() { a.prior = saved }()
	pr := &a.prior
	pr.mean[pFinal], pr.sd[pFinal] = a.moving.p[pFinal], math.Sqrt(a.moving.cov[pFinal][pFinal])
	pr.sd[pEnd], pr.low[pEnd], pr.high[pEnd] = math.Inf(1), a.onset, math.Inf(1)
	pr.mean[pSpeed], pr.sd[pSpeed] = math.Log(3), 0.3
	pr.sd[pGain], pr.high[pGain] = 3, 10
	free := []int{pFinal, pOnset, pRate, pCubic, pEddy, pEnd, pGain, pSpeed}
	whole := begin + length - a.onset
	starts := []float64{begin - a.onset, 0.25 * whole, 0.6 * whole}
	for share := 0.7; share > 0.2; share *= 0.7 {
		to := begin + share*length
		g := a.blocks(40, begin-length/4, begin+length, drift*a.m.scale_A)
		s := newSolver(&a.m, g, pr)
		s.until, _ = slices.BinarySearch(g.t, to)
		if s.until < len(free)+4 {
			return
		}
		best := solution{chi2: math.Inf(1), bad: true}
		for _, at := range starts {
			if a.onset+at > to {
				continue
			}
			p := a.moving.p
			p[pEnd] = a.onset + at + length
			p[pSpeed] = math.Log(3)
			if t := s.minimise(p, free, true, 5); t.chi2 < best.chi2 {
				best = t
			}
		}
		if best.bad {
			return
		}
		best = s.minimise(best.p, free, true, 8)
		s.covariance(&best, free, true)
		best.dof = s.until - len(free)
		a.leaving = best
		if best.chi2 < float64(best.dof)*enough(best.dof) {
			a.doubt_s = a.profile(s, best, length, to)
			return
		}
		starts = []float64{best.p[pEnd] - length - a.onset}
	}
}

// onsets is how many times of leaving are tried beside the best; chosen: they lie
// closer than motions whose shapes differ visibly.
const onsets = 16

// profile is how far a time of leaving may lie from the best one, standard, where
// the rest of the model is fitted anew to each: likelihood falls by two standard
// deviations at four of chi-square (Wilks, 1938). Where two times fit about equally
// it covers both, as the covariance about one of them does not.
func (a *adjusted) profile(s *solver, best solution, length, to float64) float64 {
	free := []int{pFinal, pOnset, pRate, pCubic, pEddy, pGain, pSpeed}
	limit := best.chi2 + 4*max(1, best.chi2/float64(max(best.dof, 1)))
	if dof := float64(best.dof); !a.rise {
		// Eddies of the iron decay while a plunger leaves its pole, in more ways than
		// the model has: there each time counts that leaves no more than noise.
		limit = max(limit, dof*enough(best.dof))
	}
	left := best.p[pEnd] - length
	far := 0.0
	for _, side := range []float64{a.onset, to} {
		p := best.p
		for n := 1; n < onsets; n++ {
			at := left + (side-left)*float64(n)/onsets
			p[pEnd] = at + length
			t := s.minimise(p, free, true, 6)
			if t.bad {
				break
			}
			p = t.p
			if t.chi2 < limit {
				far = max(far, math.Abs(at-left))
			}
		}
	}
	return far / 2
}
