package kinds

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/sim"
	"dutybench/profiles"
)

// A fault of the bench leaves the unit as good, and comes at a time that the
// seed draws: always the same one, some from the beginning.
func TestBenchFaults(t *testing.T) {
	units := map[string]bool{}
	for _, f := range Faults("pump") {
		units[f.Name] = true
	}
	require.NotEmpty(t, BenchFaults())
	for _, f := range BenchFaults() {
		assert.False(t, units[f.Name], "%s is a fault of a unit too", f.Name)
		assert.True(t, IsBenchFault(f.Name))
	}
	assert.False(t, IsBenchFault("drag"))

	p, err := profiles.Load("aux-pump-60w", Section)
	require.NoError(t, err)
	first := 0
	for seed := range uint64(40) {
		o, err := Bench(p, Simulated{Seed: seed, Fault: "bus-nack", Severity: 0.5})
		require.NoError(t, err)
		again, err := Bench(p, Simulated{Seed: seed, Fault: "bus-nack", Severity: 0.5})
		require.NoError(t, err)
		assert.Equal(t, o.Fault, again.Fault)
		assert.Equal(t, "bus-nack", o.Fault.Name)
		assert.True(t, o.Fault.At >= earliest && o.Fault.At < latest)
		if o.Fault.At == earliest {
			first++
		}
		good, err := Bench(p, Simulated{Seed: seed})
		require.NoError(t, err)
		assert.Equal(t, good.Unit, o.Unit)
		assert.Equal(t, sim.Armed{}, good.Fault)
	}
	assert.InDelta(t, 10, first, 8)
	for _, f := range []sim.Armed{{Name: "gremlins"}, {Name: "bus-nack", Severity: 2}, {Severity: 0.5}} {
		_, err = Bench(p, Simulated{Bench: f})
		assert.Error(t, err)
	}
	_, err = Bench(p, Simulated{Fault: "bus-nack", Severity: 2})
	assert.Error(t, err)
}

// Every profile's own bench can have every fault that is listed for it, and no
// other.
func TestBenchFaultsFitTheBench(t *testing.T) {
	usual := BenchFaults()
	for name, p := range builtins(t) {
		listed := map[string]bool{}
		for _, f := range BenchFaultsFor(p) {
			listed[f.Name] = true
			o, err := Bench(p, Simulated{Seed: 1, Bench: sim.Armed{Name: f.Name, Severity: 0.5, At: latest}})
			require.NoError(t, err, f.Name)
			Wiring(p, &o)
			assert.NoError(t, sim.NewBench(o).Unarmed, "%s: %s", name, f.Name)
		}
		for _, f := range allBenchFaults() {
			_, err := Bench(p, Simulated{Seed: 1, Fault: f.Name, Severity: 0.5})
			assert.Equal(t, listed[f.Name], err == nil, "%s: %s: %v", name, f.Name, err)
		}
		if !fast(p) {
			assert.Equal(t, usual, BenchFaultsFor(p), "the usual bench keeps its list: seeds draw from it")
		}
	}
}
