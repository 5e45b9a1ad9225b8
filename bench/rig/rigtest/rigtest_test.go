package rigtest_test

import (
	"fmt"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/rig"
	"dutybench/bench/rig/rigtest"
	"dutybench/bench/sim"
)

func open(t *testing.T, o sim.Options) (*rig.Rig, *sim.Bench) {
	t.Helper()
	b := sim.NewBench(o)
	r, err := rig.New(rig.Sim, b, rig.Default(), rig.Options{Stands: true})
	require.NoError(t, err)
	return r, b
}

func TestSimulatedRigConforms(t *testing.T) {
	for seed := range uint64(4) {
		rigtest.Conform(t, func() *rig.Rig {
			r, _ := open(t, sim.Options{Seed: seed, Unit: &sim.Resistor{Ohm: 4, PullUp_Ohm: 10e3, Temp_C: 20}})
			return r
		})
	}
	rigtest.Conform(t, func() *rig.Rig { r, _ := open(t, sim.Options{}); return r })
}

func TestSimulatedRigConformsInFaults(t *testing.T) {
	rigtest.ConformFaults(t, func() (*rig.Rig, rigtest.Means) {
		r, b := open(t, sim.Options{Seed: 1})
		return r, rigtest.Means{
			KillBus: func(err error) { b.I2C.Err = err },
			Press:   func(on bool) { b.Stop.Pressed = on },
		}
	})
}

// Rigs with something wrong do not conform.
func TestFaultyRigsAreCaught(t *testing.T) {
	for name, spoil := range map[string]func(*sim.Bench, *rig.Rig){
		"welded switch":    func(b *sim.Bench, _ *rig.Rig) { b.Switch.SetFault(sim.SwitchWelded) },
		"stop pressed":     func(b *sim.Bench, _ *rig.Rig) { b.Stop.Pressed = true },
		"slow bus":         func(b *sim.Bench, _ *rig.Rig) { b.I2C.Overhead = 100_000 },
		"no accuracy":      func(_ *sim.Bench, r *rig.Rig) { r.Accuracy = rig.Accuracy{} },
		"line pin fails":   func(b *sim.Bench, _ *rig.Rig) { b.Line.Err = fmt.Errorf("held by another program") },
		"chip not present": func(b *sim.Bench, _ *rig.Rig) { b.I2C.Attach(sim.ADS1115Address, nil) },
	} {
		t.Run(name, func(t *testing.T) {
			failures := record(func(rec rigtest.T) {
				rigtest.Conform(rec, func() *rig.Rig {
					r, b := open(t, sim.Options{Seed: 2, Unit: &sim.Resistor{Ohm: 4}})
					spoil(b, r)
					return r
				})
			})
			assert.NotEmpty(t, failures)
		})
	}
}

func TestSimulatedChipsConform(t *testing.T) {
	for seed := range uint64(4) {
		for _, o := range []sim.Options{{Seed: seed}, {Seed: seed, Ideal: true}} {
			b := sim.NewBench(o)
			conformINA226(t, b, b.I2C)
			conformADS1115(t, b, b.I2C)
		}
	}
}

func conformINA226(t rigtest.T, b *sim.Bench, bus i2c.Bus) {
	rigtest.ConformINA226(t, bus, b.Clock(), rigtest.INA226{Address: sim.INA226Address, Speed: 400 * physic.KiloHertz, Apply: b.CalibrateINA226()})
}

func conformADS1115(t rigtest.T, b *sim.Bench, bus i2c.Bus) {
	rigtest.ConformADS1115(t, bus, b.Clock(), rigtest.ADS1115{Address: sim.ADS1115Address, Speed: 400 * physic.KiloHertz, Apply: b.CalibrateADS1115()})
}

// mutant lies between driver and chip and spoils registers.
type mutant struct {
	i2c.Bus
	pointer byte
	last    map[byte]uint16
	write   func(reg byte, v uint16) uint16
	read    func(m *mutant, reg byte, v uint16) uint16
}

