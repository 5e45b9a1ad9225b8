package trial_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kinds"
	"dutybench/bench/trial"
	"dutybench/profiles"
)

// TestCampaignPerturbed tries whether the judge rests on constants that our
// simulator chose. For each group of them and factors of two and a half, every
// size's profile is learned anew from 20 good units so perturbed, and good and
// faulty units so perturbed are tried. Each rate's 95 % interval must overlap
// that of the same study unperturbed.
func TestCampaignPerturbed(t *testing.T) {
	sizes := []string{"aux-pump-60w"}
	s := trial.Study{Faults: allFaults(), Seed: 3}
	base := s
	switch campaign() {
	case "full":
		sizes = []string{"aux-pump-20w", "aux-pump-60w", "aux-pump-130w"}
		s.Severities, s.Units, s.Good = []float64{0.5, 0.75, 1}, 3, 60
		base.Severities, base.Units, base.Good = s.Severities, s.Units, s.Good
	case "sample":
		s.Severities, s.Units, s.Good = []float64{0.5}, 1, 8
		base.Severities, base.Units, base.Good = s.Severities, 2, 16
	default:
		t.Skip("a campaign: set DUTYBENCH_CAMPAIGN to sample or full")
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%-14s %7s  %-30s %-32s %s\n", "constants", "factor", "good refused", "faulty not passed", "faulty attributed")
	line := func(name string, factor float64, r *trial.Report) {
		show := func(x trial.Rate) string { return fmt.Sprintf("%d of %d %s", x.Count, x.Of, x) }
		fmt.Fprintf(&b, "%-14s %7g  %-30s %-32s %s\n", name, factor, show(r.Good.NotPassed), show(r.Faulty.NotPassed), show(r.Faulty.Attributed))
	}
	start := time.Now()
	whole := perturbed(t, base, sizes, kinds.Perturbation{})
	line("none", 1, whole)
	for _, group := range kinds.Perturbations("pump") {
		for _, factor := range []float64{2, 0.5} {
			r := perturbed(t, s, sizes, kinds.Perturbation{Group: group, Factor: factor})
			line(group, factor, r)
			what := fmt.Sprintf("%s times %g", group, factor)
			assert.True(t, r.Good.NotPassed.Overlaps(whole.Good.NotPassed), "%s: good units refused", what)
			assert.True(t, r.Faulty.NotPassed.Overlaps(whole.Faulty.NotPassed), "%s: faulty units not passed", what)
			assert.True(t, r.Faulty.Attributed.Overlaps(whole.Faulty.Attributed), "%s: faulty units attributed", what)
		}
	}
	t.Logf("\n%sseed %d, 20 units learned from, %d sizes, in %.0f s", b.String(), s.Seed, len(sizes), time.Since(start).Seconds())
}

// perturbed is the study with profiles learned from 20 good units that are
// perturbed as its own.
func perturbed(t *testing.T, s trial.Study, sizes []string, x kinds.Perturbation) *trial.Report {
	t.Helper()
	s.Perturb = x
	for _, name := range sizes {
		s.Profiles = append(s.Profiles, learnedFrom(t, name, 20, x))
	}
	table, err := s.Run(t.Context())
	require.NoError(t, err)
	return table.Report()
}

func learnedFrom(t *testing.T, name string, units int, x kinds.Perturbation) *profiles.Profile {
	t.Helper()
	bare, err := trial.Bare(name)
	require.NoError(t, err)
	p, err := trial.LearnSimulated(bare, units, 700_001, x)
	require.NoError(t, err)
	return p
}

// A board that tries for twice as long is learned as such, and is allowed
// twice the time to start.
func TestPerturbedUnitsAreLearned(t *testing.T) {
	whole := load(t, "aux-pump-20w")[0]
	slow := learnedFrom(t, "aux-pump-20w", 5, kinds.Perturbation{Group: "ramp", Factor: 2})
	settle := func(p *profiles.Profile) float64 {
		x, ok := p.Good[0].Get("start_settle")
		require.True(t, ok)
		return x
	}
	assert.Greater(t, settle(slow), 1.5*settle(whole))
	assert.Equal(t, 2*whole.Limits.StartTimeout, slow.Limits.StartTimeout)
	s := trial.Study{Profiles: []*profiles.Profile{whole}, Good: 1, Seed: 3, Perturb: kinds.Perturbation{Group: "ramp", Factor: 2}}
	table, err := s.Run(t.Context())
	require.NoError(t, err)
	assert.Zero(t, table.Count(trial.Good).Passed, "a profile of other units refuses it")
	_, err = trial.LearnSimulated(whole, 5, 1, kinds.Perturbation{Group: "weather", Factor: 2})
	assert.ErrorContains(t, err, "weather")
}
