package commutator

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sync"

	"dutybench/signal/spectrum"
	"dutybench/signal/stat"
)

const (
	// usable is the share of the rate up to which a line gives a speed: nearer
	// half of it, filters and folding leave too little.
	usable = 0.4
	// chance of a find in noise that is taken for a line, over all places and
	// slopes that were tried (chosen: one test in a thousand; ten times as much
	// asks 0.6 dB less of a steady line of one second at 20 kHz).
	chance = 1e-3
	// steepest is how far the frequency may move over a block, as a share of its
	// middle, either way.
	steepest = 0.25
	// capped is the most that one piece counts, in nats, so that a burst in one
	// does not make a line through all.
	capped = 40.0
	// leastPeriods of the ripple a piece must hold: a window's lobe of four bins
	// then keeps clear of the mean, and the frequency within a bin is one part in
	// a hundred once interpolated.
	leastPeriods = 8
	// leastSamples of a block.
	leastSamples = 64
	// most lines that are kept.
	mostLines = 24
)

// levels are into how many pieces a block is cut: one for a steady line, more for
// one whose frequency moves.
var levels = [...]int{1, 2, 4, 8}

// piece is the spectrum of a part of a block, as power over the noise round it.
type piece struct {
	at    float64 // of its middle, -0.5 to 0.5 of the block
	ratio []float64
	amp   []float64
}

// cut is a block cut into pieces of one length, half overlapping.
type cut struct {
	parts   int
	length  int // samples of a piece
	step_Hz float64
	pieces  []piece
	mean    []float64 // of ratio over the pieces
	others  []line    // what was taken out as the switching's, in the first of them
}

// line is one track: a bin at the middle of the block that moves by slope of
// itself over the block.
type line struct {
	bin    int
	slope  float64
	hz     float64 // refined, at the middle
	u_Hz   float64
	drift  float64 // refined slope
	amp    float64 // peak value
	energy float64 // power over the noise of a bin of the whole block
	rank   float64
}

var analyzers = sync.Pool{New: func() any { return new(spectrum.Analyzer) }}

// newCut makes the spectra of a block in so many parts; nil where the parts are
// too short.
func newCut(x []float64, rate_Hz float64, parts int, o Options) (*cut, error) {
	n := smooth(len(x) / parts)
	if n < leastSamples {
		return nil, nil
	}
	a := analyzers.Get().(*spectrum.Analyzer)
	defer analyzers.Put(a)
	c := &cut{parts: parts, length: n, step_Hz: rate_Hz / float64(n)}
	hop := max(1, n/2)
	for from := 0; from+n <= len(x); from += hop {
		s, err := a.Spectrum(x[from:from+n], rate_Hz)
		if err != nil {
			return nil, fmt.Errorf("%w: %w", ErrSamples, err)
		}
		p := piece{at: (float64(from)+float64(n)/2)/float64(len(x)) - 0.5, amp: slices.Clone(s.Amplitude)}
		p.ratio = overNoise(p.amp)
		if others := o.mask(&p, rate_Hz, c.step_Hz); c.pieces == nil {
			c.others = others
		}
		c.pieces = append(c.pieces, p)
	}
	c.mean = make([]float64, len(c.pieces[0].ratio))
	for _, p := range c.pieces {
		for k, r := range p.ratio {
			c.mean[k] += r / float64(len(c.pieces))
		}
	}
	return c, nil
}

// smooth is the longest length up to n that a transform is quick with: a product
// of twos, threes and fives.
func smooth(n int) int {
	best := 1
	for a := 1; a <= n; a *= 2 {
		for b := a; b <= n; b *= 3 {
			for c := b; c <= n; c *= 5 {
				best = max(best, c)
			}
		}
	}
	return best
}

// round is how far to each side the noise of a bin is looked at.
const round = 40