func (m *mutant) Tx(addr uint16, w, r []byte) error {
	if len(w) > 0 {
		m.pointer = w[0]
	}
	if len(w) == 3 && m.write != nil {
		v := m.write(w[0], uint16(w[1])<<8|uint16(w[2]))
		w = []byte{w[0], byte(v >> 8), byte(v)}
	}
	err := m.Bus.Tx(addr, w, r)
	if len(r) == 2 && m.read != nil {
		was := uint16(r[0])<<8 | uint16(r[1])
		v := m.read(m, m.pointer, was)
		m.last[m.pointer] = was
		r[0], r[1] = byte(v>>8), byte(v)
	}
	return err
}

// Each seeded register error has to be caught.
func TestSpoiltINA226IsCaught(t *testing.T) {
	on := func(reg byte, f func(uint16) uint16) func(*mutant, byte, uint16) uint16 {
		return func(_ *mutant, r byte, v uint16) uint16 {
			if r == reg {
				return f(v)
			}
			return v
		}
	}
	swap := func(v uint16) uint16 { return v<<8 | v>>8 }
	for name, m := range map[string]*mutant{
		"shunt step 2 % off":         {read: on(1, func(v uint16) uint16 { return uint16(float64(int16(v)) * 1.02) })},
		"shunt step of 10 µV":        {read: on(1, func(v uint16) uint16 { return uint16(int16(v) / 4) })},
		"shunt bytes swapped":        {read: on(1, swap)},
		"shunt sign lost":            {read: on(1, func(v uint16) uint16 { return uint16(max(int16(v), -int16(v))) })},
		"bus bytes swapped":          {read: on(2, swap)},
		"bus step of 4 mV":           {read: on(2, func(v uint16) uint16 { return v * 5 / 16 })},
		"current step doubled":       {read: on(4, func(v uint16) uint16 { return v / 2 })},
		"power bytes swapped":        {read: on(3, swap)},
		"power step of the INA219":   {read: on(3, func(v uint16) uint16 { return v * 5 / 4 })},
		"another manufacturer":       {read: on(0xFE, func(uint16) uint16 { return 0x5448 })},
		"another die":                {read: on(0xFF, func(uint16) uint16 { return 0x2270 })},
		"configuration of 399Fh":     {read: on(0, func(v uint16) uint16 { return v&0x0FFF | 0x3000 })},
		"always ready":               {read: on(6, func(v uint16) uint16 { return v | 8 })},
		"never ready":                {read: on(6, func(v uint16) uint16 { return v &^ 8 })},
		"ready flag a bit too high":  {read: on(6, func(v uint16) uint16 { return v&^0x18 | v&8<<1 })},
		"no overflow flag":           {read: on(6, func(v uint16) uint16 { return v &^ 4 })},
		"no alert flag":              {read: on(6, func(v uint16) uint16 { return v &^ 0x10 })},
		"averages ignored":           {write: func(r byte, v uint16) uint16 { return v &^ map[byte]uint16{0: 0x0E00}[r] }},
		"conversion times exchanged": {write: func(r byte, v uint16) uint16 { return exchange(r, v) }},
		"calibration top bits lost":  {write: func(r byte, v uint16) uint16 { return v &^ map[byte]uint16{5: 0x7000}[r] }},
		"alert limit bytes swapped": {write: func(r byte, v uint16) uint16 {
			if r == 7 {
				return swap(v)
			}
			return v
		}},
		"result of before": {read: func(m *mutant, r byte, v uint16) uint16 {
			if r == 1 {
				return m.last[1]
			}
			return v
		}},
	} {
		t.Run(name, func(t *testing.T) {
			b := sim.NewBench(sim.Options{Seed: 3})
			m.Bus, m.last = b.I2C, map[byte]uint16{}
			failures := record(func(rec rigtest.T) { conformINA226(rec, b, m) })
			assert.NotEmpty(t, failures)
		})
	}
}

// exchange swaps VBUSCT and VSHCT on the way in, unseen by the read back.
func exchange(r byte, v uint16) uint16 {
	if r != 0 || v&0x8000 != 0 {
		return v
	}
	return v&^0x01F8 | v>>3&0x0038 | v<<3&0x01C0
}

