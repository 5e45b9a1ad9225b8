package spectrum

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"
)

// ErrNoOrder means that no line of the sweep follows the speed.
var ErrNoOrder = errors.New("spectrum: no line follows the speed")

// ErrFewSpeeds means that a sweep does not hold enough different speeds to
// tell a line that follows from one that stays.
var ErrFewSpeeds = errors.New("spectrum: a line that follows the speed takes three speeds, the fastest a third above the slowest; record a sweep")

// Block is the settled part of one step of a sweep.
type Block struct {
	// X is sampled evenly at Rate_Hz.
	X       []float64
	Rate_Hz float64
	// Share is the expected speed over that of the fastest block, above 0,
	// right up to a power between the limits of TrackOptions. Blocks of one
	// command get one share.
	Share float64
	// Most is the largest amplitude that a line can have at its source, in
	// the unit of X; 0 when not known.
	Most float64
}

// TrackOptions for Track; the zero value is ready, but for bounds on what can
// be folded.
type TrackOptions struct {
	// Lo_Hz and Hi_Hz are where the line of the fastest block may lie; 0
	// means 4 bins, and Highest_Hz.
	Lo_Hz, Hi_Hz float64
	// Highest_Hz is the highest frequency that can reach the samples, as in
	// Resolve; 0 when not known: then folds are looked for up to four times
	// the rate. A line from higher still turns about at half the rate more
	// than once in any sweep by a third, so it does not look like one that
	// follows.
	Highest_Hz float64
	// PWM_Hz is the frequency of a command on the wire: its harmonics, folded
	// or not, are no lines; 0 when there is none.
	PWM_Hz float64
	// Least and Greatest bound d(ln frequency)/d(ln Share); 0 means 0.5 and 2.
	Least, Greatest float64
	// Lower lists for which k the source also makes lines at one k-th of the
	// frequency looked for, such as 3 and 6 where the phases of a motor are
	// not alike: then a line k times as high counts instead of the strongest
	// when its amplitude is above one k-th, more than a harmonic of the
	// steepest wave, a saw tooth, has.
	Lower []int
	// Chance is the largest probability of a find in noise; 0 means 1e-4.
	Chance float64
	// Gain is what is left of an amplitude at a true frequency when it
	// reaches the samples, 0 to 1; nil when nothing is known to dampen it.
	Gain func(f_Hz, rate_Hz float64) float64
}

const (
	defaultLeast    = 0.5
	defaultGreatest = 2
	// defaultChance of a find in noise: over a working life of 50,000 tests a
	// handful (chosen; a tenth of it asks 0.1 dB more of a line that shows in
	// nine blocks).
	defaultChance = 1e-4
	// slack is how far a line may lie from a parabola between the logarithms
	// of share and frequency. Where the share is the cube root of the power,
	// a real staircase of 15 to 100 % duty keeps within 0.8 % of one, friction
	// of first and third order from a fifth of full speed within 1.6 %.
	slack = 0.02
	// apart is how much two shares differ that count as two speeds: more than
	// the slack, less than steps of ten per cent.
	apart = 0.05
	// spread is the least ratio of the fastest to the slowest share: over it
	// a line that follows at the least power moves by an eighth, far beyond
	// what a line does that stays.
	spread = 1.3
	// speeds is the least number of different speeds with a line in each.
	speeds = 3
	// capped is the most that one block counts, in nats (chosen): so that no
	// one or two strong lines make an order, which takes some 40.
	capped = 16
	// beyond is up to how many times the rate folds are looked for.
	beyond = 4
	// rival is the amplitude, over that of the line found, from which another
	// line that follows and is folded may as well be the one looked for
	// (chosen; side bands and harmonics of high order are weaker).
	rival = 0.25
	// orders of one shaft that stand out: once a turn, the phases', the
	// blades', the ripple (chosen).
	orders = 4
	// visible is the evidence from which a block counts as having a line: ln
	// of one in a hundred.
	visible = 4.605
	// foldChance is the probability that folding counts as excluded below.
	foldChance = 1e-3
)

// smears are the widths that a line is looked for at, as shares of its
// frequency: how far a speed may wander within a block.
var smears = [...]float64{0, 0.003, 0.01}

// Tracked is a line that follows the speed through a sweep.
type Tracked struct {
	// Lines, one a block, in the order of the blocks; Frequency_Hz is NaN
	// where none stands out.
	Lines []Line
	// Hidden is the amplitude of the largest line that could be in a block
	// and not be found if it were alike in all, one a block; NaN for a block
	// too short. It is filled in with ErrNoOrder too.
	Hidden []float64
	// At_Hz and Exponent are the law through the lines: a block of share s
	// has its line at At_Hz·s^Exponent.
	At_Hz, Exponent float64
	// Chance bounds the probability that noise alone gives a line that
	// follows as well: the number of laws and of bins near them, times the
	// probability that one such choice holds as much power (union bound; the
	// power of noise in a bin is exponential).
	Chance float64
	// FoldChance bounds the probability that the line is a folded one: that
	// noise made what a folded line does not explain. 0 when sampling cannot
	// have folded anything.
	FoldChance float64
	// Likely_Hz is the true frequency in the fastest block, with ErrAliased
	// too: there the likeliest, for saying how fast to sample.
	Likely_Hz float64
}

