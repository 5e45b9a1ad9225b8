package pump

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/profiles"
)

func TestInterpolateAlongLogarithms(t *testing.T) {
	grid, y := []float64{20, 40, 60}, []float64{0.1, 0.4, math.NaN()}
	for _, c := range []struct {
		duty, want float64
		ok         bool
	}{
		{20, 0.1, true}, {20.5, 0.1, true}, {40, 0.4, true}, {30, 0.2, true}, // the geometric mean
		{19, math.NaN(), false}, {61, math.NaN(), false}, {50, math.NaN(), false}, {60, math.NaN(), false},
	} {
		got, ok := interpolate(grid, y, c.duty)
		assert.Equal(t, c.ok, ok, "%g %%", c.duty)
		if c.ok {
			assert.InDelta(t, c.want, got, 1e-12, "%g %%", c.duty)
		}
	}
}

// Constant power: I ~ 1/V. Speed with voltage: power ~ V³, I ~ V².
func TestSupplyExponent(t *testing.T) {
	for regulation, alike := range map[string]func(v float64) float64{
		"speed": func(v float64) float64 { return 1 / v }, "power": func(v float64) float64 { return 1 / v },
		"voltage": func(v float64) float64 { return v * v }, "unknown": func(float64) float64 { return 1 },
	} {
		γ, _ := supplyExponent(regulation)
		require.InDelta(t, alike(1), alike(1.2)*math.Pow(1.2, γ), 1e-12, regulation)
	}
}

func TestNormaliseSumsAndSorts(t *testing.T) {
	ws := []weighed{{mode: mode{name: "a"}, cost: 5}, {mode: mode{name: "b"}, cost: 1}, {mode: mode{name: "c"}, cost: 1000}}
	normalise(ws)
	require.Equal(t, "b", ws[0].name)
	var sum float64
	for _, w := range ws {
		sum += w.probability
		require.Greater(t, w.probability, 0.0, "something stays for each")
	}
	require.InDelta(t, 1, sum, 1e-12)
	require.InDelta(t, math.Exp(-4), ws[1].probability/ws[0].probability, 0.005)
	normalise(nil)
}

// What the list says of each way to be wrong is complete, and a cause that is
// not the unit's gives nothing of it away for reuse.
func TestEveryModeIsWhole(t *testing.T) {
	known := map[string]bool{CurveUp: true, CurveDown: true, Scale: true, LowSpeed: true, HighSpeed: true, FlatTop: true, plugReversed: true,
		"missing_command_open": true, "missing_command_low": true, "missing_command_high": true}
	for _, r := range rules {
		known[r.Name] = true
	}
	seen := map[string]bool{}
	for _, list := range [][]mode{modes, noPower, unreached} {
		for _, m := range list {
			require.False(t, seen[m.name], "%s stands twice", m.name)
			seen[m.name] = true
			for _, s := range []string{m.seen, m.disproof, m.next} {
				require.NotEmpty(t, s, m.name)
			}
			require.Greater(t, m.prior, 0.0, m.name)
			require.Contains(t, result.Causes(), m.cause, m.name)
			require.Equal(t, m.cause == result.Wiring || m.cause == result.Bench, len(m.reuse) == 0, m.name)
			for _, n := range m.needs {
				require.True(t, known[trimSign(n)], "%s needs %s, which nothing measures", m.name, n)
			}
			for _, n := range m.explains {
				require.True(t, known[n], "%s explains %s, which nothing measures", m.name, n)
			}
		}
	}
}

func trimSign(n string) string {
	if n[0] == '-' {
		return n[1:]
	}
	return n
}

func TestPlan(t *testing.T) {
	p := &profiles.Profile{Command: profiles.Command{Stop_pct: 5, Wake_pct: 12, Full_pct: 95, Missing: profiles.Missing{Open: "full", High: "stop"}},
		Limits: profiles.Limits{StartTimeout: 12 * time.Second}}
	plan := Kind{}.Plan(p)
	var names []string
	highest, lastUp, down := 0.0, 0.0, false
	for i, s := range plan.Steps {
		if len(names) == 0 || names[len(names)-1] != s.Name {
			names = append(names, s.Name)
		}
		require.Positive(t, s.Min)
		require.GreaterOrEqual(t, s.Max, s.Min)
		highest = max(highest, s.Command_pct)
		switch s.Name {
		case "up":
			require.False(t, down, "no rise after the fall")
			require.Greater(t, s.Command_pct, lastUp)
			lastUp = s.Command_pct
		case "down":
			down = true
			require.Less(t, s.Command_pct, plan.Steps[i-1].Command_pct)
		case "zero":
			require.False(t, s.Supply, "zero is measured with the supply off")
		}
		require.LessOrEqual(t, s.Command_pct, p.Command.Full_pct)
	}
	require.Equal(t, []string{"zero", "quiet", "start", "up", "hold", "down", "missing-open", "missing-high", "stop"}, names)
	require.InDelta(t, 95, highest, 0)
	require.InDelta(t, 5, plan.Steps[0].Command_pct, 0, "the stop command stands before the supply comes on")
	for _, s := range plan.Steps {
		if s.Name == "start" {
			require.Equal(t, 12*time.Second, s.Max)
			require.Greater(t, s.Command_pct, p.Command.Wake_pct)
		}
		require.Equal(t, s.Name == "missing-open", s.Line == kind.Release)
		require.Equal(t, s.Name == "missing-high", s.Line == kind.HoldHigh)
	}
	var sum time.Duration
	for _, s := range plan.Steps {
		sum += s.Max
	}
	require.Equal(t, sum, plan.Longest())
}

func TestSweepKeepsClearOfWakeUp(t *testing.T) {
	require.Equal(t, []float64{20, 30, 40, 50, 60, 70, 80, 90, 100}, sweep(profiles.Command{Wake_pct: 1, Full_pct: 100}))
	require.Equal(t, []float64{30, 40, 50, 60, 70, 80, 85}, sweep(profiles.Command{Wake_pct: 20, Full_pct: 85}))
	require.Equal(t, 100.0, sweep(profiles.Command{})[8], "no full stated: 100 %")
}
