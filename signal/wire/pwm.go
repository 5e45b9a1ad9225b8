package wire

import (
	"math"
	"slices"

	"dutybench/signal/stat"
)

// What makes cycles a PWM. A random bus repeats a cycle's length in a quarter
// of all cases: runs of equal bits have lengths n with chance 2^-n, so a cycle
// of n bits has chance (n-1)/2^n, a quarter at most. All chosen from that.
const (
	fewestCycles = 10   // of a bus, ten equal ones have a chance of 4·10^-6
	cycleShare   = 0.75 // of all cycles, of the same length; drop-outs and glitches make the rest
	cycleSpread  = 0.20 // how far a length may lie from the middle one; 4 bits of a bus are no 5
	localSpread  = 0.10 // and from the one before it, where the frequency changes
	surely       = 0.998
	// Above this share it is no bus either, but a PWM that is badly disturbed.
	oddShare = 0.60
)

// regularity says whether cycles repeat.
type regularity struct {
	pwm      bool
	few      bool
	changing bool // each is like the one before, but the frequency changes
	rising   bool // cycles start with rising edges
	used     []cycle
	share    float64 // largest share of cycles of one length
}

// period is the mean of the cycles that repeat.
func (g *regularity) period() float64 {
	sum := 0.0
	for _, c := range g.used {
		sum += c.length()
	}
	return sum / float64(len(g.used))
}

// regular looks for the sort of edge whose spacing repeats best: the one at
// which the other end starts its periods.
func regular(c chain) regularity {
	best := regularity{few: true}
	bestShare, largest := -1.0, 0.0
	for _, rising := range []bool{true, false} {
		all := c.cycles(rising)
		if len(all) < fewestCycles {
			continue
		}
		for _, changing := range []bool{false, true} {
			used := near(all, changing)
			share := float64(len(used)) / float64(len(all))
			lower, _ := stat.ClopperPearson(len(used), len(all), surely)
			g := regularity{pwm: share >= cycleShare && lower > 0.5, changing: changing, rising: rising, used: used}
			if changing { // only where one frequency does not fit
				share -= 0.5
			}
			largest = max(largest, share)
			if share > bestShare || g.pwm && !best.pwm {
				best, bestShare = g, share
			}
		}
	}
	best.share = largest
	return best
}

// near keeps the cycles of the usual length, or those of the length of the one
// before.
func near(all []cycle, changing bool) []cycle {
	lengths := make([]float64, len(all))
	for i, c := range all {
		lengths[i] = c.length()
	}
	middle := stat.Median(lengths)
	used := make([]cycle, 0, len(all))
	last := -2
	for i, c := range all {
		ok := math.Abs(c.length()-middle) <= cycleSpread*middle
		if changing {
			ok = i > 0 && math.Abs(c.length()-lengths[i-1]) <= localSpread*lengths[i-1]
		}
		if ok && c.length() > 0 {
			c.follows = c.follows && last == i-1
			used = append(used, c)
			last = i
		}
	}
	return used
}

// pwm measures frequency and duty over the cycles that repeat.
func (r *Reading) pwm(c chain, g regularity, skew_s, clock float64) {
	n := len(g.used)
	r.Kind, r.Periods = PWM, n
	periods, highs := make([]float64, n), make([]float64, n)
	ends := 0 // of unbroken stretches
	for i, u := range g.used {
		periods[i], highs[i] = u.length(), u.turn-u.start
		if !g.rising {
			highs[i] = u.end - u.turn
		}
		if !u.follows {
			ends += 2
		}
	}
	mean, sd := stat.MeanSD(periods)
	meanHigh, sdHigh := stat.MeanSD(highs)
	r.PeriodJitter_s, r.HighJitter_s = sd, sdHigh
	// Each length has two ends, each known to a rectangle of the resolution.
	edge := c.resolution / math.Sqrt(12)
	r.TimingJitter_s = math.Sqrt2 * edge

	u, dof := blocks(periods)
	period := stat.Quantity{Value: mean}.
		With("jitter", u, dof).
		With("timing", math.Sqrt(float64(ends))*edge/float64(n), 0).
		WithShared("clock", clock*mean)
	r.Frequency_Hz = period.Scale(1 / (mean * mean))
	r.Frequency_Hz.Value = 1 / mean

	shares := make([]float64, n)
	for i := range shares {
		shares[i] = 100 * highs[i] / periods[i]
	}
	u, dof = blocks(shares)
	r.Duty_pct = stat.Quantity{Value: 100 * meanHigh / mean}.With("jitter", u, dof)
	if c.resolution > 0 {
		// Where nothing moves the edges over the steps of the clock, their
		// error is the same in every cycle and does not average out (a third
		// of a step is enough: what is left is below a twentieth of it).
		timing := r.TimingJitter_s / math.Sqrt(float64(n))
		if sdHigh < 0.3*c.resolution {
			timing = r.TimingJitter_s
		}
		r.Duty_pct = r.Duty_pct.With("timing", 100*timing/mean, 0)
	}
	r.Duty_pct = r.Duty_pct.WithShared("comparator delay", 100*skew_s/math.Sqrt(3)/mean)
	slices.Sort(shares)
	// Each of the two ends of a high time is known to a step of the clock only,
	// and may lie a little beyond where the steps are not even.
	scatter := 3 * 100 * c.resolution / mean
	if least, most := shares[n/20], shares[n-1-n/20]; most-least > changes+scatter {
		none := stat.Exact(math.NaN())
		r.DutyLow_pct, r.DutyHigh_pct = least, most
		r.Duty_pct, r.Mean_V, r.HighJitter_s = none, none, math.NaN()
	}
	r.pwmWords(g)
}

// mostBlocks is into how many parts a row is cut to see how its mean varies.
// Chosen: 15 degrees of freedom are enough for a factor within 5 % of that of
// endless many.
const mostBlocks = 16

// blocks is the standard uncertainty of a mean from the means of stretches:
// right where errors add up from one period to the next, too large where each
// edge has an error of its own, which cancels between periods.
func blocks(xs []float64) (u, dof float64) {
	n := min(len(xs), mostBlocks)
	m := len(xs) / n
	means := make([]float64, n)
	for i := range means {
		means[i] = stat.Mean(xs[i*m : (i+1)*m])
	}
	return stat.SD(means) / math.Sqrt(float64(n)), float64(n - 1)
}

// mains says whether a frequency cannot be told from that of the mains. EN
// 50160, 4.2.1 (from memory): 50 Hz within 1 %; the same is taken for 60 Hz.
func mains(f_Hz, u_Hz float64) (float64, bool) {
	for _, m := range []float64{50, 60} {
		if math.Abs(f_Hz-m) <= 0.01*m+2*u_Hz {
			return m, true
		}
	}
	return 0, false
}
