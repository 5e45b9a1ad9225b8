package coil

import (
	"math"
	"slices"
)

// enough is how much chi-square a degree of freedom noise alone makes, but in
// a few cases of a hundred.
func enough(dof int) float64 {
	return 1 + 2*math.Sqrt(2/float64(max(dof, 1)))
}

// places are where the motion may end: at the kinks, or, where none is sure,
// about the notch.
func (a *adjusted) places() []kink {
	k := a.strongest
	if len(k) > 0 && k[0].gain > significant || a.dip.z*a.dip.z < a.needed {
		n := 1
		for n < len(k) && k[0].gain < 4*significant && k[n].gain > a.kinked {
			n++
		}
		return k[:n]
	}
	out := slices.Clone(k)
	for _, f := range []float64{0, 0.33, 0.67, 1} {
		out = append(out, kink{at: a.dip.at + f*a.dip.width, width: a.dip.width})
	}
	return out
}

// end is the best fit of a motion that ends at a kink.
func (a *adjusted) end(s *solver, k kink) solution {
	a.pin(k)
	best := solution{chi2: math.Inf(1), bad: true}
	for _, share := range []float64{0.2, 0.5, 0.8} {
		length := (k.at - a.onset) * share
		t := s.minimise(a.begun(s, k.at, length), quick, true, 4)
		if t.chi2 < best.chi2 {
			best = t
		}
	}
	if best.bad {
		return best
	}
	return s.minimise(best.p, withMotion(fewParts), true, 8)
}

// split puts a node between each two of the speed of a motion in few parts.
func (a *adjusted) split() parameters {
	p := a.moving.p
	speed := [fewParts + 1]float64{fewParts: 1}
	for n := 1; n < fewParts; n++ {
		speed[n] = math.Exp(p[pSpeed+n-1])
	}
	a.setParts(parts)
	for n := 1; n < parts; n++ {
		p[pSpeed+n-1] = math.Log((speed[n/2] + speed[(n+1)/2]) / 2)
	}
	return p
}

// pin ties the end of the motion to a kink: to its place where it is
// significant, and within a part of its window otherwise.
func (a *adjusted) pin(k kink) {
	sd := k.width / 4
	if k.gain > significant {
		sd = 3 * k.u
	}
	a.prior.mean[pEnd], a.prior.sd[pEnd] = k.at, sd
	a.prior.low[pEnd], a.prior.high[pEnd] = k.at-4*sd, k.at+4*sd
}

// significant is the gain of a kink that places the end of a motion by itself;
// chosen, at twice what a motion is called by.
const significant = 25
