package upkeep

import (
	"math/rand/v2"
	"slices"

	"dutybench/signal/quality"
)

// How Seen draws its benches; both chosen: 2000 know the shares to some 2 %,
// and nobody waits for more than so many tests.
const (
	benches = 2000
	mostRun = 250
)

// Seen is within how many tests a finding that has moved by two standard
// deviations for good gives an alarm in any way: on half of all benches, and on
// nine of ten. It hangs on how a bench's baseline came out; a mean over benches
// would be that of the few whose limits came out wide. Above mostRun it is not
// known. Drawn with a fixed seed, from the limits of this chart.
func (h *Health) Seen() (half, most int) {
	rng := rand.New(rand.NewPCG(20, 2))
	base, first := make([]float64, h.Baseline), make([]int, benches)
	for n := range first {
		for i := range base {
			base[i] = rng.NormFloat64()
		}
		first[n] = h.firstAlarm(base, rng)
	}
	slices.Sort(first)
	return first[benches/2], first[benches*9/10]
}

// firstAlarm counts tests until the first alarm after a baseline.
func (h *Health) firstAlarm(base []float64, rng *rand.Rand) int {
	c, err := quality.NewIndividuals(base, quality.Next(h.rate, len(base)))
	if err != nil {
		return mostRun + 1
	}
	drift := quality.EWMA{Lambda: Weight, L: h.L, Target: c.Mean, Sigma: c.Sigma, N: len(base)}
	before := base[len(base)-1]
	values := make([]float64, 0, 32)
	for _, n := range []int{32, mostRun} { // few need more than 32
		from := len(values)
		for len(values) < n {
			values = append(values, shift+rng.NormFloat64())
		}
		averages := drift.Run(values)
		for i, v := range values[from:] {
			if averages[from+i].Out || c.Out(v) || c.RangeOut(before, v) {
				return from + i + 1
			}
			before = v
		}
	}
	return mostRun + 1
}
