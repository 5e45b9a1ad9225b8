package spectrum

import (
	"cmp"
	"math"
	"slices"

	"dutybench/signal/stat"
)

const (
	// leastSamples of a block that is looked at: the narrowest floor, both
	// sides, twice over.
	leastSamples = 64
	// The floor of a bin is taken from a quarter of its frequency to either
	// side, as noise is smooth on that scale, from 12 bins at least (fewer
	// know too little) to 128 (more tell nothing new), beyond the lobe.
	floorShare, floorLeast, floorMost, lobe = 0.25, 12, 128, 3
	// hannPair is Σρ over neighbours: the power of Hann bins one apart
	// correlates by (2/3)², two apart by (1/6)² (from the window's terms).
	hannOne, hannTwo = 4.0 / 9, 1.0 / 36
	hannPair         = 1 + 2*(hannOne+hannTwo)
	hannENBW         = 1.5
)

// band is a block's spectrum, ready to be asked how unlikely what is at a
// frequency would be in noise.
type band struct {
	index             int // of the block as given
	class             int // blocks of one speed
	rate, step, share float64
	most, seconds     float64
	power             []float64 // amplitude squared
	floor             []float64 // mean of the noise's power round a bin
	sure              []float64 // that mean's number of exponentials
	open              []bool    // false: not to be looked at
	stays             []bool    // a line that does not follow lies here
	sum, count        []float64 // of power/floor and of open bins, below an index
}

func newBand(s Spectrum, b Block, index int) *band {
	n := len(s.Amplitude)
	v := &band{index: index, rate: s.Rate_Hz, step: s.Step_Hz, share: b.Share, most: b.Most, seconds: float64(s.N) / s.Rate_Hz,
		power: make([]float64, n), floor: make([]float64, n), sure: make([]float64, n), open: make([]bool, n), stays: make([]bool, n),
		sum: make([]float64, n+1), count: make([]float64, n+1)}
	// Rounding leaves this much: less is no line.
	tiny := 1e-13 * (math.Abs(s.Mean) + math.Abs(s.Slope)*v.seconds)
	for k, a := range s.Amplitude {
		v.power[k] = a * a
		// The lowest bins hold the trend, the last ones the fold.
		v.open[k] = k > lobe && k < n-lobe
	}
	v.floors(tiny * tiny)
	v.add()
	return v
}

// floors fills in the mean noise power of every bin: the higher of the medians
// to its left and right, so that no slope or edge of a hump looks like a line.
func (v *band) floors(tiny float64) {
	type stretch struct {
		from, to int
		median   float64
	}
	n := len(v.power)
	width := func(k int) int { return min(max(int(floorShare*float64(k)), floorLeast), floorMost) }
	var all []stretch
	work := make([]float64, 0, floorMost)
	for from := lobe; ; from += max(2, width(from)/4) {
		to := from + width(from)
		if to > n-1 {
			break
		}
		work = append(work[:0], v.power[from:to]...)
		// The median of an exponential is ln 2 of its mean.
		all = append(all, stretch{from, to, stat.MedianInPlace(work) / math.Ln2})
	}
	// The median of n exponentials is known to 1/(n·ln²2) of its square.
	relative := func(s stretch) float64 { return hannPair / (float64(s.to-s.from) * math.Ln2 * math.Ln2) }
	left, right := -1, 0
	for k := range v.power {
		for left+1 < len(all) && all[left+1].to <= k-lobe+1 {
			left++
		}
		for right < len(all) && all[right].from < k+lobe {
			right++
		}
		var m, r float64
		switch {
		case left >= 0 && right < len(all):
			// Of two normal values with variance r the higher lies √(r/π)
			// up and has variance (1−1/π)·r.
			r = (relative(all[left]) + relative(all[right])) / 2
			up := 1 + math.Sqrt(r/math.Pi)
			m, r = max(all[left].median, all[right].median)/up, (1-1/math.Pi)*r/(up*up)
		case left >= 0:
			m, r = all[left].median, relative(all[left])
		case right < len(all):
			m, r = all[right].median, relative(all[right])
		default:
			m, r = math.Inf(1), 1 // too few bins
		}
		v.floor[k], v.sure[k] = max(m, tiny, math.SmallestNonzeroFloat64), 1/r
	}
}

