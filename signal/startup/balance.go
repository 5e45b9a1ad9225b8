package startup

import (
	"fmt"
	"math"

	"dutybench/signal/stat"
)

// Balance is how even the current of failed attempts is from commutation step
// to commutation step: the median over the attempts, the alignment left out.
//
// A board that drives all phases draws the same in all six steps of an
// electrical turn. An open phase leaves up to four of them empty, one dead
// switch leaves two; the gaps come once or twice a turn and take a sixth of
// the time to two thirds. All is NaN where sampling, noise or a filter before
// the shunt would hide them; Why says which.
type Balance struct {
	// Depth is how far the weakest sixth of the time lies below the strong
	// part of the current around it: 0 even, 1 gone. Noise is in it.
	Depth float64
	// Share of the time in which the current is nearer to the weak level than
	// to the strong one, from the first weak stretch to the last; 0 when even.
	Share float64
	// Repeat_Hz is how often weak stretches come, the median: one to two times
	// the electrical rate. NaN where they come in no rhythm, and below 200
	// samples a second, where a faster rhythm could pass for a slower one.
	Repeat_Hz float64
	// Rhythm says that weak stretches come in a rhythm that is steady or
	// changes slowly, as a ramp does.
	Rhythm bool
	// UpTo_Hz is the electrical rate up to which weak steps would show.
	UpTo_Hz float64
	Why     string // not measured, and why; empty when it was
}

const (
	alignShare = 0.20   // of an attempt, at its start: alignment drives one step only
	block_s    = 0.001  // current is averaged over this, many PWM periods (10 kHz and more, common practice), twelve of an 80 Hz electrical turn
	turnBlocks = 12     // of an electrical turn show two of its six steps
	blockNoise = 0.05   // of the height: reads as a depth of a tenth; more noise is averaged down
	slow_Hz    = 16.0   // electrical; where not even this shows, nothing is said: open-loop ramps begin near 5 Hz and end at some tens (chosen, the bound of Attempt.Empty)
	least_s    = 0.2    // a turn at 5 Hz: what is left of an attempt is at least this long
	around_s   = 0.25   // the strong level is taken over this long: more than a gap, less than a drift
	evenDepth  = 0.25   // above the ripple of six-step drive, 1-cos 30° = 13 %, with the noise that is let pass, 10 %; chosen
	mostShare  = 0.8    // an open phase leaves two steps of six: weak for longer is no gap
	goneDepth  = 0.90   // chosen
	rhythm     = 0.25   // in ln: three of four successive intervals differ by less; a block in six is 0.15, a ramp from 5 Hz less, intervals by chance 0.6 and more
	fall_s     = 1.0    // a fall is followed for no longer
	clear_Hz   = 200    // samples a second: gaps of a ramp come up to about 100 times a second
	fallNeper  = 1.0986 // ln 3: a first-order filter falls from 1/2 to 1/6 in this many time constants
)

const (
	noAttempt = "no failed attempt at full effort"
	noisyWhy  = "noise hides the commutation steps"
)

func unknown(why string) Balance {
	nan := math.NaN()
	return Balance{Depth: nan, Share: nan, Repeat_Hz: nan, UpTo_Hz: nan, Why: why}
}

// Even says that the current was measured, and even.
func (b Balance) Even() bool { return b.Depth < evenDepth }

// balance is the median over attempts of those that could be measured.
func (l *look) balance(full []Attempt, cut bool) Balance {
	out := unknown(noAttempt)
	corner := l.corner(full, cut)
	var depth, share, repeat, upTo []float64
	rhythms := 0
	for _, a := range full {
		b := l.weigh(a, corner)
		if b.Why != "" {
			out.Why = b.Why
			continue
		}
		depth, share, upTo = append(depth, b.Depth), append(share, b.Share), append(upTo, b.UpTo_Hz)
		if b.Rhythm {
			rhythms++
		}
		if b.Repeat_Hz > 0 {
			repeat = append(repeat, b.Repeat_Hz)
		}
	}
	if len(depth) == 0 {
		return out
	}
	out = Balance{Depth: stat.MedianInPlace(depth), Share: stat.MedianInPlace(share), UpTo_Hz: stat.MedianInPlace(upTo), Repeat_Hz: math.NaN()}
	if out.Rhythm = 2*rhythms > len(depth); out.Rhythm {
		out.Repeat_Hz = stat.MedianInPlace(repeat)
	}
	return out
}

// corner is the corner frequency in Hz of what filters the current, from how
// fast it falls where the board lets go: the fastest of all attempts, as a
// board may let go slowly, and a filter lets nothing be faster. +Inf when the
// current falls from one sample to the next.
func (l *look) corner(full []Attempt, cut bool) float64 {
	fastest := math.Inf(1)
	for i, a := range full {
		if cut && i == len(full)-1 {
			break
		}
		high, low := l.fall(a)
		fastest = min(fastest, max(0, l.t[low]-l.t[high]-l.interval_s))
	}
	if math.IsInf(fastest, 1) {
		return fastest // no attempt ended
	}
	return fallNeper / (2 * math.Pi * fastest)
}

