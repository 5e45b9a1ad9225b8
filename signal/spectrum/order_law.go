package spectrum

import (
	"math"
	"slices"
)

// law is ln f = a + b·u + c·u², u the logarithm of the share over the highest.
type law struct{ a, b, c float64 }

func (l law) at(u float64) float64 { return math.Exp(l.a + u*(l.b+u*l.c)) }

// through three points; false when it is too steep or too flat between u = 0
// and end for the bounds of the power.
func (w *sweep) through(u, f [3]float64, end float64) (law, bool) {
	y0, y1, y2 := math.Log(f[0]), math.Log(f[1]), math.Log(f[2])
	d1, d2 := (y1-y0)/(u[1]-u[0]), (y2-y1)/(u[2]-u[1])
	c := (d2 - d1) / (u[2] - u[0])
	b := d1 - c*(u[0]+u[1])
	l := law{y0 - u[0]*(b+u[0]*c), b, c}
	lo, hi := min(b, b+2*c*end), max(b, b+2*c*end)
	// Slack at both ends of the sweep turns the slope by so much.
	room := 2 * slack / max(-end, slack)
	return l, lo >= w.o.Least-room && hi <= w.o.Greatest+room
}

// u of a block.
func (w *sweep) u(i int) float64 { return math.Log(w.blocks[i].share / w.blocks[0].share) }

// path is a law with the true frequency nearest it that shows most, a block,
// fastest first, as many as were used.
type path struct {
	law      law
	hz, e    []float64 // e at most capped
	weight   []float64 // e as weigh gives it
	smear    float64
	lnChance float64
	speeds   int // different ones with a line
}

func (p path) found(o TrackOptions) bool {
	return len(p.hz) > 0 && p.speeds >= speeds && p.lnChance < math.Log(o.Chance)
}

// search is the likeliest path, over smears and over how many speeds from the
// fastest take part, as a line may drown at low speeds. A chain from block to
// block gives points; the law through three of them that shows most counts.
func (w *sweep) search(folded bool) path {
	best := path{lnChance: math.Inf(1)}
	for _, smear := range smears {
		p := w.searchAt(smear, folded)
		switch {
		case !p.found(w.o) || !best.found(w.o):
			if p.lnChance < best.lnChance {
				best = p
			}
		default:
			// The width that suits shows most.
			n := min(len(p.hz), len(best.hz))
			if total(p.weight[:n]) > total(best.weight[:n]) {
				best = p
			}
		}
	}
	return best
}

func (w *sweep) searchAt(smear float64, folded bool) path {
	best := path{lnChance: math.Inf(1)}
	cols := w.columns(smear, folded)
	w.run(cols, folded, func(n int) {
		last := w.blocks[n-1].class
		if last+1 < speeds || n < len(w.blocks) && w.blocks[n].class == last {
			return
		}
		hz, e := back(cols, n)
		most, at := 0.0, path{}
		w.triples(e, func(i, j, k int) {
			l, ok := w.through([3]float64{w.u(i), w.u(j), w.u(k)}, [3]float64{hz[i], hz[j], hz[k]}, w.u(n-1))
			if top := l.at(0); !ok || top < w.o.Lo_Hz*(1-slack) || top > w.o.Hi_Hz*(1+slack) {
				return
			}
			p := w.along(cols[:n], l, smear)
			if sum := total(p.weight); sum > most && p.speeds >= speeds && folded == (p.hz[0] > w.blocks[0].rate/2) {
				most, at = sum, p
			}
		})
		if most > 0 && at.lnChance < best.lnChance {
			best = at
		}
	})
	return best
}

func total(x []float64) (sum float64) {
	for _, v := range x {
		sum += v
	}
	return sum
}

// triples calls f with the clearest blocks of three speeds, fastest first.
func (w *sweep) triples(e []float64, f func(i, j, k int)) {
	at := w.clearest(e)
	for i := range at {
		for j := i + 1; j < len(at); j++ {
			for k := j + 1; k < len(at); k++ {
				f(at[i], at[j], at[k])
			}
		}
	}
}

// clearest is the block of each speed with most evidence, where visible.
func (w *sweep) clearest(e []float64) (at []int) {
	for i := range e {
		switch n := len(at); {
		case e[i] < visible:
		case n > 0 && w.blocks[at[n-1]].class == w.blocks[i].class:
			if e[i] > e[at[n-1]] {
				at[n-1] = i
			}
		default:
			at = append(at, i)
		}
	}
	return at
}

// along gathers what lies within slack of a law, and bounds its chance: the
// number of laws, times that of choices within the slack, times the
// probability that one of them shows as much, times that of searches.
//
// Laws are counted on a net over their values at the fastest, the middle and
// the slowest share, slack apart: any law lies within 5/4 of half a mesh of
// one of them (5/4 is the most that a parabola through three even points
// makes of their errors), so its choices are within 13/8 slack of that one.
func (w *sweep) along(cols []column, l law, smear float64) path {
	n := len(cols)
	p := path{law: l, smear: smear, hz: make([]float64, n), e: make([]float64, n), weight: make([]float64, n)}
	lnWays, class, sum := w.lnLaws(n), -1, 0.0
	for i := range cols {
		c, v := &cols[i], w.blocks[i]
		f := l.at(w.u(i))
		p.hz[i] = f
		k, _ := slices.BinarySearch(c.f, f)
		if k = min(k, len(c.f)-1); k >= 0 && c.near[k] >= 0 {
			near := c.near[k]
			p.hz[i], p.e[i], p.weight[i] = c.f[near], unweigh(c.e[near]), c.e[near]
		}
		sum += p.e[i]
		lnWays += math.Log(v.choices(f, smear))
		if p.e[i] >= visible && v.class != class {
			class = v.class
			p.speeds++
		}
	}
	p.lnChance = min(0, lnWays+lnGammaTail(n, sum)+math.Log(float64(len(smears)*(w.blocks[len(w.blocks)-1].class+1))))
	return p
}

// choices is how many states lie within 13/8 slack of f, at least 3: those
// beside it count for the rounding.
func (v *band) choices(f, smear float64) float64 {
	return max(3, 2*13.0/8*slack*f/v.step/float64((v.bins(f, smear)+1)/2))
}

// lnLaws is ln of the number of laws over the first n blocks.
func (w *sweep) lnLaws(n int) float64 {
	turn := max(1, (w.o.Greatest-w.o.Least)*-w.u(n-1)/2/slack)
	lo := max(w.o.Lo_Hz, float64(lobe+1)*w.blocks[0].step)
	return math.Log(max(1, math.Log(w.o.Hi_Hz/lo)/slack) * turn * turn)
}
