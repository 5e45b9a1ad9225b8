package pump

import (
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/kind/weigh"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/stat"
)

// values is a profile whose good units measured one thing.
func goodValues(name string, xs ...float64) *profiles.Profile {
	p := &profiles.Profile{Name: "p"}
	for _, x := range xs {
		p.Good = append(p.Good, profiles.GoodUnit{Values: []profiles.Value{{Name: name, X: x}}})
	}
	return p
}

func held(name string, q stat.Quantity, p *profiles.Profile) weigh.Check {
	return ruleFor(name).Hold(&kind.Value{Name: name, Q: q}, weigh.Yardstick{Profile: p}, 10)
}

// All findings together refuse at most the stated share, whether or not they
// are independent (Bonferroni).
func TestSharesOfAllFindingsAddUp(t *testing.T) {
	share := float64(len(contrasts)) / contrastShare
	others := float64(len(rules)+2) / (1 - contrastShare)
	sum := float64(len(contrasts))/share + float64(len(rules)+2)/others
	require.InDelta(t, 1, sum, 1e-12)
}

func TestCountsAreHeldToTheWorstGoodUnit(t *testing.T) {
	p := goodValues(StartAttempts, 1, 1, 2, 1, 1)
	require.Equal(t, result.Passed, held(StartAttempts, stat.Exact(2), p).Result)
	k := held(StartAttempts, stat.Exact(3), p)
	require.Equal(t, result.Failed, k.Result)
	require.Nil(t, k.Uncertainty, "a count has none")
	require.InDelta(t, 10, k.Z, 0)
}

func TestOneSidedFindingsSayNothingOnTheOther(t *testing.T) {
	p := goodValues(StartDelay, 0.5, 0.51, 0.49, 0.5, 0.5)
	k := held(StartDelay, stat.Exact(0.1), p)
	require.Equal(t, result.Passed, k.Result)
	require.Zero(t, k.Z)
	require.Nil(t, k.Low)
	require.Equal(t, result.Failed, held(StartDelay, stat.Exact(0.9), p).Result)
}

func TestNotMeasuredIsNeverAPass(t *testing.T) {
	for _, ru := range rules {
		p := goodValues(ru.Name, 1, 1.1, 0.9, 1, 1)
		for _, v := range []*kind.Value{nil, {Name: ru.Name, Missing: "not run"}} {
			k := ru.Hold(v, weigh.Yardstick{Profile: p}, 10)
			require.Equal(t, result.NotMeasured, k.Result, ru.Name)
			require.Nil(t, k.Value)
		}
	}
}

// The floor counts where good units spread less than a bench can repeat.
func TestFloorsKeepTinySpreadsApart(t *testing.T) {
	p := goodValues(Quiet, 0.03, 0.03, 0.03, 0.03, 0.03)
	k := held(Quiet, stat.Exact(0.0301), p)
	require.Equal(t, result.Passed, k.Result)
	require.Greater(t, *k.High-*k.Low, 0.004)
}

func TestEveryFindingHasItsUnit(t *testing.T) {
	want := map[string]string{
		SwitchOnCharge: "C", Quiet: "A", StartAttempts: "", StartDelay: "s", StartSettle: "s", StartLevel: "A", StartPeak: "A",
		Full: "A", Response: "%", Hysteresis: "%", DropOuts: "", Rotation: "%", Unrest: "%", SupplyDrop: "ohm", SupplyFold: "V",
		ShaftSpeed: "rpm", Ripple: "%", TurnDepth: "%", HoldFall: "%", WarmDrift: "%", Restarts: "", RestartTrys: "",
	}
	require.Len(t, rules, len(want))
	for _, r := range rules {
		require.Equal(t, want[r.Name], r.Unit, r.Name)
		require.NotEmpty(t, r.About)
		require.True(t, r.Low || r.High, "%s is held against nothing", r.Name)
	}
}
