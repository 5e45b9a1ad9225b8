package coil

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"dutybench/signal/stat"
)

// drift is what the mean of many readings may be off for reasons that are
// neither noise nor motion, as a share of the current; chosen: copper warms by
// 0.05 K in a pulse.
const drift = 2e-4

// coarse is the same while places are compared, so that the samples do not
// bind more than the model can follow from afar; chosen.
const coarse = 0.004

// plenty is how often the needed evidence is beyond a doubt; chosen: at twice
// the kink's threshold noise makes one in some millions.
const plenty = 2

var atRest = []int{pFinal, pOnset, pRate, pCubic, pNinth, pEddy, pDiffuse}
var before = []int{pRate, pEddy}
var quick = []int{pFinal, pRate, pEddy, pLength, pGain, pSpeed, pSpeed + 1, pSpeed + 2}

// withMotion are the parameters of a motion of so many parts.
func withMotion(parts int) []int {
	free := append(append([]int{}, atRest...), pEnd, pLength, pGain)
	for n := range parts - 1 {
		free = append(free, pSpeed+n)
	}
	return free
}

// adjust fits the coil with its plunger held, and then with a motion.
func (e *edge) adjust(k Known, rise bool) (*adjusted, error) {
	a := &adjusted{edge: e, rise: rise, falseAlarm: k.FalseAlarm}
	n := len(e.t)
	after := e.i[e.first:]
	tail := stat.Mean(after[len(after)-max(4, len(after)/10):])
	if rise {
		a.m.scale_A = tail - e.start
		if a.m.scale_A < 6*e.noise {
			return nil, fmt.Errorf("%w (%.3g A of change in noise of %.3g A)", ErrNoEdge, a.m.scale_A, e.noise)
		}
	} else {
		a.m.start = e.start - k.Offset_A
		if a.m.start < 6*e.noise {
			return nil, fmt.Errorf("%w (%.3g A before the switch opened, in noise of %.3g A)", ErrNoEdge, a.m.start, e.noise)
		}
		a.m.scale_A = a.m.start
		e.start = k.Offset_A
		e.cutOff()
		n = len(e.t)
	}
	// The area beside the current, over the change, is the time constant.
	var area float64
	for j := max(e.first, 1); j < n; j++ {
		i := (e.i[j]+e.i[j-1])/2 - e.start
		if rise {
			i = a.m.scale_A - i
		}
		area += i * (e.t[j] - e.t[j-1])
	}
	span := e.t[n-1] - e.onset
	tau := min(max(area/a.m.scale_A, e.step/4), span)
	a.m.flux = tau * a.m.scale_A
	a.priors(k, tau, span)
	a.setParts(fewParts)
	a.search()
	return a, nil
}

func (a *adjusted) priors(k Known, tau, span float64) {
	inf := math.Inf(1)
	pr := &a.prior
	for n := range allParameters {
		pr.sd[n], pr.low[n], pr.high[n] = inf, -inf, inf
	}
	pr.mean[pOnset] = a.onset
	pr.sd[pOnset] = 10 * a.step
	if k.Switched {
		pr.sd[pOnset] = a.step
	}
	pr.low[pOnset], pr.high[pOnset] = a.onset-20*a.step, a.onset+20*a.step
	pr.mean[pRate] = -math.Log(tau)
	pr.low[pRate], pr.high[pRate] = math.Log(0.02/span), math.Log(50/a.step)
	pr.sd[pCubic], pr.sd[pNinth] = 1, 1
	pr.low[pCubic], pr.low[pNinth] = -0.5, -0.5
	pr.sd[pEddy], pr.low[pEddy], pr.high[pEddy] = 1, 0, 5
	pr.mean[pDiffuse], pr.sd[pDiffuse] = math.Log(tau/3), 1.5
	pr.low[pDiffuse], pr.high[pDiffuse] = math.Log(a.step/4), math.Log(10*span)
	pr.low[pEnd], pr.high[pEnd] = a.onset, a.onset+span
	pr.low[pLength], pr.high[pLength] = math.Log(2*a.step), math.Log(span)
	pr.sd[pGain], pr.low[pGain], pr.high[pGain] = 1.5, -3, 3
	pr.mean[pFinal] = a.m.scale_A
	if !a.rise {
		pr.mean[pFinal] = 0
		pr.sd[pFinal] = a.m.scale_A
		pr.high[pFinal] = 0
		if k.Diode_V.Value > 0 && k.Resistance_ohm.Value > 0 {
			to := ratio(k.Diode_V, k.Resistance_ohm)
			pr.mean[pFinal], pr.sd[pFinal] = -to.Value, max(to.U(), 0.01*a.m.scale_A)
		}
	}
}

