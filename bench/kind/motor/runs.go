package motor

import (
	"math"
	"strings"

	"dutybench/signal/stat"
	"dutybench/signal/step"
	"dutybench/signal/trace"
)

// stretch is samples From up to but not including To, under one duty and supply.
type stretch struct {
	from, to int
	duty_pct float64
	supply   bool
	up       bool
}

func (s stretch) seconds(t []float64) float64 {
	if s.to <= s.from {
		return 0
	}
	return t[s.to-1] - t[s.from]
}

// stretches cuts a trace at each change of duty or supply. step.Find leaves out
// what is too short for a plateau, and a start may be.
func stretches(tr *trace.Trace) (out []stretch) {
	duty, on := tr.Duty(), step.Energised(tr)
	last := math.Inf(-1)
	for i := 0; i < len(duty); {
		j := i + 1
		for j < len(duty) && math.Abs(duty[j]-duty[i]) < 0.25 && on(j) == on(i) {
			j++
		}
		s := stretch{from: i, to: j, duty_pct: duty[i], supply: on(i), up: duty[i] > last}
		out = append(out, s)
		last = duty[i]
		if !s.supply {
			last = math.Inf(-1)
		}
		i = j
	}
	return out
}

// driven says that the unit is asked to turn.
func (s stretch) driven(stop_pct float64) bool { return s.supply && s.duty_pct > stop_pct+0.5 }

// rate is the sampling rate within a stretch; NaN for one too short to have one.
func rate(t []float64, s stretch) float64 {
	if n := s.to - s.from; n >= 3 {
		return float64(n-1) / s.seconds(t)
	}
	return math.NaN()
}

// sampled is the values of a column within a stretch that are there, and where.
func sampled(v []float64, from, to int) (at []int, out []float64) {
	for i := from; i < min(to, len(v)); i++ {
		if !math.IsNaN(v[i]) {
			at, out = append(at, i), append(out, v[i])
		}
	}
	return at, out
}

// mid is the median of what was sampled; NaN when nothing was.
func mid(v []float64, from, to int) float64 {
	_, x := sampled(v, from, to)
	if len(x) == 0 {
		return math.NaN()
	}
	return stat.Median(x)
}

func maxOf(x []float64) float64 {
	m := math.Inf(-1)
	for _, v := range x {
		m = max(m, v)
	}
	return m
}

func minOf(x []float64) float64 {
	m := math.Inf(1)
	for _, v := range x {
		m = min(m, v)
	}
	return m
}

// tripped says that a guard cut the supply for what the unit drew: by too much
// current, by its heat, or because it drew much and did not move. The rule stands
// before the reason, which may name a current where the rule does not.
func tripped(tr *trace.Trace) bool {
	ended, _ := tr.Get(trace.KeyEnded)
	rule, _, _ := strings.Cut(strings.ToLower(ended), ": ")
	for _, w := range []string{"current", "short", "heat", "stall", "still"} {
		if strings.Contains(rule, w) {
			return true
		}
	}
	return false
}
