package startup

import (
	"math"

	"dutybench/signal/stat"
)

// look reads the samples of one start. Its slices are used again for each
// attempt.
type look struct {
	t, x       []float64
	rest       float64
	rate_Hz    float64 // mean, over the trace; 0 when no time passes
	step_A     float64 // of the current's converter, 0 when not known
	interval_s float64 // 1/rate_Hz; 0 when no time passes

	ran    *Attempt // nil when none did
	hold_s float64  // how long the attempt that ran shows its full effort

	h, spare []float64
}

// settleShare of the time to settle is taken for the open-loop part of a start
// whose current does not fall behind it; chosen: the rest is speeding up.
const settleShare = 0.4

// samples of an attempt.
func (l *look) samples(a Attempt) (from, to int) {
	from = min(index(l.t, a.Start_s), len(l.t)-1)
	return from, max(from+1, index(l.t, a.end()))
}

// samplesIn is how many samples fit a time best, one at least.
func samplesIn(long_s, rate_Hz float64) int { return max(1, int(math.Round(min(long_s*rate_Hz, 1e9)))) }

// blocks are the means above rest of n samples each; what is left over is
// dropped. Good until the next call.
func (l *look) blocks(from, to, n int) []float64 {
	l.h = l.h[:0]
	for ; from+n <= to; from += n {
		var sum float64
		for _, v := range l.x[from : from+n] {
			sum += v
		}
		l.h = append(l.h, sum/float64(n)-l.rest)
	}
	return l.h
}

// rank is the p quantile of h, which is left as it is; NaN when it is empty.
func (l *look) rank(h []float64, p float64) float64 {
	l.spare = append(l.spare[:0], h...)
	return stat.Select(l.spare, int(p*float64(len(h)-1)))
}

// noise of h from the differences of neighbours. Up to two thirds of them may
// be edges of gaps, so the quietest tenth tells: of a normal value with
// deviation 1, a tenth lies within 0.12566 of 0.
func (l *look) noise(h []float64) float64 {
	l.spare = l.spare[:0]
	for i := 1; i < len(h); i++ {
		l.spare = append(l.spare, math.Abs(h[i]-h[i-1]))
	}
	if len(l.spare) == 0 {
		return 0
	}
	return stat.Select(l.spare, len(l.spare)/10) / (0.12566 * math.Sqrt2)
}

// strong is the 90 % quantile of the current above rest, of samples thinned.
func (l *look) strong(from, to int) float64 {
	l.spare = l.spare[:0]
	for i := from; i < to; i += 1 + (to-from)/thinned {
		l.spare = append(l.spare, l.x[i])
	}
	return stat.Select(l.spare, int(0.9*float64(len(l.spare)-1))) - l.rest
}

// level is the mean current above rest over the first of an attempt, without
// a charging peak.
func (l *look) level(a Attempt, long_s float64) float64 {
	from, to := index(l.t, a.Start_s+charge_s), index(l.t, a.Start_s+long_s)
	if from >= to {
		return math.NaN()
	}
	return stat.Mean(l.x[from:to]) - l.rest
}

// effort measures how long the attempt that ran shows its full effort: until
// the current falls below half of what it was at first, for longer than any
// gap, or else a share of the time to settle.
func (l *look) effort(ran *Attempt, settled_s float64) {
	l.ran = ran
	if ran == nil {
		return
	}
	limit_s := settled_s - ran.Start_s
	if !(limit_s > 0) {
		return
	}
	half := resetShare * l.level(*ran, min(effort_s, ran.Length_s))
	n := samplesIn(smooth_s, l.rate_Hz)
	from, to := index(l.t, ran.Start_s+charge_s), index(l.t, settled_s)
	high_s := math.NaN() // when the current was last at full effort
	for i, v := range l.blocks(from, to, n) {
		at_s := l.t[from+i*n]
		if v >= half {
			high_s = at_s
		} else if at_s > high_s+bridge_s {
			l.hold_s = high_s - ran.Start_s
			return
		}
	}
	l.hold_s = settleShare * limit_s
}

// brief says that an attempt was no full one: much shorter or lower than the
// one that ran.
func (l *look) brief(a Attempt) bool {
	if l.ran == nil {
		return false
	}
	span := min(effort_s, a.Length_s, l.ran.Length_s)
	return a.Length_s < resetShare*l.hold_s || l.level(a, span) < resetShare*l.level(*l.ran, span)
}

// A wake-up stands this many noise widths clear, and by this share of the
// highest attempt, for this long; an awake board draws a per cent or two of
// that, and takes tens of milliseconds to boot.
const (
	wakeNoise = 6
	wakeShare = 0.005
	wake_s    = 0.05
	back_s    = 0.02 // at rest for so long: a board that resets boots anew; chosen
)

// wakeUps counts the stretches of current lower than an attempt that came up
// and went back to rest, from the command to where it ran or the command
// ended. One that touches an attempt belongs to it. None without a rest before
// the command to tell the noise from.
func (l *look) wakeUps(s Startup, still, cmd, end int) int {
	n := samplesIn(smooth_s, l.rate_Hz)
	if l.ran != nil {
		end = min(end, index(l.t, l.ran.Start_s))
	}
	before := l.blocks(still, cmd, n)
	if len(before) < 10 {
		return 0
	}
	noise := stat.RobustSD(before)
	h := l.blocks(cmd, max(cmd, end), n)
	height := 0.0
	for _, a := range s.Attempts {
		height = max(height, a.Mean_A-l.rest)
	}
	quiet := max(0, l.quiet(s.Attempts, h, cmd, n))
	up := max(wakeNoise*noise, l.step_A, wakeShare*height)
	down := quiet + up/2
	up += quiet
	const none, belongs = -1, -2
	count, began, fell := 0, none, none // the blocks where a stretch came up and where it fell
	next := 0                           // the first attempt that has not ended
	ended_s := math.Inf(-1)
	for i, v := range h {
		at_s := l.t[cmd+i*n]
		for next < len(s.Attempts) && s.Attempts[next].end() < at_s {
			ended_s = s.Attempts[next].end()
			next++
		}
		beside := next < len(s.Attempts) && s.Attempts[next].Start_s-bridge_s <= at_s || at_s <= ended_s+bridge_s
		if v > down {
			fell = none
			switch {
			case beside:
				began = belongs // and so does what goes on after the attempt
			case v > up && began == none:
				began = i
			}
			continue
		}
		if fell == none {
			fell = i
		}
		if at_s-l.t[cmd+fell*n] < back_s {
			continue
		}
		if began >= 0 && !beside && l.t[cmd+fell*n]-l.t[cmd+began*n] >= wake_s {
			count++
		}
		began = none
	}
	return count
}

// quiet is the level between attempts, the 2 % quantile of what lies outside
// of them, above rest: an awake board that listens draws a little more.
func (l *look) quiet(a []Attempt, h []float64, cmd, n int) float64 {
	l.spare = l.spare[:0]
	for i, v := range h {
		at_s := l.t[cmd+i*n]
		for len(a) > 0 && a[0].end() < at_s {
			a = a[1:]
		}
		if len(a) == 0 || at_s < a[0].Start_s {
			l.spare = append(l.spare, v)
		}
	}
	if len(l.spare) == 0 {
		return 0
	}
	return stat.Select(l.spare, len(l.spare)/50)
}
