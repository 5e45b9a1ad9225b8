package rigtest_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/chip/ina219"
	"dutybench/bench/chip/ina226"
	"dutybench/bench/sim"
)

// ramp is a unit whose current and voltage grow with time, whatever feeds it.
type ramp struct {
	sim.Unplugged
	t time.Duration
}

const (
	rampAmpere = 80 // a second
	rampVolt   = 60
)

func (r *ramp) Step(dt time.Duration, _ sim.Source, _ sim.Line) (current_A, plug_V float64) {
	middle := (r.t + dt/2).Seconds()
	r.t += dt
	return rampAmpere * middle, rampVolt * r.t.Seconds()
}

// tardy is a bus whose user is held up now and then, as a thread is.
type tardy struct {
	*sim.Bus
	b    *sim.Bench
	rand *rand.Rand
	calm bool
}

func (t *tardy) Tx(addr uint16, w, r []byte) error {
	if !t.calm && t.rand.IntN(6) == 0 {
		t.b.Clock().Sleep(time.Duration(t.rand.IntN(900)) * time.Microsecond)
	}
	return t.Bus.Tx(addr, w, r)
}

var _ i2c.Bus = (*tardy)(nil)

// However its user is held up, the INA219 gives no conversion twice, none of
// two, and counts what is lost. On a ramp each conversion shows its own time:
// the bus is converted right after the shunt.
func TestINA219OnATardyBus(t *testing.T) {
	torn := 0
	for seed := range uint64(40) {
		b := sim.NewBench(sim.Options{Seed: seed, Ideal: true, Current: sim.CurrentINA219, Unit: &ramp{}})
		b.INA219.Errors.Period = 0.09 - 0.006*float64(seed%31) // −9 to 9 %
		conversion := time.Duration(float64(532*time.Microsecond) * (1 + b.INA219.Errors.Period))
		bus := &tardy{Bus: b.I2C, b: b, rand: rand.New(rand.NewPCG(seed, 1))}
		for _, mode := range []ina219.Mode{ina219.BothContinuous, ina219.ShuntContinuous, ina219.BothTriggered} {
			d, err := ina219.New(bus, b.Clock(), ina219.Opts{Address: sim.INA219Address, Shunt: 2 * physic.MilliOhm, BusSpeed: 400 * physic.KiloHertz,
				Config: ina219.Config{Bus32V: true, Range: ina219.Range80mV, ShuntTime: ina219.Average1, BusTime: ina219.Average1, Mode: mode}})
			require.NoError(t, err)
			bus.calm = true
			if !mode.Triggered() {
				require.NoError(t, d.Learn(64))
				require.NoError(t, d.Configure(d.Config()))
			}
			period := conversion
			if mode.Bus() {
				period *= 2
			}
			var r ina219.Reading
			count, lost, first, last := 0, 0, 0.0, -1.0
			for i := range 46 {
				// The last few in time: what was not known on the way is by then.
				bus.calm = i >= 40
				require.NoError(t, d.Next(&r), "seed %d", seed)
				shunt_s := d.ShuntCurrent_A(r.Shunt) / rampAmpere // the middle of its conversion
				require.Greater(t, shunt_s, last, "no conversion comes twice")
				last = shunt_s
				if count == 0 {
					first = shunt_s
				} else {
					lost += r.Lost
				}
				count++
				end_s := shunt_s + (period - conversion/2).Seconds()
				assert.LessOrEqual(t, r.Early.Seconds(), end_s+1e-4, "mode %d", mode)
				assert.GreaterOrEqual(t, r.Late.Seconds(), end_s-1e-4, "mode %d", mode)
				if mode.Bus() {
					// Steps of 20 µV and 8 mV are 125 µs and 133 µs of the ramps.
					bus_s := float64(ina219.BusVoltage(r.Bus)) / 1e9 / rampVolt
					if apart := bus_s - shunt_s - conversion.Seconds(); apart < -2e-4 || apart > 2e-4 {
						torn++
					}
				}
			}
			if !mode.Triggered() {
				assert.InDelta(t, (last-first)/period.Seconds(), float64(count-1+lost), 0.5, "seed %d, mode %d", seed, mode)
			}
		}
	}
	assert.Zero(t, torn, "pairs of two conversions")
}

// The INA226 too gives no conversion twice, and its bounds hold. What is lost
// is counted to within a few in a hundred: of conversions of which the bus
// reads hardly each, one that was held up for several may be miscounted.
func TestINA226OnATardyBus(t *testing.T) {
	for seed := range uint64(60) {
		for _, c := range []ina226.ConversionTime{ina226.Convert332us, ina226.Convert588us} {
			b := sim.NewBench(sim.Options{Seed: seed, Ideal: true, Unit: &ramp{}})
			b.INA226.Errors.Period = 0.09 - 0.006*float64(seed%31) // −9 to 9 %
			period := c.Typical().Seconds() * (1 + b.INA226.Errors.Period)
			bus := &tardy{Bus: b.I2C, b: b, rand: rand.New(rand.NewPCG(seed, 1)), calm: true}
			d, err := ina226.New(bus, b.Clock(), ina226.Opts{Address: sim.INA226Address, Shunt: 2 * physic.MilliOhm, BusSpeed: 400 * physic.KiloHertz,
				Config: ina226.Config{ShuntTime: c, Mode: ina226.ShuntContinuous}})
			require.NoError(t, err)
			require.NoError(t, d.Learn(64))
			require.NoError(t, d.Configure(d.Config()))
			var r ina226.Reading
			count, first, last := 0, 0.0, -1.0
			for i := range 206 {
				bus.calm = i >= 200
				require.NoError(t, d.Next(&r))
				if r.Saturated {
					break // the end of the ramp
				}
				shunt_s := d.ShuntCurrent_A(r.Shunt) / rampAmpere
				require.Greater(t, shunt_s, last, "seed %d, %v: no conversion comes twice", seed, c.Typical())
				last = shunt_s
				if i == 0 {
					first = shunt_s
				} else {
					count += 1 + r.Lost
				}
				// A step of 2.5 µV is 16 µs of the ramp.
				end_s := shunt_s + period/2
				assert.LessOrEqual(t, r.Early.Seconds(), end_s+2e-5, "seed %d, %v", seed, c.Typical())
				assert.GreaterOrEqual(t, r.Late.Seconds(), end_s-2e-5, "seed %d, %v", seed, c.Typical())
			}
			assert.InDelta(t, (last-first)/period, float64(count), 0.03*float64(count), "seed %d, %v", seed, c.Typical())
		}
	}
}
