package rig_test

import (
	"errors"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/chip/ads1115"
	"dutybench/bench/chip/ina219"
	"dutybench/bench/chip/ina226"
	"dutybench/bench/rig"
	"dutybench/bench/sim"
)

var _ i2c.BusCloser = (*rig.Steady)(nil)

// nacks fails some transactions before they reach the chip, and some after it
// has answered: the flag that was read is then cleared all the same.
type nacks struct {
	*sim.Bus
	rand  *rand.Rand
	share float64
}

func (n *nacks) Tx(addr uint16, w, r []byte) error {
	x := n.rand.Float64() / n.share
	if x < 0.5 {
		n.Bus.Intercept = func(int, uint16, []byte, []byte) error { return sim.ErrNack }
		defer func() { n.Bus.Intercept = nil }()
	}
	err := n.Bus.Tx(addr, w, r)
	if x >= 0.5 && x < 1 {
		clear(r)
		return sim.ErrNack
	}
	return err
}

// With one transaction in twenty failing, no conversion of either chip is lost
// without being counted, none comes twice, and every time holds.
func TestSteadyBusLosesNothingUnseen(t *testing.T) {
	const slope = 40 // A/s, see ramp
	for seed := range uint64(10) {
		for _, chip := range []sim.CurrentChip{sim.CurrentINA226, sim.CurrentINA219} {
			b := sim.NewBench(sim.Options{Seed: seed, Ideal: true, Unit: &ramp{slope: slope}, Current: chip})
			bus := &nacks{Bus: b.I2C, rand: rand.New(rand.NewPCG(seed, 3)), share: 0.05}
			steady := rig.NewSteady(bus, b.Clock(), nil)
			type reading struct {
				early, late time.Duration
				current_A   float64
				lost        int
			}
			var next func() (reading, error)
			var period time.Duration
			if chip == sim.CurrentINA226 {
				d, err := ina226.New(steady, b.Clock(), ina226.Opts{Address: sim.INA226Address, Shunt: 2 * physic.MilliOhm, BusSpeed: 400 * physic.KiloHertz,
					Config: ina226.Config{ShuntTime: ina226.Convert1100us, Mode: ina226.ShuntContinuous}})
				require.NoError(t, err)
				period = d.Config().Typical()
				next = func() (reading, error) {
					var r ina226.Reading
					err := d.Next(&r)
					return reading{r.Early, r.Late, d.ShuntCurrent_A(r.Shunt), r.Lost}, err
				}
			} else {
				d, err := ina219.New(steady, b.Clock(), ina219.Opts{Address: sim.INA219Address, Shunt: 2 * physic.MilliOhm, BusSpeed: 400 * physic.KiloHertz,
					Config: ina219.Config{ShuntTime: ina219.Average2, Mode: ina219.ShuntContinuous}})
				require.NoError(t, err)
				period = d.Config().Typical()
				next = func() (reading, error) {
					var r ina219.Reading
					err := d.Next(&r)
					return reading{r.Early, r.Late, d.ShuntCurrent_A(r.Shunt), r.Lost}, err
				}
			}
			count, first, last := 0, 0.0, -1.0
			for i := range 300 {
				r, err := next()
				require.NoError(t, err)
				require.Greater(t, r.current_A, last, "no conversion comes twice")
				last = r.current_A
				end_s := r.current_A/slope + period.Seconds()/2
				assert.LessOrEqual(t, r.early.Seconds(), end_s+2e-4)
				assert.GreaterOrEqual(t, r.late.Seconds(), end_s-2e-4)
				if i == 0 {
					first = r.current_A
				} else {
					count += 1 + r.lost
				}
			}
			assert.InDelta(t, (last-first)/slope/period.Seconds(), float64(count), 0.6, "seed %d", seed)
			assert.Greater(t, steady.Rescued, 10)
		}
	}
}

