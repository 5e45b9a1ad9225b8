package rig_test

import (
	"errors"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/guard"
	"dutybench/bench/rig"
	"dutybench/bench/sim"
)

// ramp is a unit whose current grows by Slope amperes a second of its time.
type ramp struct {
	sim.Resistor
	slope float64
	t     time.Duration
}

func (u *ramp) Step(dt time.Duration, src sim.Source, line sim.Line) (float64, float64) {
	middle := (u.t + dt/2).Seconds()
	u.t += dt
	_, v := u.Resistor.Step(dt, src, line)
	return u.slope * middle, v
}

func open(t testing.TB, o sim.Options) (*rig.Rig, *sim.Bench) {
	t.Helper()
	b := sim.NewBench(o)
	r, err := rig.New("sim", b, rig.Default(), rig.Options{Stands: true})
	require.NoError(t, err)
	return r, b
}

// The time of a sample is the middle of its conversion: on a ramp, the
// current tells the true one. All conversions are there, once, also with the
// oscillator 5 % off.
func TestSamplesAreStampedAtTheMiddle(t *testing.T) {
	const slope = 10.0
	for _, period := range []float64{-0.05, 0, 0.03, 0.09} {
		b := sim.NewBench(sim.Options{Ideal: true, Unit: &ramp{slope: slope}})
		b.INA226.Errors.Period = period
		r, err := rig.New("sim", b, rig.Default(), rig.Options{Stands: true})
		require.NoError(t, err)
		require.NoError(t, r.Sampler.Start())
		begun := r.Clock.Now()
		var s rig.Sample
		n, worst, charge := 0, 0.0, 0.0
		true_s := 332e-6 * (1 + period)
		for r.Clock.Now() < begun+2*time.Second {
			require.NoError(t, r.Sampler.Next(&s))
			require.Zero(t, s.Lost)
			n++
			charge += s.Current_A * true_s
			worst = max(worst, math.Abs(s.At.Seconds()-s.Current_A/slope))
		}
		// A step of the current is 1.25 mA, 62.5 µs either way on this ramp.
		assert.Less(t, worst, 62.5e-6+45e-6, "period %+g", period)
		assert.InDelta(t, float64(r.Clock.Now()-begun)/1e9/true_s, float64(n), 2)
		from, to := begun.Seconds(), r.Clock.Now().Seconds()
		assert.InDelta(t, slope*(to*to-from*from)/2, charge, slope*to*3*true_s)
	}
}

// Supply, line and temperature as they are, within the stated accuracy: 4 Ω
// at 13.5 V behind 40 mΩ.
func TestSamplesAreRight(t *testing.T) {
	for seed := range uint64(8) {
		r, b := open(t, sim.Options{Seed: seed, Unit: &sim.Resistor{Ohm: 4, PullUp_Ohm: 10e3, Temp_C: 60}})
		require.NoError(t, r.Switch.Set(guard.First, time.Second))
		require.NoError(t, r.Line.Drive(30, physic.KiloHertz))
		r.Clock.Sleep(300 * time.Millisecond)
		require.NoError(t, r.Sampler.Start())
		var s rig.Sample
		sum, n := 0.0, 0
		for end := r.Clock.Now() + 600*time.Millisecond; r.Clock.Now() < end; n++ {
			require.NoError(t, r.Sampler.Next(&s))
			sum += s.Current_A
			plug := 13.5 * 4 / 4.04
			if !math.IsNaN(s.Supply_V) {
				assert.InDelta(t, plug, s.Supply_V, 3*(plug*r.Accuracy.VoltageGain+r.Accuracy.VoltageOffset_V))
			}
			if !math.IsNaN(s.Line_V) {
				// 30 % of the pull-up over the sense divider, and its ripple.
				assert.InDelta(t, 0.3*plug*110/120, s.Line_V, 0.1)
			}
			if !math.IsNaN(s.Temperature_C) {
				assert.InDelta(t, 60, s.Temperature_C, 0.2)
			}
		}
		true_A := b.World.Current_A()
		assert.InDelta(t, true_A, sum/float64(n), 3*(true_A*r.Accuracy.CurrentGain+r.Accuracy.CurrentOffset_A))
	}
}

// A short through the shunt reads as clipped at the range that is stated.
func TestClippedSaysAtLeast(t *testing.T) {
	r, _ := open(t, sim.Options{Unit: &sim.Resistor{Ohm: 0.01}, Supply: sim.Supply{Open_V: 12, Ohm: 0.1}})
	require.NoError(t, r.Switch.Set(guard.First, time.Second))
	require.NoError(t, r.Sampler.Start())
	var s rig.Sample
	require.NoError(t, r.Sampler.Next(&s))
	assert.True(t, s.Clipped)
	assert.InDelta(t, 40.95875, s.Current_A, 1e-9)
	assert.InDelta(t, s.Current_A, r.Accuracy.CurrentRange_A, 1e-9)
}