// overNoise is each bin's power over the mean power of the noise round it, from
// the median of its neighbours: the power of noise in a bin is exponential, so
// its median is ln 2 of its mean.
func overNoise(amp []float64) []float64 {
	out := make([]float64, len(amp))
	const every = 16
	var near []float64
	at := func(k int) float64 {
		near = near[:0]
		for i := max(2, k-round); i < min(len(amp)-1, k+round+1); i++ {
			near = append(near, amp[i]*amp[i])
		}
		if len(near) == 0 {
			return 0
		}
		slices.Sort(near)
		return near[len(near)/2] / math.Ln2
	}
	b := at(0)
	for k := 0; k < len(amp); k += every {
		a := b
		b = at(min(k+every, len(amp)-1))
		for i := k; i < min(k+every, len(amp)); i++ {
			f := float64(i-k) / every
			out[i] = amp[i] * amp[i] / max(a*(1-f)+b*f, 1e-300)
		}
	}
	return out
}

// lines are the tracks that stand out, strongest first. Where the ripple can be,
// any slope is tried; elsewhere that of the strongest there, and none.
func (c *cut) lines(fits func(hz float64) bool) (out []line) {
	lo, hi := leastPeriods, len(c.mean)-2
	if hi < lo {
		return nil
	}
	best := make([]line, hi-lo+1)
	tried, drift := 0.0, 0.0
	for k := lo; k <= hi; k++ {
		best[k-lo] = line{bin: k, rank: -1}
		if n, _ := c.slopes(k); fits(float64(k) * c.step_Hz) {
			tried += float64(n)
		} else {
			tried += 2
		}
	}
	need := c.need(tried)
	for k := lo; k <= hi; k++ {
		if !fits(float64(k) * c.step_Hz) {
			continue
		}
		for i, each := c.slopes(k); i > 0; i-- {
			c.try(&best[k-lo], each*float64(i/2*(1-i%2*2)), need) // 0, 1, -1, 2 …
		}
	}
	var strongest line
	for i := range best {
		if local(best, i) {
			if l := best[i]; c.refine(&l).energy > strongest.energy {
				strongest = l
			}
		}
	}
	drift = strongest.drift
	for k := lo; k <= hi; k++ {
		if !fits(float64(k) * c.step_Hz) {
			c.try(&best[k-lo], 0, need)
			c.try(&best[k-lo], drift, need)
		}
		if s := c.folded(float64(k)*c.step_Hz, drift); s != 0 && math.Abs(s) <= 1 { // beyond, it blurs within a piece
			c.try(&best[k-lo], s, need)
		}
	}
	for i := range best {
		if !local(best, i) {
			continue
		}
		l := best[i]
		c.refine(&l)
		// What turns with one shaft drifts alike, and what has nothing to do with
		// it stands still; what sampling folded drifts the other way. Another slope is
		// that of a track across strong lines.
		_, each := c.slopes(l.bin)
		if each += 0.02; math.Abs(l.drift-drift) > each && math.Abs(l.drift) > each && math.Abs(l.drift-c.folded(l.hz, drift)) > each {
			continue
		}
		out = append(out, l)
	}
	slices.SortFunc(out, func(a, b line) int { return cmp.Compare(b.energy, a.energy) })
	return out[:min(len(out), mostLines)]
}

// folded is by what share a line that appears at a frequency moves over the block
// when it was folded once and what it comes from moves by drift.
func (c *cut) folded(hz, drift float64) float64 {
	rate_Hz := c.step_Hz * float64(c.length)
	return -drift * (rate_Hz - hz) / hz
}

// need is what the pieces of a track must hold together, in so many tries.
func (c *cut) need(tried float64) float64 {
	n := len(c.pieces)
	need := float64(n) + 1
	for lnTail(n, need)+math.Log(max(tried, 1)) > math.Log(chance) {
		need += 0.25
	}
	return need
}

// try puts a slope in the place of a worse one.
func (c *cut) try(l *line, slope, need float64) {
	if sum, rank := c.along(l.bin, slope); sum >= need && rank > l.rank {
		l.slope, l.rank = slope, rank
	}
}

