package pump

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/learn"
	"dutybench/profiles"
	"dutybench/signal/stat"
)

var _ learn.Scaler = Kind{}

func TestAtSupply(t *testing.T) {
	m := &kind.Measured{
		Curve: []kind.Point{
			{Duty_pct: 20, Up: true, Current: stat.Exact(1), Supply_V: 13},
			{Duty_pct: 100, Up: true, Current: stat.Exact(4), Supply_V: 12.5},
			{Duty_pct: 60, Current: stat.Exact(2), Supply_V: math.NaN()},
		},
		Values: []kind.Value{{Name: Quiet, Q: stat.Exact(0.05)}, {Name: Full, Q: stat.Exact(4.1)}},
	}
	ten := func(float64, bool) float64 { return 10 }
	for regulation, γ := range map[string]float64{"speed": 1, "power": 1, "voltage": -2, "unknown": 0} {
		p := &profiles.Profile{Section: &Section{Regulation: regulation}}
		at, known := Kind{}.AtSupply(m, p, ten)
		require.Equal(t, γ != 0, known)
		for i, want := range []float64{math.Pow(1.3, γ), 4 * math.Pow(1.25, γ), 2} {
			require.InDelta(t, want, at.Curve[i].Current.Value, 1e-12, regulation)
		}
		require.InDelta(t, 4.1*math.Pow(1.25, γ), at.Get(Full).Q.Value, 1e-12)
		require.InDelta(t, 0.05, at.Get(Quiet).Q.Value, 0)
		require.InDelta(t, 4.1, m.Get(Full).Q.Value, 0, "what was given is not touched")
	}
	p := &profiles.Profile{Section: &Section{Regulation: "speed"}}
	at, _ := Kind{}.AtSupply(m, p, func(float64, bool) float64 { return math.NaN() })
	require.InDelta(t, 4, at.Curve[1].Current.Value, 0)
	at, _ = Kind{}.AtSupply(&kind.Measured{}, p, ten)
	require.Empty(t, at.Curve)
}

func TestRatioIsThatOfTheRules(t *testing.T) {
	require.True(t, Kind{}.Ratio(Full))
	require.False(t, Kind{}.Ratio(Quiet))
	require.False(t, Kind{}.Ratio("nothing"))
}
