package trial_test

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kinds"
	simpump "dutybench/bench/sim/pump"
	"dutybench/bench/trial"
	"dutybench/profiles"
	"dutybench/signal/stat"
)

// The bars that the judge is held to on simulated units.
const (
	leastAttributed = 0.90 // of faulty units at a severity of 0.5 and more; none of these may pass
	mostRefused     = 0.01 // of good units
	mostFaint       = 0.15 // of drag and rub at 0.5, passed: beyond 3.5 of a normal around 4.5 to 5
	mostStray       = 0.05 // of all, undecided outside the listed inseparable sets
)

func load(t testing.TB, names ...string) (out []*profiles.Profile) {
	t.Helper()
	for _, n := range names {
		p, err := profiles.Load(n, kinds.Section)
		require.NoError(t, err)
		out = append(out, p)
	}
	return out
}

func allFaults() (names []string) {
	for _, f := range simpump.Faults() {
		names = append(names, f.Name)
	}
	return names
}

// campaign is how much of the long studies to run: "full", "sample" or "".
func campaign() string { return os.Getenv("DUTYBENCH_CAMPAIGN") }

// carryOut runs a study and prints its table. With DUTYBENCH_EXPLAIN set it
// tells every trial that went wrong with its findings.
func carryOut(t *testing.T, s trial.Study) *trial.Table {
	t.Helper()
	table, err := s.Run()
	require.NoError(t, err)
	var b strings.Builder
	require.NoError(t, table.WriteText(&b))
	t.Log("\n" + b.String())
	if os.Getenv("DUTYBENCH_EXPLAIN") != "" {
		for i := range table.Trials {
			if x := &table.Trials[i]; x.Odd() {
				t.Log("\n" + x.Explain())
			}
		}
	}
	return table
}

// The campaign on the simulator's own units: DUTYBENCH_CAMPAIGN is full (three
// sizes of pump and, for fewer units, two circulators; takes ten minutes on
// two cores), sample, or empty, which tries so little that it shows no more
// than that the way from rig to table is whole.
//
// Of a sample only what its size supports is asserted: that no faulty unit
// passed, and that each share's bar lies within the share's 95 % interval.
// The full campaign is held to the bars themselves.
func TestCampaignSimulated(t *testing.T) {
	pumps := load(t, "aux-pump-20w", "aux-pump-60w", "aux-pump-130w")
	s := trial.Study{Profiles: pumps, Faults: allFaults(), Seed: 1}
	mode := campaign()
	switch mode {
	case "full":
		s.Severities, s.Units, s.Good = []float64{0.5, 0.75, 1}, 10, 100
	case "sample":
		s.Severities, s.Units, s.Good = []float64{0.5, 1}, 1, 20
	case "":
		s.Profiles, s.Severities, s.Units, s.Good = pumps[1:2], []float64{1}, 1, 1
		s.Faults = []string{"no-start", "drag", "blocked-outlet"}
		table := carryOut(t, s)
		assert.Equal(t, 1, table.Count(trial.Good).Passed)
		assert.Equal(t, 3, table.Count(trial.Faulty).Right)
		return
	default:
		t.Fatalf("DUTYBENCH_CAMPAIGN is %q: set it to sample or full, or leave it empty", mode)
	}
	table := carryOut(t, s)
	good, faulty, all := table.Count(trial.Good), table.Count(trial.Faulty), table.Count(func(*trial.Trial) bool { return true })
	refused := good.N - good.Passed
	// Drag and rub at 0.5 lie 5 standard deviations of friction off, give or
	// take the unit's own; a limit 3.5 out lets some of them pass, whoever
	// judges. Nothing else may pass.
	faint := table.Count(func(x *trial.Trial) bool {
		return (x.Fault == "drag" || x.Fault == "rub") && x.Severity == 0.5
	})
	assert.Equal(t, faint.Passed, faulty.Passed, "faulty units passed, drag and rub at 0.5 left out")
	low, _ := stat.ClopperPearson(faint.Passed, faint.N, 0.95)
	assert.LessOrEqual(t, low, mostFaint, "drag and rub at 0.5 passed")
	if mode == "full" {
		assert.GreaterOrEqual(t, good.N, 300)
		assert.GreaterOrEqual(t, float64(faulty.Attributed()), leastAttributed*float64(faulty.N), "attributed")
		assert.LessOrEqual(t, float64(refused), mostRefused*float64(good.N), "good units refused")
		assert.LessOrEqual(t, float64(all.Stray), mostStray*float64(all.N), "undecided outside listed sets")

		s.Profiles = load(t, "circulator-heating-12v", "circulator-solar-24v")
		s.Severities, s.Units, s.Good, s.Seed = []float64{0.5, 1}, 3, 25, 2
		carryOut(t, s)
		return
	}
	_, attributed := stat.ClopperPearson(faulty.Attributed(), faulty.N, 0.95)
	assert.GreaterOrEqual(t, attributed, leastAttributed, "attributed")
	low, _ = stat.ClopperPearson(refused, good.N, 0.95)
	assert.LessOrEqual(t, low, mostRefused, "good units refused")
	low, _ = stat.ClopperPearson(all.Stray, all.N, 0.95)
	assert.LessOrEqual(t, low, mostStray, "undecided outside listed sets")
}

// The same study gives the same trials, whatever the number of workers.
func TestStudyRepeats(t *testing.T) {
	s := trial.Study{Profiles: load(t, "aux-pump-20w"), Faults: []string{"input-short", "unplugged"}, Severities: []float64{1}, Units: 1, Seed: 5}
	var first []trial.Trial
	for _, s.Workers = range []int{1, 3} {
		table, err := s.Run()
		require.NoError(t, err)
		for i := range table.Trials {
			table.Trials[i].Run, table.Trials[i].Took = 0, 0
		}
		if first == nil {
			first = table.Trials
		}
		assert.Equal(t, first, table.Trials)
	}
	s.Faults = []string{"no-such"}
	_, err := s.Run()
	assert.ErrorContains(t, err, "no-such")
}

// A minute of testing, from the rig to the verdict. The bar is a second.
func BenchmarkSimulatedMinute(b *testing.B) {
	p := load(b, "aux-pump-60w")[0]
	s := trial.Study{Profiles: []*profiles.Profile{p}, Good: b.N, Workers: 1}
	b.ResetTimer()
	table, err := s.Run()
	require.NoError(b, err)
	var run, took, long float64
	for _, t := range table.Trials {
		run, took, long = run+t.Run.Seconds(), took+t.Took.Seconds(), long+t.Long.Seconds()
	}
	b.ReportMetric(60*run/long, "run-s/min")
	b.ReportMetric(60*took/long, "all-s/min")
	b.ReportMetric(long/float64(b.N), "rig-s/test")
}
