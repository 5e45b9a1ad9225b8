package rigtest_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/chip/ads1115"
	"dutybench/bench/chip/ina219"
	"dutybench/bench/chip/ina226"
	"dutybench/bench/chip/mcp320x"
	"dutybench/bench/sim"
)

// At 400 kHz a register with its pointer takes 48 bits, without it 29, and a
// write 38 (see sim.Bus).
const (
	readTime  = 48 * 2500 * time.Nanosecond
	writeTime = 38 * 2500 * time.Nanosecond
)

// pace is one converter that is read as fast as it goes.
type pace struct {
	name string
	// limit is what converter and bus allow: the longer of the conversion, as
	// this chip has it, and of what has to go over the bus for a result.
	conversion, bus time.Duration
	slow            bool // the bus is slower than the converter
	read            func() (samples int, err error)
	now             func() time.Duration
}

func paces(t testing.TB, seed uint64) []pace {
	t.Helper()
	var out []pace
	scaled := func(d time.Duration, share float64) time.Duration { return time.Duration(float64(d) * (1 + share)) }
	for _, c := range []ina226.ConversionTime{ina226.Convert140us, ina226.Convert204us, ina226.Convert332us, ina226.Convert588us, ina226.Convert1100us} {
		b := sim.NewBench(sim.Options{Seed: seed})
		d, err := ina226.New(b.I2C, b.Clock(), ina226.Opts{Address: sim.INA226Address, Shunt: 2 * physic.MilliOhm, BusSpeed: 400 * physic.KiloHertz,
			Config: ina226.Config{ShuntTime: c, Mode: ina226.ShuntContinuous}})
		require.NoError(t, err)
		require.NoError(t, d.Learn(64))
		var r ina226.Reading
		out = append(out, pace{name: "INA226 " + c.Typical().String(), conversion: scaled(c.Typical(), b.INA226.Errors.Period), bus: 2 * readTime, slow: c.Typical() < 2*readTime,
			read: func() (int, error) { return 1, d.Next(&r) }, now: b.Clock().Now})
	}
	for _, c := range []struct {
		time ina219.Convert
		mode ina219.Mode
	}{{ina219.Convert10bit, ina219.ShuntContinuous}, {ina219.Convert11bit, ina219.ShuntContinuous}, {ina219.Convert12bit, ina219.ShuntContinuous}, {ina219.Convert12bit, ina219.BothContinuous}} {
		b := sim.NewBench(sim.Options{Seed: seed, Current: sim.CurrentINA219})
		d, err := ina219.New(b.I2C, b.Clock(), ina219.Opts{Address: sim.INA219Address, Shunt: 2 * physic.MilliOhm, BusSpeed: 400 * physic.KiloHertz,
			Config: ina219.Config{Range: ina219.Range80mV, ShuntTime: c.time, BusTime: c.time, Mode: c.mode}})
		require.NoError(t, err)
		require.NoError(t, d.Learn(64))
		typical := d.Config().Typical()
		name := "INA219 " + typical.String()
		if c.mode == ina219.BothContinuous {
			name += " both"
		}
		var r ina219.Reading
		out = append(out, pace{name: name, conversion: scaled(typical, b.INA219.Errors.Period), bus: 3 * readTime, slow: typical < 3*readTime,
			read: func() (int, error) { return 1, d.Next(&r) }, now: b.Clock().Now})
	}
	for _, single := range []bool{false, true} {
		b := sim.NewBench(sim.Options{Seed: seed})
		d, err := ads1115.New(b.I2C, b.Clock(), sim.ADS1115Address)
		require.NoError(t, err)
		require.NoError(t, d.Learn(3))
		require.NoError(t, d.SetBusSpeed(400*physic.KiloHertz))
		conversion := time.Duration(1e9 / 860 / (1 + b.ADS1115.Errors.Rate))
		var r ads1115.Reading
		p := pace{name: "ADS1115 continuous", conversion: conversion, bus: readTime, read: func() (int, error) { return 1, d.Next(&r) }, now: b.Clock().Now}
		if single {
			// The start, waking up, the conversion and the result.
			p = pace{name: "ADS1115 single", conversion: conversion + 25*time.Microsecond + writeTime + readTime, now: b.Clock().Now, read: func() (int, error) {
				return 1, d.Measure(ads1115.Single0, ads1115.Range4096mV, ads1115.Rate860, &r)
			}}
		} else {
			require.NoError(t, d.Configure(ads1115.Config{Mux: ads1115.Single0, Range: ads1115.Range4096mV, Rate: ads1115.Rate860}))
		}
		out = append(out, p)
	}
	for _, gap := range []time.Duration{500 * time.Nanosecond, sim.SPIGap} {
		b, c := connect(t, sim.Options{Seed: seed, Current: sim.CurrentMCP3208})
		b.SPI.Gap = gap
		d, err := mcp320x.New(c, b.Clock(), mcp320x.Opts{Chip: mcp320x.MCP3208, Reference_V: sim.Reference_V, Speed: physic.MegaHertz})
		require.NoError(t, err)
		batch, err := d.NewBatch(make([]mcp320x.Input, mcp320x.MostFrames)...)
		require.NoError(t, err)
		out = append(out, pace{name: "MCP3208 1 MHz, select high " + gap.String(), bus: 24*time.Microsecond + gap,
			read: func() (int, error) { return mcp320x.MostFrames, d.Read(batch) }, now: b.Clock().Now})
	}
	return out
}

// use is how many samples came in span of simulated time, over what converter
// and bus allow.
func (p pace) use(t testing.TB, span time.Duration) (share, perSecond float64) {
	t.Helper()
	begun, n := p.now(), 0
	for p.now() < begun+span {
		k, err := p.read()
		require.NoError(t, err)
		n += k
	}
	took := p.now() - begun
	limit := max(p.conversion, p.bus)
	return float64(n) * float64(limit) / float64(took), float64(n) / took.Seconds()
}

// Every converter is read at 95 % or more of what it and the bus allow, where
// the bus can follow it. Where it cannot, some looks at the flag are in vain:
// such conversions are for a faster bus.
func TestBusUse(t *testing.T) {
	for seed := range uint64(3) {
		for _, p := range paces(t, seed) {
			share, rate := p.use(t, 250*time.Millisecond)
			t.Logf("seed %d: %-36s %6.1f %% of the limit, %5.0f samples a second", seed, p.name, 100*share, rate)
			if !p.slow {
				assert.GreaterOrEqual(t, share, 0.95, p.name)
			}
			assert.LessOrEqual(t, share, 1.01, p.name)
		}
	}
}

// The code's own cost of a sample, driver and simulation together; the bus and
// the chips take most of it.
func BenchmarkConverters(bench *testing.B) {
	for _, p := range paces(bench, 1) {
		bench.Run(p.name, func(bench *testing.B) {
			bench.ReportAllocs()
			n, begun := 0, p.now()
			for bench.Loop() {
				k, err := p.read()
				if err != nil {
					bench.Fatal(err)
				}
				n += k
			}
			bench.ReportMetric(float64(bench.Elapsed().Nanoseconds())/float64(n), "ns/sample")
			bench.ReportMetric(float64(n)*float64(max(p.conversion, p.bus))/float64(p.now()-begun)*100, "%limit")
		})
	}
}
