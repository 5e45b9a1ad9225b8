package trial_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kinds"
	"dutybench/bench/sim"
	"dutybench/bench/trial"
	"dutybench/profiles"
)

// hasItsOwn is the kind whose campaigns stand in campaign_test.go.
const hasItsOwn = "pump"

// A campaign for every other kind, one study for each of its built-in profiles:
// every fault at five severities with 40 units each, and 300 good units, when
// DUTYBENCH_CAMPAIGN is full. As a sample one unit of each of eight faults that the
// seed draws, of each kind's first built-in, at full severity.
//
// The bars are those of the pump. Of a sample, and of each full study, it is held
// that a bar lies within the 95 % interval of its rate: one study of 300 good
// units tells a rate of one in a hundred to no better than a third of a per cent.
func TestCampaignKinds(t *testing.T) {
	mode := campaign()
	s := trial.Study{Seed: 6}
	switch mode {
	case "full":
		s.Severities, s.Units, s.Good = []float64{0.2, 0.4, 0.6, 0.8, 1}, 40, 300
	case "sample":
		s.Severities, s.Units, s.Good = []float64{1}, 1, 3
	default:
		t.Skip("a campaign: set DUTYBENCH_CAMPAIGN to sample or full")
	}
	for _, k := range kinds.All() {
		if k.Name() == hasItsOwn {
			continue
		}
		s.Faults = faultsOf(k.Name())
		names := builtinsOf(k.Name())
		if mode == "sample" {
			names = names[:min(1, len(names))]
			rand.New(rand.NewPCG(s.Seed, 0)).Shuffle(len(s.Faults), func(i, j int) { s.Faults[i], s.Faults[j] = s.Faults[j], s.Faults[i] })
			s.Faults = s.Faults[:min(4, len(s.Faults))]
		}
		for _, name := range names {
			t.Run(name, func(t *testing.T) {
				s.Profiles = load(t, name)
				table := carryOut(t, withProgress(s))
				good := table.Count(trial.Good)
				faulty := table.Count(func(x *trial.Trial) bool { return trial.Faulty(x) && x.Severity >= 0.5 })
				all := table.Count(func(x *trial.Trial) bool { return trial.Good(x) || x.Severity >= 0.5 })
				refused, attributed, stray := trial.NewRate(good.N-good.Passed, good.N), trial.NewRate(faulty.Attributed(), faulty.N), trial.NewRate(all.Stray, all.N)
				assert.GreaterOrEqual(t, *attributed.High, leastAttributed, "attributed, at 0.5 and more")
				assert.LessOrEqual(t, *refused.Low, mostRefused, "good units refused")
				assert.LessOrEqual(t, *stray.Low, mostStray, "undecided outside listed sets")
			})
		}
	}
}

// The same of faults of the bench, upon each other kind's first built-in: DUTYBENCH_CAMPAIGN
// is full (40 tests of each fault), or sample (one each of four faults). Whatever
// the fault and its time, the supply ends off or is told, and no good unit is
// blamed.
func TestCampaignBenchKinds(t *testing.T) {
	each := map[string]int{"": 0, "sample": 1, "full": 40}[campaign()]
	if each == 0 {
		t.Skip("a campaign: set DUTYBENCH_CAMPAIGN to sample or full")
	}
	const seed = 21
	for _, k := range kinds.All() {
		names := builtinsOf(k.Name())
		if k.Name() == hasItsOwn || len(names) == 0 {
			continue
		}
		t.Run(names[0], func(t *testing.T) {
			p := load(t, names[0])[0]
			faults := kinds.BenchFaultsFor(p)
			if campaign() == "sample" {
				rand.New(rand.NewPCG(seed, 0)).Shuffle(len(faults), func(i, j int) { faults[i], faults[j] = faults[j], faults[i] })
				faults = faults[:4]
			}
			units, within := faultsOf(k.Name()), k.Plan(p).Longest()
			rows := map[string]*benchRow{}
			var shown []sim.BenchFault
			for _, f := range faults {
				rows[f.Name] = &benchRow{}
				shown = append(shown, sim.BenchFault{Name: f.Name})
			}
			n := each * len(faults)
			told, wrongs := make([]benchTold, n), make([]string, n)
			require.NoError(t, inParallel(n, func(i int) (err error) {
				c := drawBench(rand.New(rand.NewPCG(seed, uint64(i))), faults[i%len(faults)].Name, units, within)
				if told[i], err = carryBench(p, c); err != nil {
					return fmt.Errorf("test %d: %+v: %w", i, c, err)
				}
				wrongs[i], err = told[i].wrong(func() (benchTold, error) {
					c.fault = sim.Armed{}
					return carryBench(p, c)
				})
				return err
			}))
			for i := range told {
				x := &told[i]
				row := rows[x.fault.Name]
				row.add(x)
				if w := wrongs[i]; w != "" {
					row.wrong = append(row.wrong, w)
					say := t.Errorf
					if slices.Contains(knownWrong, x.fault.Name) {
						say = t.Logf
					}
					say("test %d: %s: %s at %v for %v, severity %.2f, unit %q %.2f seed %d: exit %d, %s\n%s",
						i, w, x.fault.Name, x.fault.At.Round(time.Millisecond), x.fault.For.Round(time.Millisecond), x.fault.Severity, x.unit, x.severity, x.seed, x.result.Exit(), x.result.Sentence, x.said)
				}
			}
			t.Logf("seed %d, %d tests\n%s", seed, n, benchTable(shown, rows))
		})
	}
}

// knownWrong are faults of the bench that this campaign has found to blame a unit
// and that nothing tells yet. A position wire that is bridged for a while reads
// within what the output gives, as a lever that stands. They are shown and counted.
var knownWrong = []string{"position-short"}

// builtinsOf are the built-in profiles of a kind, by name.
func builtinsOf(kind string) (names []string) {
	for _, name := range profiles.Builtins() {
		if text, _ := profiles.Builtin(name); bytes.Contains(text, []byte("\nkind = \""+kind+"\"")) {
			names = append(names, name)
		}
	}
	return names
}
