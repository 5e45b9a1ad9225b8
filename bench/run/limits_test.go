package run

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/guard"
	"dutybench/bench/result"
	"dutybench/bench/rig"
)

// A bench is not asked for more than it bears.
func TestBenchsLimitsAreRefused(t *testing.T) {
	p := profile() // 10 A; 11 V to 15 V
	for _, c := range []struct {
		name string
		b    rig.BenchLimits
		says string
	}{
		{"none stated", rig.BenchLimits{}, ""},
		{"strong enough", rig.BenchLimits{SupplyLow_V: 9, SupplyHigh_V: 16, Current_A: 10}, ""},
		{"too weak", rig.BenchLimits{SupplyLow_V: 9, SupplyHigh_V: 16, Current_A: 9.5}, "rig bench-1 is for at most 9.5 A, profile test lets its unit take 10 A: use a stronger bench, or raise bench.current where wires, switch and fuse bear it"},
		{"other supply", rig.BenchLimits{SupplyLow_V: 20, SupplyHigh_V: 32, Current_A: 12}, "for a supply of 20 V to 32 V, profile test for one of 11 V to 15 V"},
		{"lower supply", rig.BenchLimits{SupplyLow_V: 5, SupplyHigh_V: 11, Current_A: 12}, "for a supply of 5 V to 11 V"},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t, steady, nil)
			b.rig.Name, b.rig.Limits = "bench-1", c.b
			_, err := Run(t.Context(), b.rig, short(), p, Options{})
			if c.says == "" {
				require.NoError(t, err)
				return
			}
			require.ErrorContains(t, err, c.says)
			assert.Empty(t, b.spy.moves)
		})
	}
}

// A supply beyond what the bench bears, and within what the unit does, is cut,
// and is the bench's fault.
func TestSupplyBeyondTheBench(t *testing.T) {
	b := newBench(t, steady, nil)
	b.rig.Limits = rig.BenchLimits{SupplyLow_V: 9, SupplyHigh_V: 14, Current_A: 20}
	b.World.At(b.rig.Clock.Now()+600*time.Millisecond, func() { b.World.Supply.Open_V = 14.6 })
	out := b.run(t, Options{})
	require.NotNil(t, out.Trip)
	assert.Equal(t, guard.SupplyHigh, out.Trip.Rule)
	require.Len(t, out.Faults, 1)
	f := out.Faults[0]
	assert.Equal(t, result.Bench, f.Cause)
	assert.Contains(t, f.Sentence, "what the bench bears; the unit may have more")
	assert.Contains(t, f.Next, "Lower the supply")

	b = newBench(t, steady, nil)
	b.World.At(b.rig.Clock.Now()+600*time.Millisecond, func() { b.World.Supply.Open_V = 14.6 })
	require.Nil(t, b.run(t, Options{}).Trip, "which the profile alone allows")
}

// The bench's limits do not hide that a profile's own are none.
func TestProfilesLimitsAreCheckedUncapped(t *testing.T) {
	b := newBench(t, steady, nil)
	b.rig.Limits = rig.BenchLimits{SupplyLow_V: 9, SupplyHigh_V: 14, Current_A: 20}
	p := profile()
	p.Supply.High_V = 75
	_, err := Run(t.Context(), b.rig, short(), p, Options{})
	require.ErrorContains(t, err, "extra-low voltage")
}

// A trip for a current that the bench alone forbids is never the unit's fault.
func TestCurrentBeyondTheBench(t *testing.T) {
	b := newBench(t, steady, nil)
	x := newRunner(b.rig, short(), profile(), Options{})
	trip := &guard.Trip{Rule: guard.OverCurrent}
	assert.False(t, x.benchsOwn(trip))
	x.rig.Limits.Current_A = 8
	assert.True(t, x.benchsOwn(trip))
	assert.Equal(t, 8.0, x.limits().Current_A)
	x.rig.Limits.Current_A = 12
	assert.False(t, x.benchsOwn(trip))
	assert.Equal(t, 10.0, x.limits().Current_A)
	assert.False(t, x.benchsOwn(&guard.Trip{Rule: guard.OverPeak}))
}