// fall is where the current falls at the end of an attempt: the last sample
// above half of the height it ends with, and the first after it below a sixth.
func (l *look) fall(a Attempt) (high, low int) {
	from, to := l.samples(a)
	level := l.strong(max(from, index(l.t, l.t[to-1]-around_s)), to)
	for high = to - 1; high > from && l.x[high]-l.rest < level/2; {
		high--
	}
	for low = high; low < len(l.t)-1 && l.x[low]-l.rest > level/6 && l.t[low] < l.t[high]+fall_s; {
		low++
	}
	return high, low
}

// weigh measures one attempt. Where the current is neither even nor weak in a
// rhythm, and noise may be why, it looks again at longer and longer blocks.
func (l *look) weigh(a Attempt, corner float64) Balance {
	high, _ := l.fall(a)
	from, to := index(l.t, a.Start_s+alignShare*a.Length_s), high+1
	if to-from < turnBlocks || l.t[to-1]-l.t[from] < least_s {
		return unknown(fmt.Sprintf("the attempts are too short, %s", seconds(a.Length_s)))
	}
	rate := float64(to-from-1) / (l.t[to-1] - l.t[from])
	n := samplesIn(block_s, rate)
	b, noise := l.uneven(from, to, n, rate)
	for k := 2; noise > blockNoise && !b.Even() && !b.Rhythm; k *= 2 {
		if rate/float64(k*n)/turnBlocks < slow_Hz {
			return unknown(noisyWhy)
		}
		b, _ = l.uneven(from, to, k*n, rate)
	}
	sampled := b.UpTo_Hz
	b.UpTo_Hz = min(sampled, corner)
	switch {
	case b.Rhythm: // the samples resolve it, whatever was to be expected
		if rate < clear_Hz {
			b.Repeat_Hz = math.NaN()
		}
	case sampled < slow_Hz:
		return unknown(fmt.Sprintf("%.0f samples a second show commutation only up to %.0f Hz", rate, sampled))
	case corner < slow_Hz:
		return unknown(fmt.Sprintf("the current falls so slowly that commutation above %.2g Hz would not show", corner))
	}
	return b
}

// uneven measures an attempt in blocks of n samples, and the noise of a block
// in shares of the height.
func (l *look) uneven(from, to, n int, rate float64) (b Balance, noise float64) {
	blocks := rate / float64(n) // a second
	b = Balance{Depth: 1, Share: 1, Repeat_Hz: math.NaN(), UpTo_Hz: blocks / turnBlocks}
	raw := l.noise(l.x[from:to]) / math.Sqrt(float64(n))
	h := l.blocks(from, to, n)
	level := l.rank(h, 0.9)
	if !(level > 0) {
		return b, math.Inf(1)
	}
	// Both hold some of the signal: its course, and the switching of a bridge
	// that is sampled within its period.
	noise = min(raw, l.noise(h)) / level
	l.flatten(h, level, samplesIn(around_s, blocks))
	weak, strong := l.rank(h, 1./12), max(l.rank(h, 0.75), 0.5)
	if b.Depth, b.Share = min(max(1-weak/strong, 0), 1), 0; b.Even() {
		return b, noise
	}
	var every float64
	if b.Share, every = gaps(h, weak, strong); every >= turnBlocks/2 && b.Share < mostShare {
		b.Rhythm, b.Repeat_Hz = true, blocks/every
	}
	return b, noise
}

// flatten holds each block against the strong level around it, so that a
// drift is no gap: the 90 % quantile of each stretch of n blocks, and half of
// the attempt's at least.
func (l *look) flatten(h []float64, level float64, n int) {
	for i := 0; i < len(h); i += n {
		end := i + n
		if end+n/2 > len(h) {
			end = len(h) // too little is left to stand alone
		}
		here := max(l.rank(h[i:end], 0.9), level/2)
		for k := i; k < end; k++ {
			h[k] /= here
		}
		if end == len(h) {
			break
		}
	}
}

// gaps looks for weak stretches: the share of the time in them, from where the
// first begins to where the last does, and the interval of their rhythm in
// blocks, the median; 0 when there is none. It takes four to see a rhythm.
// Blocks below the middle of the two levels are weak; a stretch begins and
// ends a quarter of the way beyond, so that noise at the middle makes none.
func gaps(h []float64, weak, strong float64) (share, every float64) {
	mid, far := (weak+strong)/2, (strong-weak)/8
	low := h[0] < mid
	var intervals, changes []float64
	first, last := -1, -1 // where a stretch began
	total, since, until := 0, 0, 0
	for i, v := range h {
		switch {
		case !low && v < mid-far:
			low = true
			if first < 0 {
				first, since = i, total
			} else {
				intervals = append(intervals, float64(i-last))
			}
			last, until = i, total
		case low && v > mid+far:
			low = false
		}
		if low {
			total++
		}
	}
	if last == first { // none or one
		return float64(total) / float64(len(h)), 0
	}
	share = float64(until-since) / float64(last-first)
	for i := 1; i < len(intervals); i++ {
		changes = append(changes, math.Abs(math.Log(intervals[i]/intervals[i-1])))
	}
	if n := len(changes); n < 2 || stat.Select(changes, n*3/4) > rhythm {
		return share, 0
	}
	return share, stat.MedianInPlace(intervals)
}