// local says that a track stands higher than those beside it.
func local(best []line, i int) bool {
	for j := max(0, i-2); j <= min(i+2, len(best)-1); j++ {
		if best[j].rank > best[i].rank {
			return false
		}
	}
	return best[i].rank >= 0
}

// slopes is how many slopes are tried at a bin, and by how much the frequency
// differs from one to the next: two bins at either end of the block.
func (c *cut) slopes(bin int) (n int, each float64) {
	if c.parts == 1 {
		return 1, 0
	}
	each = 4 / float64(bin)
	return 1 + 2*int(steepest/each), each
}

// along is what a track's pieces hold, each capped, and their product as a rank.
func (c *cut) along(bin int, slope float64) (sum, product float64) {
	product = 1
	for i := range c.pieces {
		p := &c.pieces[i]
		k := int(float64(bin)*(1+slope*p.at) + 0.5)
		if k >= len(p.ratio) {
			return 0, -1
		}
		sum += min(p.ratio[k], capped)
		product *= 1 + min(p.ratio[k], 1e18)
	}
	return sum, product
}

// lnTail bounds the logarithm of the chance that n powers of noise, each
// exponential with mean 1, hold more than x together, for x above n
// (upper incomplete gamma function, by its geometric bound).
func lnTail(n int, x float64) float64 {
	g, _ := math.Lgamma(float64(n))
	return float64(n-1)*math.Log(x) - x - g - math.Log(1-float64(n-1)/x)
}

// refine finds frequency, drift and amplitude of a track between bins: in each
// piece by a parabola through the logarithms of three bins, then a straight line
// through the pieces.
func (c *cut) refine(l *line) *line {
	var sw, st, stt, sy, sty, power float64
	var ratios []float64
	type point struct{ t, hz, w float64 }
	var list []point
	for i := range c.pieces {
		p := &c.pieces[i]
		near := int(float64(l.bin)*(1+l.slope*p.at) + 0.5)
		k := near
		for j := max(1, near-1); j <= min(near+1, len(p.amp)-2); j++ {
			if p.amp[j] > p.amp[k] {
				k = j
			}
		}
		ratios = append(ratios, p.ratio[min(k, len(p.ratio)-1)])
		hz, amp := float64(k)*c.step_Hz, p.amp[k]
		if k > 0 && k < len(p.amp)-1 && amp >= p.amp[k-1] && amp >= p.amp[k+1] {
			hz, amp = (spectrum.Spectrum{Amplitude: p.amp, Step_Hz: c.step_Hz}).Peak(k)
		}
		power += amp * amp / float64(len(c.pieces))
		w := min(p.ratio[k], 1e6)
		list = append(list, point{p.at, hz, w})
		sw, st, stt, sy, sty = sw+w, st+w*p.at, stt+w*p.at*p.at, sy+w*hz, sty+w*p.at*hz
	}
	// The median: a track that crosses a strong line in some pieces holds little.
	mean := stat.MedianInPlace(ratios)
	l.amp, l.energy = math.Sqrt(power), mean*float64(c.parts)
	// One bin at a signal to noise power of r is known to √6/(2π√r) of the
	// piece's length (Cramér and Rao, as in spectrum.Line).
	bound := c.step_Hz * math.Sqrt(3) / math.Pi / math.Sqrt(max(mean, 1))
	if len(list) < 3 {
		l.hz, l.u_Hz = sy/sw, math.Hypot(bound, 0.02*c.step_Hz)
		return l
	}
	det := sw*stt - st*st
	l.hz = (stt*sy - st*sty) / det
	grad := (sw*sty - st*sy) / det
	l.drift = grad / l.hz
	var off float64
	for _, q := range list {
		d := q.hz - l.hz - grad*q.t
		off += q.w * d * d / sw
	}
	l.u_Hz = math.Sqrt((off+bound*bound)/float64(c.parts)) + 0.02*c.step_Hz
	return l
}
