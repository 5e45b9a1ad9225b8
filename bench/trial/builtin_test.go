package trial_test

import (
	"flag"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/judge"
	"dutybench/bench/kinds"
	"dutybench/bench/result"
	"dutybench/bench/trial"
	"dutybench/profiles"
)

var update = flag.Bool("update", false, "learn the built-in profiles anew and write their files")

const builtinFolder = "../../profiles/builtin"

// The built-ins stand as they are written, say what they are, hold their
// simulated good units, and measuring one of these again gives its row. With
// -update they are learned anew and their files rewritten.
func TestBuiltins(t *testing.T) {
	for _, name := range profiles.Builtins() {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(builtinFolder, name+".toml")
			if *update {
				p, err := trial.Learned(name)
				require.NoError(t, err)
				require.NoError(t, profiles.WriteFile(path, p, true))
			}
			p, err := profiles.Load(path, kinds.Section)
			require.NoError(t, err)
			data, err := os.ReadFile(path)
			require.NoError(t, err)
			again, err := profiles.Encode(p)
			require.NoError(t, err)
			assert.Equal(t, string(again), string(data), "the file stands as it is written: run with -update")
			assert.True(t, p.Invented)
			assert.Contains(t, p.Notes[0], "Invented")
			assert.Contains(t, p.Notes[1], "simulated")
			assert.Contains(t, p.Learned.Program, "simulated")
			require.Len(t, p.Good, trial.BuiltinUnits, "run with -update")
			assert.Less(t, p.Limits.Peak_A, 0.75*41, "clear of the rig's range")

			k, err := kinds.Named(p.Kind)
			require.NoError(t, err)
			bare, err := trial.Bare(name)
			require.NoError(t, err)
			row := p.Good[0]
			rec, err := trial.Record(bare, kinds.Simulated{Seed: trial.BuiltinSeed})
			require.NoError(t, err)
			tr, err := rec.Read()
			require.NoError(t, err)
			m, err := k.Measure(tr, bare)
			require.NoError(t, err)
			for _, v := range row.Values {
				got := m.Get(v.Name)
				if assert.NotNil(t, got, v.Name) {
					assert.InDelta(t, v.X, got.Q.Value, 2e-3*math.Abs(v.X)+2e-5, v.Name)
				}
			}
			for _, q := range m.Curve {
				for i, d := range p.Grid {
					if !q.Up && i < len(row.Down) && math.Abs(d-q.Duty_pct) < 0.1 {
						y := row.Down[i]
						// The row stands at the mean supply of all units, this one at its own.
						assert.InDelta(t, y, q.Current.Value, 6e-3*y, "down at %g %%", d)
					}
				}
			}

			rec, err = trial.Record(p, kinds.Simulated{Seed: 77})
			require.NoError(t, err)
			r, err := rec.Judge(p, k, judge.Options{})
			require.NoError(t, err)
			assert.Equal(t, result.Pass, r.Verdict, "a good unit that was not learned from: %s", r.Sentence)
		})
	}
}