// A busy bus loses conversions, and says how many: the ramp shows the truth.
func TestLostConversionsAreCounted(t *testing.T) {
	r, b := open(t, sim.Options{Ideal: true, Unit: &ramp{slope: 20}})
	require.NoError(t, r.Sampler.Start())
	var s rig.Sample
	require.NoError(t, r.Sampler.Next(&s))
	first := s.Current_A
	n, lost := 0, 0
	for i := range 400 {
		if i%7 == 0 {
			r.Clock.Sleep(time.Duration(i) * 10 * time.Microsecond)
		}
		before := s.Current_A
		require.NoError(t, r.Sampler.Next(&s))
		require.Greater(t, s.Current_A, before, "no conversion comes twice")
		n++
		lost += s.Lost
	}
	assert.InDelta(t, (s.Current_A-first)/20/332e-6, float64(n+lost), 0.5)
	assert.Positive(t, lost)
	_ = b
}

// A chip that is reset by a dip of its supply does not go unnoticed: it then
// converts at another pace.
func TestResetChipIsNoticed(t *testing.T) {
	r, b := open(t, sim.Options{})
	require.NoError(t, r.Sampler.Start())
	var s rig.Sample
	for range 50 {
		require.NoError(t, r.Sampler.Next(&s))
	}
	b.INA226.Reset()
	var err error
	for i := 0; i < 3 && err == nil; i++ {
		err = r.Sampler.Next(&s)
	}
	assert.ErrorContains(t, err, "reset by its supply")
}

func TestNewRefuses(t *testing.T) {
	b := sim.NewBench(sim.Options{})
	for name, change := range map[string]func(*rig.Description){
		"no switch":        func(d *rig.Description) { d.Switches = nil },
		"nameless switch":  func(d *rig.Description) { d.Switches[0].Pin = "" },
		"one pin for two":  func(d *rig.Description) { d.LinePin.Pin = d.Switches[0].Pin },
		"unknown pin":      func(d *rig.Description) { d.Stop.Pin = "NONE" },
		"no shunt":         func(d *rig.Description) { d.Current.Shunt_Ohm = 0 },
		"tolerance":        func(d *rig.Description) { d.Current.ShuntTolerance = math.NaN() },
		"conversion":       func(d *rig.Description) { d.Current.Conversion = 333 * time.Microsecond },
		"divider":          func(d *rig.Description) { d.Supply.Divider.Bottom = 0 },
		"thermistor":       func(d *rig.Description) { d.Temperature.NTC.Beta_K = 0 },
		"no chip there":    func(d *rig.Description) { d.Current.Address = 0x41 },
		"no other there":   func(d *rig.Description) { d.Voltage.Address = 0x49 },
		"no chip's number": func(d *rig.Description) { d.Current.Address = 0x20 },
		"60 V":             func(d *rig.Description) { d.Bench.SupplyHigh_V = 61 },
	} {
		d := rig.Default()
		change(&d)
		require.NoError(t, b.Switch.Out(gpio.High))
		_, err := rig.New("sim", b, d, rig.Options{})
		assert.Error(t, err, name)
	}
	d := rig.Default()
	d.Current.Address = 0x41
	_, err := rig.New("sim", b, d, rig.Options{})
	assert.ErrorIs(t, err, sim.ErrNack)
	assert.False(t, b.World.Energised(), "the supply is off after a failed open")
	b.Switch.Err = errors.New("held")
	_, err = rig.New("sim", b, rig.Default(), rig.Options{})
	assert.ErrorContains(t, err, "by hand")
}

// The built-in description is that of the simulated bench.
func TestDefaultMatchesTheBench(t *testing.T) {
	d := rig.Default()
	require.NoError(t, d.Check())
	assert.Equal(t, sim.Shunt_Ohm, d.Current.Shunt_Ohm)
	assert.Equal(t, sim.ShuntTolerance, d.Current.ShuntTolerance)
	assert.InDelta(t, sim.DividerTop_Ohm, float64(d.Supply.Divider.Top)/1e9, 1e-6)
	assert.InDelta(t, sim.DividerBottom_Ohm, float64(d.LineLevel.Divider.Bottom)/1e9, 1e-6)
	assert.InDelta(t, sim.NTC_Ohm, float64(d.Temperature.NTC.R25)/1e9, 1e-6)
	assert.InDelta(t, sim.BusSpeed_Hz, d.I2C.Speed_Hz, 1e-6)

	// Limits of the data sheets over √3, worked out by hand.
	a := d.Accuracy()
	assert.InDelta(t, math.Sqrt(0.001*0.001+0.005*0.005)/math.Sqrt(3), a.CurrentGain, 1e-12)
	assert.InDelta(t, 0.005/math.Sqrt(3), a.CurrentOffset_A, 1e-12) // 10 µV in 2 mΩ
	assert.InDelta(t, 0.00125, a.CurrentStep_A, 1e-15)
	assert.InDelta(t, 3*0.001375/math.Sqrt(3), a.VoltageOffset_V, 1e-12)
}