// search fits both models, the second from several places.
func (a *adjusted) search() {
	g := a.blocks(30, 0, 0, coarse*a.m.scale_A)
	s := newSolver(&a.m, g, &a.prior)
	a.rest = s.minimise(a.prior.mean, atRest, false, 20)
	sign := a.sign()
	var found list
	a.dip = a.kinks(sign, func(k kink) { found.add(k, a.onset) })
	a.strongest = found.best
	if a.decide(); a.found != Moved {
		a.last = newSolver(&a.m, a.blocks(60, 0, 0, drift*a.m.scale_A), &a.prior)
		a.rest = a.last.minimise(a.rest.p, atRest, false, 15)
		a.last.covariance(&a.rest, atRest, false)
		return
	}
	if n := slices.IndexFunc(a.strongest, func(k kink) bool { return k.gain < a.kinked }); n > 0 {
		// Beside one that noise does not make, those that it does are none.
		a.strongest = a.strongest[:n]
	}
	for n := range a.strongest {
		a.refine(&a.strongest[n], sign)
	}
	slices.SortFunc(a.strongest, func(x, y kink) int { return cmp.Compare(y.gain, x.gain) })
	// The strongest kink is the end, unless a motion that ends there leaves
	// more than noise and another does not.
	best := solution{chi2: math.Inf(1), bad: true}
	var place kink
	places := a.places()
	for n, k := range places {
		t := a.end(s, k)
		plain := t.chi2 < float64(t.dof)*enough(t.dof)
		if n == 0 || t.chi2 < best.chi2 && (plain || k.gain < significant) {
			best, place = t, k
		}
		if k.gain > significant && plain {
			break
		}
	}
	if best.bad {
		a.last = s
		s.covariance(&a.rest, atRest, false)
		a.found, a.why = NotMeasured, "the current is not that of a coil at a constant voltage"
		return
	}
	a.pin(place)
	length := math.Exp(best.p[pLength])
	from := best.p[pEnd] - length
	g = a.blocks(60, from-length/4, from+1.5*length, drift*a.m.scale_A)
	s = newSolver(&a.m, g, &a.prior)
	free := withMotion(fewParts)
	best.p[pEnd] = min(max(best.p[pEnd], a.prior.low[pEnd]), a.prior.high[pEnd])
	a.moving = s.minimise(best.p, free, true, 10)
	if a.moving.chi2 > enough(a.moving.dof)*float64(a.moving.dof) {
		p := a.split()
		free = withMotion(parts)
		a.moving = s.minimise(p, free, true, 25)
	}
	if a.evidence < plenty*a.needed {
		// What hardly passed has to be a motion as a whole too: a coil at rest must
		// leave more of the same readings than one with a motion, by as much and by
		// what its parameters take of noise.
		if rest := s.minimise(a.rest.p, atRest, false, 15); rest.chi2-a.moving.chi2 < a.needed+float64(len(free)-len(atRest)) {
			a.found = Still
			a.rest, a.last = rest, s
			s.covariance(&a.rest, atRest, false)
			return
		}
	}
	s.covariance(&a.moving, free, true)
	a.parts = a.m.parts
	a.place = place
	a.leave()
	a.last = s
}

// begun is where a search for a motion begins: the coil as the current before
// the motion shows it, and the inductance behind it from the area beside the
// whole current.
func (a *adjusted) begun(s *solver, end, length float64) parameters {
	p := a.prior.mean
	s.until, _ = slices.BinarySearch(s.g.t, end-length)
	s.until = max(s.until, min(6, len(s.g.t)))
	p = s.minimise(p, before, false, 6).p
	s.until = len(s.g.t)
	gain := math.Log(a.m.flux/a.m.scale_A) + p[pRate]
	if a.rise {
		gain = max(gain, 0.05)
	} else {
		gain = min(-gain, -0.05)
	}
	p[pEnd], p[pLength], p[pGain] = end, math.Log(length), min(max(gain, -2), 2)
	return p
}

// setParts says of how many parts the motion is sought. What is known of the
// speed is that it tends to grow: a force that grows with time moves a mass by
// the power of 2 to 3 of time, with a wide margin for all else (chosen).
func (a *adjusted) setParts(n int) {
	a.m.parts = n
	for k := range n - 1 {
		u := float64(k+1) / float64(n)
		a.prior.mean[pSpeed+k], a.prior.sd[pSpeed+k] = 1.5*math.Log(u), 0.5-math.Log(u)
		a.prior.low[pSpeed+k], a.prior.high[pSpeed+k] = -6, 2.5
	}
}
