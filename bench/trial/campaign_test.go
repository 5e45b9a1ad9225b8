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

func TestCampaignSimulated(t *testing.T) {
	s := trial.Study{Profiles: load(t, "aux-pump-20w", "aux-pump-60w", "aux-pump-130w"), Faults: allFaults(), Seed: 1}
	switch mode := os.Getenv("DUTYBENCH_CAMPAIGN"); mode {
	case "full":
		s.Severities, s.Units, s.Good = []float64{0.5, 0.75, 1}, 10, 100
	case "sample":
		s.Severities, s.Units, s.Good = []float64{0.5}, 1, 10
	case "":
		s.Profiles, s.Severities, s.Units, s.Good = s.Profiles[1:2], []float64{1}, 1, 2
		s.Faults = []string{"no-start", "drag", "blocked-outlet"}
	default:
		t.Fatalf("DUTYBENCH_CAMPAIGN is %q: set it to sample or full, or leave it empty", mode)
	}
	table, err := s.Run()
	require.NoError(t, err)
	var b strings.Builder
	require.NoError(t, table.WriteText(&b))
	t.Log("\n" + b.String())
	if os.Getenv("DUTYBENCH_EXPLAIN") != "" {
		for i := range table.Trials {
			x := &table.Trials[i]
			if x.Score() != trial.Right && x.Score() != trial.Named && (x.Fault != "" || x.Score() != trial.Passed) || x.Stray() {
				t.Log("\n" + x.Explain())
			}
		}
	}
	assert.NotEmpty(t, table.Trials)
}
