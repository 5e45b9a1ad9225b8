package spectrum

import (
	"math"
	"slices"

	"dutybench/signal/stat"
)

// straights are the straight paths that are found, the strongest
// first; the likeliest there is when none is found.
func (w *sweep) straights() []path {
	defer w.restore(w.masks())
	var all []path
	for len(all) < orders {
		p := w.search(false)
		if !p.found(w.o) {
			if len(all) == 0 {
				all = append(all, p)
			}
			break
		}
		w.polish(&p)
		all = append(all, p)
		w.shutPath(p, 1)
	}
	for i, p := range all {
		if w.over(p, all[0]) > 1 {
			all[0], all[i] = p, all[0]
		}
	}
	return all
}

// polish puts the lines where they are, between the states.
func (w *sweep) polish(p *path) {
	for i, e := range p.e {
		if v := w.blocks[i]; e >= visible {
			p.hz[i] = v.line(p.hz[i], v.bins(p.hz[i], p.smear)).Frequency_Hz
		}
	}
}

// looked is the path looked for: the strongest, or one a multiple as high that
// is no harmonic of it.
func (w *sweep) looked(all []path) path {
	first := all[0]
	for _, p := range all[1:] {
		if k := w.multiple(first, p); k > 0 && float64(k)*w.over(p, first) > 1 {
			return p
		}
	}
	return first
}

// multiple is which of o.Lower p lies at over first; 0 for none.
func (w *sweep) multiple(first, p path) int {
	var ratio []float64
	for i := range min(len(first.hz), len(p.hz)) {
		if first.e[i] >= visible && p.e[i] >= visible {
			ratio = append(ratio, p.hz[i]/first.hz[i])
		}
	}
	r := stat.Median(ratio)
	for _, k := range w.o.Lower {
		if math.Abs(r/float64(k)-1) < slack {
			return k
		}
	}
	return 0
}

// rival is a folded path beside p with its harmonics, and beside whatever else
// follows straight at any frequency, that is strong enough to be the line
// looked for.
func (w *sweep) rival(p path) path {
	defer w.restore(w.masks())
	// Harmonics beyond are weaker than a rival: a saw tooth's are one k-th.
	for h := 1; float64(h) <= 1/rival; h++ {
		if !slices.Contains(w.o.Lower, h) {
			w.shutPath(p, h)
		}
	}
	anywhere := *w
	anywhere.o.Lo_Hz, anywhere.o.Hi_Hz = 0, w.o.Highest_Hz
	for range orders {
		q := anywhere.search(false)
		if !q.found(w.o) || anywhere.foldedAsWell(q) > math.Log(foldChance) {
			break
		}
		w.shutPath(q, 1)
	}
	for range orders {
		r := w.search(true)
		if !r.found(w.o) {
			break
		}
		least := rival
		if k := w.multiple(p, r); k > 0 {
			least = 1 / float64(k)
		}
		if !(w.over(r, p) < least) {
			return r
		}
		w.shutPath(r, 1)
	}
	return path{}
}

// over is the amplitude of q over that of p at the source: the median over the
// blocks where either has a line and neither lies on one that stays.
func (w *sweep) over(q, p path) float64 {
	var ratio []float64
	for i := range min(len(p.hz), len(q.hz)) {
		a, b := w.amplitude(q, i), w.amplitude(p, i)
		if (p.e[i] >= visible || q.e[i] >= visible) && !math.IsNaN(a) && !math.IsNaN(b) {
			ratio = append(ratio, a/b)
		}
	}
	return stat.Median(ratio)
}

// amplitude at the source, NaN where a line stays.
func (w *sweep) amplitude(p path, i int) float64 {
	v, gain := w.blocks[i], 1.0
	if w.o.Gain != nil {
		gain = max(w.o.Gain(p.hz[i], v.rate), 0.01)
	}
	if k := int(math.Round(Apparent(p.hz[i], v.rate) / v.step)); v.stays[min(k, len(v.stays)-1)] {
		return math.NaN()
	}
	return v.line(p.hz[i], v.bins(p.hz[i], p.smear)).Amplitude / gain
}

func (w *sweep) masks() [][]bool {
	var m [][]bool
	for _, v := range w.blocks {
		m = append(m, slices.Clone(v.open))
	}
	return m
}

func (w *sweep) restore(m [][]bool) {
	for i, v := range w.blocks {
		copy(v.open, m[i])
		v.add()
	}
}

// shutPath masks a path's harmonic, 1 for itself.
func (w *sweep) shutPath(p path, harmonic int) {
	for i, v := range w.blocks {
		f, room := p.law.at(w.u(i)), slack
		if i < len(p.hz) && p.e[i] >= visible {
			f, room = p.hz[i], max(p.smear, smears[1])
		}
		f *= float64(harmonic)
		v.shut(f, lobe+room*f/v.step)
		v.add()
	}
}

// tell fills in the lines, and the power law through them. A line is told
// where one block of noise in a hundred would have one near the law; beyond
// the speeds that made the law, one in ten thousand.
func (w *sweep) tell(out *Tracked, p path) {
	cols := w.columns(p.smear, false)
	all := w.along(cols, p.law, p.smear)
	var x, y []float64
	for i, f := range all.hz {
		v := w.blocks[i]
		least := visible + math.Log(v.choices(f, p.smear))
		if i >= len(p.hz) {
			least += visible
		}
		if all.e[i] >= least {
			l := v.line(f, v.bins(f, p.smear))
			out.Lines[v.index] = l
			x, y = append(x, v.share), append(y, l.Frequency_Hz)
		}
	}
	if l, err := stat.PowerLaw(x, y); err == nil {
		out.At_Hz, out.Exponent = l.Factor, l.Exponent
	}
}

// hidden fills in the amplitude that a line, alike in all blocks, would need.
func (w *sweep) hidden(out []float64) {
	n := len(w.blocks)
	l := law{a: math.Log(math.Sqrt(max(w.o.Lo_Hz, w.blocks[0].step) * min(w.o.Hi_Hz, w.blocks[0].rate/2))), b: math.Sqrt(w.o.Least * w.o.Greatest)}
	ways := w.lnLaws(n) + math.Log(float64(len(smears)*(w.blocks[n-1].class+1)))
	for i, v := range w.blocks {
		ways += math.Log(v.choices(l.at(w.u(i)), 0))
	}
	each := 0.0
	for each < capped && ways+lnGammaTail(n, each*float64(n)) > math.Log(w.o.Chance) {
		each += 0.1
	}
	for i, v := range w.blocks {
		u := w.u(i)
		lo := min(max(lobe+1, int(w.o.Lo_Hz*math.Exp(u*w.o.Greatest)/v.step)), len(v.floor)-2)
		hi := min(max(lo+1, int(w.o.Hi_Hz*math.Exp(u*w.o.Least)/v.step)), len(v.floor)-1)
		floor, sure := stat.Median(v.floor[lo:hi]), stat.Median(v.sure[lo:hi])
		// lnTail for one bin, turned round.
		out[v.index] = math.Sqrt(floor * sure * math.Expm1(each/sure))
	}
}
