package pump

import (
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/signal/startup"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// starts are the measurements of a start.
var starts = []string{StartAttempts, StartDelay, StartSettle, StartLevel, StartPeak}

// unseen_s is how soon after the first sample a current is no start that the
// trace shows: no board wakes that fast.
const unseen_s = 0.01

func (d *detail) measureStart(tr *trace.Trace, m *kind.Measured) {
	s := d.start
	if math.IsNaN(s.Commanded_s) {
		for _, n := range starts {
			miss(m, n, ruleFor(n).Unit, "the trace holds no command to run")
		}
		return
	}
	if d.faint {
		for _, n := range starts {
			miss(m, n, ruleFor(n).Unit, "the running current is so small beside that of the start that attempts cannot be told from it")
		}
		return
	}
	dt := 1 / max(tr.Rate(), 1)
	add(m, StartAttempts, "", stat.Exact(float64(len(s.Attempts))))
	if len(s.Attempts) == 0 {
		for _, n := range []string{StartDelay, StartSettle, StartLevel, StartPeak} {
			miss(m, n, ruleFor(n).Unit, "the unit made no attempt to start")
		}
		return
	}
	first := s.Attempts[0]
	if t0 := tr.Time()[0]; s.Ran && s.Commanded_s <= t0 && first.Start_s-t0 < unseen_s {
		m.Values = m.Values[:len(m.Values)-1] // attempts before the first sample cannot be counted
		for _, n := range starts {
			miss(m, n, ruleFor(n).Unit, "the unit was running when the trace begins")
		}
		return
	}
	add(m, StartDelay, "s", stat.Quantity{Value: first.Start_s - s.Commanded_s}.With("sampling interval", dt/math.Sqrt(12), 0))
	if s.Ran && !math.IsNaN(s.Settled_s) {
		add(m, StartSettle, "s", stat.Quantity{Value: s.Settled_s - first.Start_s}.With("envelope", 0.005/math.Sqrt(12), 0))
	} else {
		miss(m, StartSettle, "s", "the current never settled after a start")
	}
	d.level = startLevel(tr, s)
	add(m, StartLevel, "A", stat.Quantity{Value: d.level}.With("noise", d.noise/math.Sqrt(max(1, level_s/dt)), 0))
	peak := 0.0
	for _, a := range s.Attempts {
		peak = max(peak, a.Peak_A)
	}
	add(m, StartPeak, "A", stat.Quantity{Value: peak}.With("noise", d.noise, 0))
}

// level_s is how long the first stretch of an attempt is that tells how hard
// the board drives a rotor that hardly turns yet.
const level_s = 0.1

// startLevel is the mean current over the first tenth of a second of an
// attempt, the median over attempts.
func startLevel(tr *trace.Trace, s startup.Startup) float64 {
	t, x := tr.Time(), tr.Current()
	var levels []float64
	for _, a := range s.Attempts {
		i, _ := slices.BinarySearch(t, a.Start_s)
		j := i
		for j < len(t) && t[j] < a.Start_s+min(level_s, max(a.Length_s, 0.01)) {
			j++
		}
		if j > i {
			levels = append(levels, stat.Mean(x[i:j]))
		}
	}
	return stat.Median(levels)
}
