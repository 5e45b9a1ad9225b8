package step

import (
	"math"
	"slices"

	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// Plateau is the settled part of a step.
type Plateau struct {
	Step
	// Start and End are the sample indices of the settled part.
	Start, End int
	// Current is the mean of the settled part in amperes; its budget holds
	// noise (autocorrelation taken into account), converter resolution and
	// the settling left over.
	Current  stat.Quantity
	Median_A float64
	SD_A     float64
	Supply_V float64 // mean at the plug, NaN when not sampled
	// Drift_A is how far the mean still moves over the settled part, last
	// third against first.
	Drift_A float64
	// Settled is false when no part of the step was free of settling. A step
	// of fewer than 16 samples cannot tell and counts as settled.
	Settled bool
}

// blocks is how many blocks a step is cut into to find its settled part:
// enough that a fifth of the step can be told from the rest, few enough that
// a block's mean is quiet.
const (
	blocks      = 50
	leastBlocks = 8
)

// Settle finds the settled part of a step and measures it.
//
// The settling part is dropped by the marginal standard error rule (White,
// "An effective truncation heuristic for bias reduction in simulation
// output", Simulation 69, 1997): of all cuts, take the one that makes the
// standard error of the mean of what is left, s²/(n−d)², least; at most half
// is dropped, and a step where the rule wants more is not settled.
func Settle(tr *trace.Trace, s Step) Plateau {
	t, current := tr.Time(), tr.Current()
	p := Plateau{Step: s, Start: s.From, End: s.To, Supply_V: math.NaN()}
	p.Settled = true
	if n := min(blocks, (s.To-s.From)/2); n >= leastBlocks {
		if edges, means := blockMeans(t, current, s, n); len(means) >= leastBlocks {
			cut := leastError(means)
			p.Start = edges[cut]
			p.Settled = cut < len(means)/2
		}
	}
	x := current[p.Start:p.End]
	if uneven(t[p.Start:p.End]) {
		p.Current = stat.MeanOver(t[p.Start:p.End], x)
	} else {
		p.Current = stat.MeanOf(x)
	}
	if c := tr.Column(trace.ColCurrent); c != nil && c.Resolution > 0 {
		// A quantised reading is off by up to half a step, uniform; noise of
		// more than a step dithers it away, so it enters once, not per sample
		// (JCGM 100:2008, F.2.2.1).
		p.Current = p.Current.With("resolution", c.Resolution/math.Sqrt(12), 0)
	}
	_, p.SD_A = stat.MeanSD(x)
	p.Median_A = stat.Median(x)
	third := len(x) / 3
	if third > 0 {
		p.Drift_A = stat.Mean(x[len(x)-third:]) - stat.Mean(x[:third])
		// What is left of settling or drift: the mean stands for a value that
		// moves by Drift_A over two thirds of the part, so by half as much
		// again over all of it; taken as uniform.
		p.Current = p.Current.With("settling left over", 1.5*math.Abs(p.Drift_A)/math.Sqrt(12), 0)
	}
	if v := tr.Values(trace.ColSupply); v != nil {
		p.Supply_V = meanSampled(v[p.Start:p.End])
	}
	return p
}

// Plateaus is the settled part of every step that has one.
func Plateaus(tr *trace.Trace) []Plateau {
	steps := Find(tr)
	out := make([]Plateau, 0, len(steps))
	for _, s := range steps {
		out = append(out, Settle(tr, s))
	}
	return out
}

// uneven says that the time from sample to sample is not the same throughout:
// one step is more than half as long again as the mean.
func uneven(t []float64) bool {
	if len(t) < 3 {
		return false
	}
	longest := 0.0
	for i := 1; i < len(t); i++ {
		if d := t[i] - t[i-1]; d > longest {
			longest = d
		}
	}
	return longest*float64(len(t)-1) > 1.5*(t[len(t)-1]-t[0])
}

// blockMeans cuts a step into n blocks of equal time and returns the index of
// each block's first sample and its mean. Blocks without a sample
// (uneven recording) are left out.
func blockMeans(t, x []float64, s Step, n int) (edges []int, means []float64) {
	t0, dt := t[s.From], (t[s.To-1]-t[s.From])/float64(n)
	i := s.From
	for b := 1; b <= n && i < s.To; b++ {
		end := t0 + float64(b)*dt
		start, sum := i, 0.0
		for i < s.To && (t[i] < end || b == n) {
			sum += x[i]
			i++
		}
		if i > start {
			edges = append(edges, start)
			means = append(means, sum/float64(i-start))
		}
	}
	return edges, means
}

// leastError is the cut, at most half, that leaves the least standard error.
// Block means of the second half that lie further than six robust deviations
// from its median are drawn in first, so that one drop-out late in a step does
// not read as settling.
func leastError(means []float64) int {
	m := slices.Clone(means)
	sorted := slices.Clone(means[len(means)/2:])
	slices.Sort(sorted)
	med := sorted[len(sorted)/2]
	spread := 6 * stat.RobustSD(sorted)
	for i := len(m) / 2; i < len(m); i++ {
		m[i] = min(max(m[i], med-spread), med+spread)
	}
	best, cut := math.Inf(1), 0
	var sum, sum2 float64
	for i := len(m) - 1; i >= 0; i-- {
		d := m[i] - med
		sum += d
		sum2 += d * d
		k := float64(len(m) - i)
		if i > len(m)/2 {
			continue
		}
		if e := (sum2/k - (sum/k)*(sum/k)) / k; e <= best {
			best, cut = e, i
		}
	}
	return cut
}

func meanSampled(v []float64) float64 {
	var sum float64
	n := 0
	for _, x := range v {
		if !math.IsNaN(x) {
			sum += x
			n++
		}
	}
	if n == 0 {
		return math.NaN()
	}
	return sum / float64(n)
}