// add sums up anew, after a mask.
func (v *band) add() {
	for k, p := range v.power {
		v.sum[k+1], v.count[k+1] = v.sum[k], v.count[k]
		if v.open[k] {
			v.sum[k+1] += min(p/v.floor[k], 1e12)
			v.count[k+1]++
		}
	}
}

// shut masks what appears within half bins of a true frequency.
func (v *band) shut(f_Hz, half float64) {
	c := Apparent(f_Hz, v.rate) / v.step
	for k := max(0, int(math.Ceil(c-half))); k <= min(len(v.open)-1, int(c+half)); k++ {
		v.open[k] = false
	}
}

// mark keeps the masks so far as those of lines that do not follow.
func (v *band) mark() {
	for k, open := range v.open {
		v.stays[k] = !open && k > lobe && k < len(v.open)-lobe
	}
	v.add()
}

// bins is how many bins a line of true frequency f is smeared over, odd.
func (v *band) bins(f_Hz, smear float64) int {
	return 1 + 2*int(math.Round(smear*f_Hz/v.step/2))
}

// evidence is −ln of the probability that noise shows as much as there is at
// a true frequency over so many bins.
func (v *band) evidence(f_Hz float64, bins int, gain func(f_Hz, rate_Hz float64) float64) float64 {
	c := int(math.Round(Apparent(f_Hz, v.rate) / v.step))
	lo, hi := max(0, c-bins/2), min(len(v.power)-1, c+bins/2)
	n := v.count[hi+1] - v.count[lo]
	if 2*n < float64(bins) {
		return 0
	}
	z := (v.sum[hi+1] - v.sum[lo]) / n
	if z <= 1 {
		return 0
	}
	if v.most > 0 && gain != nil {
		// More than a source can give is no line of that frequency.
		if a := v.most * gain(f_Hz, v.rate); z*n*v.floor[c] > hannENBW*a*a {
			return 0
		}
	}
	return lnTail(z, independent(n), v.sure[c])
}

// independent is how many independent values n neighbouring Hann bins are
// worth, rounded down.
func independent(n float64) int {
	return max(1, int(n*n/(n+2*(n-1)*hannOne+2*max(0, n-2)*hannTwo)))
}

// lnTail is −ln P(mean of k exponentials over the mean of m others ≥ z), F
// with 2k and 2m degrees of freedom, in closed form for whole k:
// x^m·Σ_{j<k} C(m+j−1, j)·(1−x)^j with x = m/(m+kz).
func lnTail(z float64, k int, m float64) float64 {
	if k == 1 {
		return m * math.Log1p(z/m)
	}
	x := m / (m + float64(k)*z)
	term, sum := 1.0, 1.0
	for j := 1; j < k; j++ {
		term *= (m + float64(j) - 1) / float64(j) * (1 - x)
		sum += term
	}
	return -m*math.Log(x) - math.Log(sum)
}

// lnGammaTail is ln P(Σ of n standard exponentials ≥ s).
func lnGammaTail(n int, s float64) float64 {
	term, sum := 1.0, 1.0
	for j := 1; j < n; j++ {
		term *= s / float64(j)
		sum += term
	}
	if n < 1 {
		return 0
	}
	return math.Log(sum) - s
}