// What a line duty becomes on the wire, for all ways of driving it.
func TestLineDuty(t *testing.T) {
	for _, d := range []rig.LineDrive{{}, {OpenDrain: true}, {Inverted: true}, {OpenDrain: true, Inverted: true}} {
		wire := sim.Wire{OpenDrain: d.OpenDrain, Inverted: d.Inverted, High_V: 5, PullUp_V: 5, PullUp_Ohm: 1e3}
		b := sim.NewBench(sim.Options{Ideal: true, Wire: wire})
		l := rig.NewLine(b.Line, d)
		for _, duty := range []float64{0.001, 10, 47, 52.5, 99.999} {
			require.NoError(t, l.Drive(duty, 250*physic.Hertz))
			got := b.World.Line()
			assert.Equal(t, sim.LinePWM, got.State)
			assert.InDelta(t, duty/100, got.High, 1e-7, "%+v", d)
			assert.InDelta(t, 250, got.Frequency_Hz, 1e-9)
		}
		high := sim.LineHigh
		if d.OpenDrain {
			high = sim.LineReleased
		}
		for _, c := range []struct {
			do   func() error
			want sim.LineState
		}{
			{l.HoldLow, sim.LineLow}, {l.HoldHigh, high}, {l.Release, sim.LineReleased},
			{func() error { return l.Drive(0, physic.KiloHertz) }, sim.LineLow},
			{func() error { return l.Drive(100, physic.KiloHertz) }, high},
		} {
			require.NoError(t, c.do())
			assert.Equal(t, c.want, b.World.Line().State, "%+v", d)
		}
		b.Line.Err = errors.New("held")
		for _, err := range []error{l.Drive(5, physic.KiloHertz), l.HoldLow(), l.HoldHigh(), l.Release()} {
			assert.ErrorIs(t, err, b.Line.Err)
			assert.ErrorContains(t, err, "LINE")
		}
	}
}

// The cost of a sample: converters, bus, world and a resistor as unit. A
// minute's test has some 180,000 of them.
func BenchmarkSample(bench *testing.B) {
	r, b := open(bench, sim.Options{Seed: 1, Unit: &sim.Resistor{Ohm: 4, PullUp_Ohm: 1e4}})
	require.NoError(bench, r.Switch.Set(guard.First, time.Second))
	require.NoError(bench, r.Line.Drive(30, physic.KiloHertz))
	require.NoError(bench, r.Sampler.Start())
	var s rig.Sample
	begun, count := r.Clock.Now(), b.I2C.Count()
	bench.ReportAllocs()
	for bench.Loop() {
		if err := r.Sampler.Next(&s); err != nil {
			bench.Fatal(err)
		}
	}
	n := float64(bench.N)
	bench.ReportMetric((r.Clock.Now()-begun).Seconds()/bench.Elapsed().Seconds(), "x-real-time")
	bench.ReportMetric(float64(b.I2C.Count()-count)/n, "tx/sample")
}

// With a sense wire for the minus the converter reads a difference: on the
// simulated bench AIN3 stands at 3.3 V, 36.3 V before the divider.
func TestSupplyIsADifference(t *testing.T) {
	d := rig.Default()
	minus := 3
	d.Supply.Minus, d.Temperature = &minus, nil
	b := sim.NewBench(sim.Options{Ideal: true, Unit: &sim.Resistor{Ohm: 4}})
	r, err := rig.New("test", b, d, rig.Options{Stands: true})
	require.NoError(t, err)
	require.NoError(t, r.Switch.Set(guard.First, time.Second))
	r.Clock.Sleep(100 * time.Millisecond)
	require.NoError(t, r.Sampler.Start())
	var s rig.Sample
	n := 0
	for n < 10 {
		require.NoError(t, r.Sampler.Next(&s))
		if !math.IsNaN(s.Supply_V) {
			n++
			assert.InDelta(t, 13.5*4/4.04-36.3, s.Supply_V, 0.01)
		}
	}
	two := 2
	d.Supply.Minus = &two
	require.ErrorContains(t, d.Check(), "0 and 3")
}
