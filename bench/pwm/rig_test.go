package pwm_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/rig"
	"dutybench/bench/sim"
)

// TestRigOnTheKernel wires the simulated rig through the kernel: the line by
// its PWM, the temperature by its one-wire bus.
func TestRigOnTheKernel(t *testing.T) {
	u := &sim.Resistor{Ohm: 10, PullUp_Ohm: 10e3, Temp_C: 41.5}
	b := sim.NewBench(sim.Options{Ideal: true, Unit: u})
	d := rig.Default()
	d.LinePin.Pin, d.LinePin.PWMChip = "", sim.PWMDevice
	d.Temperature = &rig.Probe{Chip: "ds18b20"}
	r, err := rig.New("kernel", b, d, rig.Options{})
	require.NoError(t, err)
	assert.Equal(t, sim.LineReleased, b.World.Line().State)

	require.NoError(t, r.Line.Drive(30, 100*physic.Hertz))
	assert.Equal(t, sim.LinePWM, b.World.Line().State)
	assert.InDelta(t, 0.3, b.World.Line().High, 1e-6, "30 % on the wire, whose driver inverts")
	require.NoError(t, r.Line.HoldLow())
	assert.Equal(t, sim.LineLow, b.World.Line().State)
	require.NoError(t, r.Line.Release())
	assert.Equal(t, sim.LineReleased, b.World.Line().State)

	require.NoError(t, r.Sampler.Start())
	var sample rig.Sample
	celsius := math.NaN()
	for end := r.Clock.Now() + 2*time.Second; r.Clock.Now() < end; {
		require.NoError(t, r.Sampler.Next(&sample))
		if !math.IsNaN(sample.Temperature_C) {
			celsius = sample.Temperature_C
		}
	}
	assert.Equal(t, 41.5, celsius)
	require.NoError(t, r.Close())
	assert.Equal(t, sim.LineReleased, b.World.Line().State)
}