func TestSpoiltADS1115IsCaught(t *testing.T) {
	config := func(f func(uint16) uint16) *mutant {
		// The write is spoilt and the read back hides it.
		var want uint16
		return &mutant{
			write: func(r byte, v uint16) uint16 {
				if r == 1 {
					want = v
					return f(v)
				}
				return v
			},
			read: func(_ *mutant, r byte, v uint16) uint16 {
				if r == 1 {
					return want&0x7FFF | v&0x8000
				}
				return v
			},
		}
	}
	code := func(f func(uint16) uint16) *mutant {
		return &mutant{read: func(_ *mutant, r byte, v uint16) uint16 {
			if r == 0 {
				return f(v)
			}
			return v
		}}
	}
	for name, m := range map[string]*mutant{
		"wrong input bit":         config(func(v uint16) uint16 { return v ^ 0x1000 }),
		"input field shifted":     config(func(v uint16) uint16 { return v&^0x7000 | v>>1&0x3000 }),
		"range one off":           config(func(v uint16) uint16 { return v ^ 0x0200 }),
		"range fixed":             config(func(v uint16) uint16 { return v&^0x0E00 | 0x0400 }),
		"rate half":               config(func(v uint16) uint16 { return v - 0x20&v<<0&0x20 }),
		"rate fixed":              config(func(v uint16) uint16 { return v&^0x00E0 | 0x0080 }),
		"always continuous":       config(func(v uint16) uint16 { return v &^ 0x0100 }),
		"never starts":            config(func(v uint16) uint16 { return v &^ 0x8000 }),
		"result bytes swapped":    code(func(v uint16) uint16 { return v<<8 | v>>8 }),
		"result of 12 bits":       code(func(v uint16) uint16 { return v >> 4 }),
		"result 1 % high":         code(func(v uint16) uint16 { return uint16(int32(int16(v)) * 101 / 100) }),
		"does not clip":           code(func(v uint16) uint16 { return min(v, 0x7FFE) }),
		"config bytes swapped":    {read: func(_ *mutant, r byte, v uint16) uint16 { return map[bool]uint16{true: v<<8 | v>>8, false: v}[r == 1] }},
		"always idle":             {read: func(_ *mutant, r byte, v uint16) uint16 { return v | map[byte]uint16{1: 0x8000}[r] }},
		"never idle":              {read: func(_ *mutant, r byte, v uint16) uint16 { return v &^ map[byte]uint16{1: 0x8000}[r] }},
		"thresholds not writable": {read: func(_ *mutant, r byte, v uint16) uint16 { return v &^ map[byte]uint16{2: 0xFFFF, 3: 0xFFFF}[r] }},
		"result of before": {read: func(m *mutant, r byte, v uint16) uint16 {
			if r == 0 {
				return m.last[0]
			}
			return v
		}},
	} {
		t.Run(name, func(t *testing.T) {
			b := sim.NewBench(sim.Options{Seed: 3})
			m.Bus, m.last = b.I2C, map[byte]uint16{}
			failures := record(func(rec rigtest.T) { conformADS1115(rec, b, m) })
			assert.NotEmpty(t, failures)
		})
	}
}

// recorder keeps failures instead of failing a test.
type recorder struct{ failures []string }

func (r *recorder) Helper() {}
func (r *recorder) Errorf(f string, args ...any) {
	r.failures = append(r.failures, fmt.Sprintf(f, args...))
}
func (r *recorder) FailNow() { runtime.Goexit() }

func record(f func(rigtest.T)) []string {
	rec := &recorder{}
	done := make(chan struct{})
	go func() {
		defer close(done)
		f(rec)
	}()
	<-done
	return rec.failures
}

func TestRecorderKeepsNothingOfAGoodChip(t *testing.T) {
	b := sim.NewBench(sim.Options{Seed: 3})
	m := &mutant{Bus: b.I2C, last: map[byte]uint16{}, read: func(_ *mutant, _ byte, v uint16) uint16 { return v }}
	failures := record(func(rec rigtest.T) { conformINA226(rec, b, m); conformADS1115(rec, b, m) })
	assert.Empty(t, strings.Join(failures, "\n"))
}