// line measures what is at f, smeared over so many bins.
func (v *band) line(f_Hz float64, bins int) Line {
	c := min(max(1, int(math.Round(Apparent(f_Hz, v.rate)/v.step))), len(v.power)-2)
	for k, from := c, c; k <= from+bins/2+1; k++ {
		for _, at := range [...]int{k, 2*from - k} {
			if at > lobe && at < len(v.power)-lobe && !v.stays[at] && v.power[at] > v.power[c] {
				c = at
			}
		}
	}
	floor := v.floor[c]
	sums := func(reach int) (sum, moment float64) {
		for k := max(0, c-reach); k <= min(len(v.power)-1, c+reach); k++ {
			p := v.power[k] - floor
			sum += p
			moment += p * float64(k-c)
		}
		return sum, moment
	}
	sum, moment := sums(bins/2 + 2)
	if narrow, _ := sums(2); narrow > 0.9*sum {
		bins, sum = 1, narrow // it did not wander
	}
	l := Line{Amplitude: math.Sqrt(max(sum, v.power[c]/2) / hannENBW), SNR_dB: min(300, 10*math.Log10(v.power[c]/floor))}
	at := float64(c)
	if bins == 1 {
		// Of a Hann window the two highest bins give the frequency exactly:
		// (2q−1)/(q+1), q the ratio of amplitudes.
		left, right := v.power[c-1], v.power[c+1]
		sign := 1.0
		if left > right {
			sign, right = -1, left
		}
		q := math.Sqrt(right / v.power[c])
		at += sign * max(0, (2*q-1)/(q+1))
	} else if sum > 0 {
		at += max(-float64(bins), min(float64(bins), moment/sum))
	}
	l.Frequency_Hz = at * v.step
	// The bound of Line.U_Hz; and what a line may wander without a wider
	// smear showing more of it, or half the width of one that does.
	density := floor / 2 / (hannENBW * v.step)
	t := v.seconds
	l.U_Hz = hannLoss * math.Sqrt(3*density/(t*t*t)) / (math.Pi * l.Amplitude)
	wander := smears[1] * f_Hz
	if bins > 1 {
		wander = max(wander, float64(bins)*v.step)
	}
	l.U_Hz = math.Hypot(l.U_Hz, wander/2/math.Sqrt(3))
	return l
}

// hannLoss is how much less well two Hann bins know a frequency than the best
// that can be.
const hannLoss = 1.5

// smooth is the largest number up to n whose prime factors are 2, 3 and 5, for
// which the transform is quick.
func smooth(n int) int {
	for ; n > 1; n-- {
		m := n
		for _, p := range [...]int{2, 3, 5} {
			for m%p == 0 {
				m /= p
			}
		}
		if m == 1 {
			return n
		}
	}
	return n
}

// maskSwitching shuts the harmonics of the command on the wire: ten at least,
// and those that reach the samples, as long as half of the bins stay open.
func (w *sweep) maskSwitching() {
	if !(w.o.PWM_Hz > 0) {
		return
	}
	const harmonics, wander = 10, 1e-4 // of two crystals against each other, common practice
	for _, v := range w.blocks {
		shut := 0.0
		for h := 1; ; h++ {
			f := float64(h) * w.o.PWM_Hz
			half := lobe + wander*f/v.step
			if shut += 2*half + 1; h > harmonics && f > w.o.Highest_Hz || shut > float64(len(v.open))/2 {
				break
			}
			v.shut(f, half)
		}
		v.mark()
	}
}

// maskConstant shuts what stands out at one frequency whatever the speed: all
// speeds but the two that show it most, which may have a line of their own
// there, must show together what noise does in fewer than one bin of 100,000.
func (w *sweep) maskConstant() {
	finest := slices.MinFunc(w.blocks, func(p, q *band) int { return cmp.Compare(p.step, q.step) })
	n := w.blocks[len(w.blocks)-1].class + 1
	shows := make([]float64, n*len(finest.power)) // at a bin, speed by speed
	each := make([]int, n)
	for _, v := range w.blocks {
		each[v.class]++
	}
	for _, v := range w.blocks {
		// A speed shows the most of its blocks and of three bins.
		choices := math.Log(float64(3 * each[v.class]))
		for j, open := range v.open {
			if z := v.power[j] / v.floor[j]; open && z > 2 {
				e := min(capped, lnTail(z, 1, v.sure[j])-choices)
				from, to := int(float64(j-1)*v.step/finest.step+0.5), int(float64(j+1)*v.step/finest.step+0.5)
				for k := from; k <= min(len(finest.power)-1, to); k++ {
					at := k*n + v.class
					shows[at] = max(shows[at], e)
				}
			}
		}
	}
	rare := math.Log(1e-5)
	var stays []float64
	for k := range finest.power {
		s := shows[k*n : (k+1)*n]
		slices.Sort(s)
		if lnGammaTail(n-2, total(s[:n-2])) < rare {
			stays = append(stays, float64(k)*finest.step)
		}
	}
	for _, v := range w.blocks {
		for _, f := range stays {
			if f <= v.rate/2 {
				v.shut(f, lobe)
			}
		}
		v.mark()
	}
}
