package startup

import (
	"math"
	"slices"

	"dutybench/signal/stat"
	"dutybench/signal/step"
	"dutybench/signal/trace"
)

// Pattern is what the attempts of one start have in common. It holds what was
// measured and judges no cause.
type Pattern struct {
	N      int     // attempts, as Find has them
	Ran    bool    // the last of them went over into running
	Failed int     // attempts that did not
	Full   int     // failed attempts at full effort: Failed without those among Resets
	Cut    bool    // the last attempt was still on when the command or the trace ended
	Run_s  float64 // how long the run was commanded; NaN when none was

	// Length and height of the failed attempts at full effort. An attempt that
	// was cut has no length. Low and high are the least and the greatest.
	Length_s, LengthLow_s, LengthHigh_s float64
	LengthSpread                        float64 // SD/mean; NaN below two
	Equal                               bool    // two or more, and alike in length, see alike
	Height_A                            float64 // mean current above rest
	HeightSpread                        float64 // SD/mean; NaN below two

	Rests_s    []float64 // from the end of each attempt to the start of the next
	RestsEqual bool      // two or more, and alike
	// Period_s is the mean time from end to end of attempts, NaN below two.
	// Where a phase is open, the current may begin late, but the board ends an
	// attempt when its time is up.
	Period_s    float64
	PeriodEqual bool
	RestGrowth  float64 // mean ratio of successive rests; NaN below two rests
	Growing     bool

	// Silent_s is how long the run was still commanded after the last attempt
	// had ended; NaN when it ran, was cut, or there was no attempt.
	Silent_s float64
	// Latched says that Silent_s is longer than the unit's own rhythm explains.
	Latched   bool
	Latched_s float64 // Silent_s when Latched, else NaN

	Sticky bool // failed attempts at full effort, and then it ran
	// Resets are the wake-ups that came to nothing: attempts much shorter or
	// lower than the one that ran, and stretches lower than an attempt that
	// went back to rest.
	Resets int

	Balance Balance
}

const (
	alikeShare  = 0.10 // lengths and rests this close are equal; chosen: a board's timer holds a per cent, what ends an attempt is judged over a few turns
	growShare   = 1.25 // the last rest over the first; chosen: back-off doubles or adds as much again (common practice, no source)
	growLevel   = 0.95 // confidence that the growth is no scatter
	latchFactor = 3.0  // chosen: a rest that doubles once more is not yet twice the period before it
	nextFactor  = 1.5  // over the rest that growth foretells; chosen
	resetShare  = 0.5  // of the height, or of the effort's time, of the attempt that ran: less is no full attempt
	effort_s    = 0.1  // of an attempt tells how hard the board drives a rotor that hardly turns yet
)

// Describe measures the attempts of a start that Find or FindAll has found in
// the trace. The command's end is where the supply goes or the duty goes back
// to what it was before the run, or to none.
func Describe(tr *trace.Trace, s Startup) Pattern { return describe(tr, step.Energised(tr), s) }

// DescribeAll is Describe for each start of one trace.
func DescribeAll(tr *trace.Trace, starts []Startup) []Pattern {
	live := step.Energised(tr)
	out := make([]Pattern, len(starts))
	for i, s := range starts {
		out[i] = describe(tr, live, s)
	}
	return out
}

func describe(tr *trace.Trace, live func(int) bool, s Startup) Pattern {
	nan := math.NaN()
	p := Pattern{N: len(s.Attempts), Ran: s.Ran, Run_s: nan, Length_s: nan, LengthLow_s: nan, LengthHigh_s: nan,
		LengthSpread: nan, Height_A: nan, HeightSpread: nan, RestGrowth: nan, Period_s: nan, Silent_s: nan, Latched_s: nan, Balance: unknown(noAttempt)}
	t := tr.Time()
	if math.IsNaN(s.Commanded_s) || len(t) == 0 {
		p.N, p.Ran = 0, false
		return p
	}
	l := look{t: t, x: tr.Current(), rest: s.Rest_A, rate_Hz: tr.Rate(), step_A: tr.Column(trace.ColCurrent).Resolution}
	if l.rate_Hz > 0 {
		l.interval_s = 1 / l.rate_Hz
	}
	edge := 2 * max(smooth_s, l.interval_s) // two windows of Find's envelope: what a time may be wrong by
	cmd := min(index(t, s.Commanded_s), len(t)-1)
	end := commandEnd(tr.Duty(), live, cmd)
	end_s := t[end-1] + l.interval_s
	p.Run_s = end_s - t[cmd]

	var full []Attempt
	ran := s.running()
	l.effort(ran, s.Settled_s)
	for _, a := range s.Attempts {
		if !a.Running {
			p.Failed++
			if !l.brief(a) {
				full = append(full, a)
			}
		}
	}
	p.Full = len(full)
	p.Sticky = p.Ran && p.Full > 0
	p.Resets = p.Failed - p.Full + l.wakeUps(s, still(tr.Duty(), live, cmd), cmd, end)
	if n := len(s.Attempts); n > 0 && ran == nil {
		last := s.Attempts[n-1].end()
		if p.Cut = last >= end_s-edge; !p.Cut {
			p.Silent_s = end_s - last
		}
	}
	p.sizes(full, l.rest, edge)
	p.rests(s.Attempts, edge)
	p.latch(s.Attempts)
	p.Balance = l.balance(full, p.Cut)
	return p
}