// A disturbance of a few milliseconds is lived through, and the conversions in
// it are counted as lost.
func TestSteadyBusLivesThroughADisturbance(t *testing.T) {
	b := sim.NewBench(sim.Options{Ideal: true})
	opened := 0
	steady := rig.NewSteady(b.I2C, b.Clock(), func() (i2c.BusCloser, error) { opened++; return b.I2C, nil })
	d, err := ina226.New(steady, b.Clock(), ina226.Opts{Address: sim.INA226Address, Shunt: 2 * physic.MilliOhm, BusSpeed: 400 * physic.KiloHertz,
		Config: ina226.Config{ShuntTime: ina226.Convert332us, Mode: ina226.ShuntContinuous}})
	require.NoError(t, err)
	require.NoError(t, d.Learn(64))
	var r ina226.Reading
	require.NoError(t, d.Next(&r))
	b.I2C.Err = sim.ErrNack
	b.World.At(b.Clock().Now()+6*time.Millisecond, func() { b.I2C.Err = nil })
	before := b.Clock().Now()
	require.NoError(t, d.Next(&r))
	assert.InDelta(t, float64(b.Clock().Now()-before)/332e3-1, float64(r.Lost), 1.5)
	assert.Equal(t, 1, opened)
	assert.Equal(t, 1, steady.Reopened)
	assert.Equal(t, 1, steady.Rescued)
	for range 20 {
		require.NoError(t, d.Next(&r))
		assert.Zero(t, r.Lost)
	}
	// A start of the voltage converter that is tried twice is one.
	lost := &nacks{Bus: b.I2C, rand: rand.New(rand.NewPCG(1, 1)), share: 0.3}
	adc, err := ads1115.New(rig.NewSteady(lost, b.Clock(), nil), b.Clock(), sim.ADS1115Address)
	require.NoError(t, err)
	var v ads1115.Reading
	for range 50 {
		require.NoError(t, adc.Measure(ads1115.Single3, ads1115.Range4096mV, ads1115.Rate860, &v))
		require.InDelta(t, sim.Reference_V, v.Volt, 1e-3)
	}
}

// A bus that stays dead is given up within a tenth of the lease, and then
// costs no more time.
func TestSteadyBusGivesUp(t *testing.T) {
	b := sim.NewBench(sim.Options{})
	dead := errors.New("stuck low")
	for name, reopen := range map[string]func() (i2c.BusCloser, error){
		"cannot": nil,
		"fails":  func() (i2c.BusCloser, error) { return nil, errors.New("no such bus") },
		"vain":   func() (i2c.BusCloser, error) { return b.I2C, nil },
	} {
		steady := rig.NewSteady(b.I2C, b.Clock(), reopen)
		b.I2C.Err = dead
		begun := b.Clock().Now()
		err := steady.Tx(sim.INA226Address, []byte{0}, make([]byte, 2))
		assert.ErrorIs(t, err, dead, name)
		assert.ErrorContains(t, err, "sim", name)
		assert.Less(t, b.Clock().Now()-begun, 11*time.Millisecond, name)
		begun = b.Clock().Now()
		for range 5 {
			assert.ErrorIs(t, steady.Tx(sim.INA226Address, []byte{0}, make([]byte, 2)), dead, name)
		}
		assert.Less(t, b.Clock().Now()-begun, time.Millisecond, name)
		b.I2C.Err = nil
		assert.NoError(t, steady.Tx(sim.INA226Address, []byte{0}, make([]byte, 2)), name)
	}
	// A transaction that the adapter gives up after a second is not repeated.
	steady := rig.NewSteady(b.I2C, b.Clock(), nil)
	b.I2C.Err, b.I2C.Hang = dead, time.Second
	assert.ErrorIs(t, steady.Tx(sim.INA226Address, []byte{0}, make([]byte, 2)), dead)
	assert.Equal(t, 1, steady.Failures)
}

func TestSteadyBusDoesNotAllocate(t *testing.T) {
	b := sim.NewBench(sim.Options{})
	n := 0
	b.I2C.Intercept = func(int, uint16, []byte, []byte) error {
		if n++; n%3 == 0 {
			return sim.ErrNack
		}
		return nil
	}
	steady := rig.NewSteady(b.I2C, b.Clock(), nil)
	w, r := []byte{1}, make([]byte, 2)
	var err error
	assert.Zero(t, testing.AllocsPerRun(300, func() { err = errors.Join(err, steady.Tx(sim.INA226Address, w, r)) }))
	assert.NoError(t, err)
	assert.Positive(t, steady.Rescued)
	assert.Equal(t, "sim", steady.String())
	assert.Error(t, steady.SetSpeed(physic.MegaHertz))
	assert.NoError(t, steady.Close())
}