// Track finds the line whose frequency follows the speed from block to block.
// Of several it takes the strongest. Lines that stay where they are whatever
// the speed (mains, switching) do not count. ErrFewSpeeds, ErrNoOrder;
// ErrAliased when the line is folded, when it may be, or lies above 0.4 of the
// rate at the highest share; and errors as Analyzer.Spectrum.
func Track(blocks []Block, o TrackOptions) (Tracked, error) {
	o.fill(blocks)
	out := Tracked{Lines: make([]Line, len(blocks)), Hidden: make([]float64, len(blocks)), Chance: 1, FoldChance: 1, At_Hz: math.NaN(), Exponent: math.NaN(), Likely_Hz: math.NaN()}
	for i := range out.Lines {
		out.Lines[i] = noLine()
		out.Hidden[i] = math.NaN()
	}
	w, err := newSweep(blocks, o)
	if err != nil {
		return out, err
	}
	w.maskSwitching()
	w.maskConstant()
	w.hidden(out.Hidden)
	straight := w.looked(w.straights())
	if !straight.found(o) {
		if folded := w.search(true); folded.found(o) {
			return out, w.refuse(&out, folded, "the line that follows the speed is folded")
		}
		return out, ErrNoOrder
	}
	if straight.hz[0] > usable*w.blocks[0].rate {
		if folded := w.search(true); folded.found(o) && folded.lnChance < straight.lnChance {
			straight = folded // of which it is the lower part
		}
		return out, w.refuse(&out, straight, "the line lies above 0.4 of the rate")
	}
	lnFold := w.foldedAsWell(straight)
	out.FoldChance = math.Exp(min(0, lnFold))
	if lnFold > math.Log(foldChance) {
		return out, w.refuse(&out, straight, "a folded line would look the same")
	}
	if r := w.rival(straight); r.found(o) {
		return out, w.refuse(&out, r, "another line follows the speed too, and is folded")
	}
	out.Likely_Hz = straight.hz[0]
	out.Chance = math.Exp(straight.lnChance)
	w.tell(&out, straight)
	return out, nil
}

func noLine() Line {
	nan := math.NaN()
	return Line{Frequency_Hz: nan, U_Hz: nan, Amplitude: nan, SNR_dB: nan}
}

func (o *TrackOptions) fill(blocks []Block) {
	if o.Least == 0 {
		o.Least = defaultLeast
	}
	if o.Greatest == 0 {
		o.Greatest = defaultGreatest
	}
	if o.Chance == 0 {
		o.Chance = defaultChance
	}
	if !(o.Highest_Hz > 0) || !finite(o.Highest_Hz) {
		for _, b := range blocks {
			o.Highest_Hz = max(o.Highest_Hz, beyond*b.Rate_Hz)
		}
	}
	if o.Hi_Hz == 0 {
		o.Hi_Hz = o.Highest_Hz
	}
}

// sweep is the blocks of a sweep, fastest first.
type sweep struct {
	o      TrackOptions
	blocks []*band
}

// analyzers keep their plans from sweep to sweep. Hann: side lobes that fall
// fast, a lobe of four bins.
var analyzers = sync.Pool{New: func() any { return new(Analyzer) }}

// newSweep makes the spectra.
func newSweep(blocks []Block, o TrackOptions) (*sweep, error) {
	w := &sweep{o: o}
	a := analyzers.Get().(*Analyzer)
	defer analyzers.Put(a)
	for i, b := range blocks {
		if !(b.Share > 0) || !finite(b.Share) {
			return nil, fmt.Errorf("spectrum: the share of block %d is %g; give one above 0", i, b.Share)
		}
		if len(b.X) < leastSamples {
			continue
		}
		s, err := a.Spectrum(b.X[len(b.X)-smooth(len(b.X)):], b.Rate_Hz)
		if err != nil {
			return nil, fmt.Errorf("block %d of the sweep: %w", i, err)
		}
		w.blocks = append(w.blocks, newBand(s, b, i))
	}
	slices.SortStableFunc(w.blocks, func(p, q *band) int { return cmp.Compare(q.share, p.share) })
	class := 0
	for i, b := range w.blocks {
		if i > 0 && w.firstOf(class, i).share > b.share*(1+apart) {
			class++
		}
		b.class = class
	}
	if n := len(w.blocks); class+1 < speeds || w.blocks[0].share < spread*w.blocks[n-1].share {
		return nil, ErrFewSpeeds
	}
	return w, nil
}

// firstOf is the fastest block of the class that the blocks before i end in.
func (w *sweep) firstOf(class, i int) *band {
	for _, b := range w.blocks[:i] {
		if b.class == class {
			return b
		}
	}
	return w.blocks[i]
}

// refuse says how fast to sample: so that what is likeliest can be told, or,
// where it could be already, so that nothing is folded.
func (w *sweep) refuse(out *Tracked, p path, why string) error {
	out.Likely_Hz = p.hz[0]
	rate := p.hz[0] / usable
	if rate <= w.blocks[0].rate {
		rate = w.o.Highest_Hz / usable
	}
	return fmt.Errorf("%w: %s; it may lie near %.4g Hz: sample at %.3g Hz or faster", ErrAliased, why, p.hz[0], rate)
}