// sizes measures length and height of the attempts at full effort.
func (p *Pattern) sizes(full []Attempt, rest, edge float64) {
	var lengths, heights []float64
	for i, a := range full {
		heights = append(heights, a.Mean_A-rest)
		if !(p.Cut && i == len(full)-1) {
			lengths = append(lengths, a.Length_s)
		}
	}
	p.Height_A, p.HeightSpread = spread(heights)
	p.Length_s, p.LengthSpread = spread(lengths)
	if len(lengths) > 0 {
		p.LengthLow_s, p.LengthHigh_s = slices.Min(lengths), slices.Max(lengths)
	}
	p.Equal = len(lengths) >= 2 && alike(lengths, edge)
}

// rests measures the times between attempts. They grow when the last is
// clearly longer than the first: by a quarter, by more than time resolves, and
// by more than the scatter of the steps between explains. For rests that only
// scatter, ln(last/first) has the deviation of one step of ln rest, so their
// ratio is Student's t with one degree fewer than there are steps; a single
// step has no scatter to be held against.
func (p *Pattern) rests(a []Attempt, edge float64) {
	for i := 1; i < len(a); i++ {
		p.Rests_s = append(p.Rests_s, max(0, a[i].Start_s-a[i-1].end()))
	}
	var periods []float64
	for i := 1; i < len(a) && !a[i].Running && !(p.Cut && i == len(a)-1); i++ {
		periods = append(periods, a[i].end()-a[i-1].end())
	}
	p.Period_s = stat.Mean(periods)
	p.PeriodEqual = len(periods) >= 2 && alike(periods, edge)
	p.RestsEqual = len(p.Rests_s) >= 2 && alike(p.Rests_s, edge)
	var logs, ratios []float64
	for i := 1; i < len(p.Rests_s); i++ {
		if r := p.Rests_s[i] / p.Rests_s[i-1]; r > 0 && !math.IsInf(r, 1) {
			ratios, logs = append(ratios, r), append(logs, math.Log(r))
		}
	}
	if len(ratios) == 0 {
		return
	}
	p.RestGrowth = stat.Mean(ratios)
	first, last := p.Rests_s[0], p.Rests_s[len(p.Rests_s)-1]
	if len(ratios) < len(p.Rests_s)-1 || last < growShare*first || last-first < 2*edge {
		return
	}
	p.Growing = len(logs) < 2 || math.Log(last/first) > stat.StudentT(growLevel, float64(len(logs)-1))*stat.SD(logs)
}

// latch says whether the unit has given up: for three of its longest periods,
// from start to start of an attempt, no further one. A board that only rests
// longer each time would have come back by then unless its rests more than
// triple; where they grow as fast as that, the silence must outlast the next
// rest by half. A single attempt has shown no rhythm, so nothing is said.
func (p *Pattern) latch(a []Attempt) {
	longest := 0.0
	for i := 1; i < len(a); i++ {
		longest = max(longest, a[i].Start_s-a[i-1].Start_s)
	}
	limit := latchFactor * longest
	if p.Growing {
		limit = max(limit, nextFactor*p.RestGrowth*slices.Max(p.Rests_s))
	}
	if p.Latched = longest > 0 && p.Silent_s > limit; p.Latched {
		p.Latched_s = p.Silent_s
	}
}

func (a Attempt) end() float64 { return a.Start_s + a.Length_s }

// running is the attempt that ran; nil when none did.
func (s Startup) running() *Attempt {
	if n := len(s.Attempts); n > 0 && s.Attempts[n-1].Running {
		return &s.Attempts[n-1]
	}
	return nil
}

// spread is mean and relative deviation; NaN where there are too few values,
// or where the mean is not above 0.
func spread(x []float64) (mean, relative float64) {
	mean, sd := stat.MeanSD(x)
	if relative = sd / mean; !(mean > 0) || math.IsInf(relative, 0) {
		return mean, math.NaN()
	}
	return mean, relative
}

// alike says that values lie within 10 % of their mean, or as close as edges
// can be told.
func alike(x []float64, edge float64) bool {
	mean := stat.Mean(x)
	near := max(edge, alikeShare*mean)
	return slices.Max(x)-mean <= near && mean-slices.Min(x) <= near
}

// index is the first sample at a time or after it.
func index(t []float64, at_s float64) int {
	i, _ := slices.BinarySearch(t, at_s)
	return i
}
