package sim_test

import (
	"errors"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/sim"
)

var (
	_ i2c.BusCloser = (*sim.Bus)(nil)
	_ gpio.PinIO    = (*sim.Pin)(nil)
	_ gpio.PinIO    = (*sim.SwitchPin)(nil)
	_ gpio.PinIO    = (*sim.StopPin)(nil)
)

// probe is a unit that notes how it is stepped. Its current is a ramp of 1 A
// a second times Slope, after its own time.
type probe struct {
	sim.Resistor
	Slope   float64
	t       time.Duration
	longest time.Duration
	steps   int
	line    sim.Line
	src     sim.Source
}

func (p *probe) Step(dt time.Duration, src sim.Source, line sim.Line) (float64, float64) {
	p.steps++
	p.longest = max(p.longest, dt)
	p.line, p.src = line, src
	middle := (p.t + dt/2).Seconds()
	p.t += dt
	_, v := p.Resistor.Step(dt, src, line)
	return p.Slope * middle, v
}

func word(t testing.TB, b *sim.Bench, addr uint16, reg byte) uint16 {
	t.Helper()
	r := make([]byte, 2)
	require.NoError(t, b.I2C.Tx(addr, []byte{reg}, r))
	return uint16(r[0])<<8 | uint16(r[1])
}

func put(t testing.TB, b *sim.Bench, addr uint16, reg byte, v uint16) {
	t.Helper()
	require.NoError(t, b.I2C.Tx(addr, []byte{reg, byte(v >> 8), byte(v)}, nil))
}

func TestTransactionsTakeTheirBits(t *testing.T) {
	b := sim.NewBench(sim.Options{Ideal: true})
	clk := b.Clock()
	took := func(f func()) time.Duration {
		begun := clk.Now()
		f()
		return clk.Now() - begun
	}
	// At 400 kHz a bit is 2.5 µs: 48, 38 and 29 bits.
	assert.Equal(t, 120*time.Microsecond, took(func() { word(t, b, sim.INA226Address, 1) }))
	assert.Equal(t, 95*time.Microsecond, took(func() { put(t, b, sim.INA226Address, 7, 1) }))
	assert.Equal(t, 72500*time.Nanosecond, took(func() { assert.NoError(t, b.I2C.Tx(sim.INA226Address, nil, make([]byte, 2))) }))
	assert.Equal(t, time.Millisecond, took(func() { clk.Sleep(time.Millisecond) }))
	assert.Zero(t, took(func() { clk.Sleep(-1); assert.Error(t, b.I2C.SetSpeed(physic.MegaHertz)) }))
	b.I2C.Hang = time.Second
	assert.Greater(t, took(func() { word(t, b, sim.INA226Address, 1) }), time.Second)
}

func TestBusFaults(t *testing.T) {
	b := sim.NewBench(sim.Options{})
	r := make([]byte, 2)
	assert.ErrorIs(t, b.I2C.Tx(0x41, []byte{0}, r), sim.ErrNack)
	assert.ErrorIs(t, b.I2C.Tx(0x141, []byte{0}, r), sim.ErrNack)
	dead := errors.New("dead")
	b.I2C.FailAfter(2, dead)
	word(t, b, sim.INA226Address, 0)
	word(t, b, sim.INA226Address, 0)
	assert.ErrorIs(t, b.I2C.Tx(sim.INA226Address, []byte{0}, r), dead)
	b.I2C.Intercept = nil
	b.I2C.Err = dead
	assert.ErrorIs(t, b.I2C.Tx(sim.INA226Address, []byte{0}, r), dead)
	b.I2C.Err = nil
	assert.Error(t, b.I2C.Tx(sim.INA226Address, []byte{0x77}, r))
	assert.Error(t, b.I2C.Tx(sim.ADS1115Address, []byte{4}, r))
	b.I2C.Attach(sim.INA226Address, nil)
	assert.ErrorIs(t, b.I2C.Tx(sim.INA226Address, []byte{0}, r), sim.ErrNack)
}

// A conversion holds the mean over its own window, whatever the steps: on a
// ramp that is the value at its middle.
func TestConversionsAverageExactly(t *testing.T) {
	for code, us := range []float64{140, 204, 332, 588, 1100, 2116, 4156, 8244} {
		u := &probe{Slope: 100}
		b := sim.NewBench(sim.Options{Ideal: true, Unit: u})
		b.Clock().Sleep(7 * time.Millisecond)
		put(t, b, sim.INA226Address, 0, 0x4000|uint16(code)<<3|1) // one conversion
		begun := b.Clock().Now() - 2500*time.Nanosecond           // acknowledged one bit before the stop
		b.Clock().Sleep(10 * time.Millisecond)
		want := 100 * (begun.Seconds() + us*1e-6/2) * sim.Shunt_Ohm / 2.5e-6
		assert.Equal(t, math.Round(want), float64(int16(word(t, b, sim.INA226Address, 1))), "%g µs", us)
		assert.LessOrEqual(t, u.longest, 100*time.Microsecond)
	}
}

// The charge through the shunt does not depend on who looks when.
func TestChargeDoesNotDependOnLooks(t *testing.T) {
	quiet := sim.NewBench(sim.Options{Ideal: true, Unit: &probe{Slope: 3}})
	busy := sim.NewBench(sim.Options{Ideal: true, Unit: &probe{Slope: 3}})
	for busy.Clock().Now() < time.Second-time.Millisecond {
		busy.Clock().Sleep(173 * time.Microsecond)
		word(t, busy, sim.INA226Address, 1)
		busy.World.Charge_As()
	}
	busy.Clock().Sleep(time.Second - busy.Clock().Now())
	quiet.Clock().Sleep(time.Second)
	assert.InDelta(t, 1.5, quiet.World.Charge_As(), 1e-9)
	assert.InDelta(t, 1.5, busy.World.Charge_As(), 1e-9)
}

func TestSwitchAndItsFaults(t *testing.T) {
	u := &probe{Resistor: sim.Resistor{Ohm: 4}}
	b := sim.NewBench(sim.Options{Unit: u})
	on := func() bool {
		b.Clock().Sleep(time.Millisecond)
		b.World.Charge_As()
		return u.src.On && b.World.Energised()
	}
	assert.False(t, on(), "off at first")
	require.NoError(t, b.Switch.Out(gpio.High))
	assert.True(t, on())
	require.NoError(t, b.Switch.Halt())
	assert.True(t, on(), "halt is not off")
	require.NoError(t, b.Switch.Out(gpio.Low))
	assert.False(t, on())
	b.Switch.SetFault(sim.SwitchWelded)
	assert.True(t, on())
	b.Switch.SetFault(sim.SwitchNotClosing)
	require.NoError(t, b.Switch.Out(gpio.High))
	assert.False(t, on())
	b.Switch.SetFault(sim.SwitchWhole)
	assert.True(t, on())
	require.NoError(t, b.Switch.In(gpio.Float, gpio.NoEdge))
	assert.False(t, on(), "an input leaves it open")
	assert.Error(t, b.Switch.PWM(gpio.DutyHalf, physic.KiloHertz))
	b.Switch.Err = errors.New("busy")
	assert.ErrorIs(t, b.Switch.Out(gpio.High), b.Switch.Err)
}

// The wire as the unit feels it: an n-channel transistor inverts.
func TestWire(t *testing.T) {
	const pullUp, sense = 10e3, 110e3
	released := 13.5 * sense / (pullUp + sense) // the sense divider loads the pull-up
	out := func(l gpio.Level) func(*sim.Bench) error {
		return func(b *sim.Bench) error { return b.Line.Out(l) }
	}
	pwm := func(b *sim.Bench) error { return b.Line.PWM(gpio.DutyMax/4, physic.KiloHertz) }
	push := sim.Wire{High_V: 5, Sense_Ohm: sense}
	for _, c := range []struct {
		name  string
		wire  sim.Wire
		fault sim.WireFault
		do    func(*sim.Bench) error
		want  sim.Line
	}{
		{"open drain, pin high", sim.Wire{}, 0, out(gpio.High), sim.Line{State: sim.LineLow}},
		{"open drain, pin low", sim.Wire{}, 0, out(gpio.Low), sim.Line{State: sim.LineReleased, High_V: released}},
		{"open drain, pin 25 %", sim.Wire{}, 0, pwm, sim.Line{State: sim.LinePWM, High: 0.75, Frequency_Hz: 1000, High_V: released}},
		{"full duty is a level", sim.Wire{}, 0, func(b *sim.Bench) error { return b.Line.PWM(gpio.DutyMax, physic.KiloHertz) }, sim.Line{State: sim.LineLow}},
		{"broken wire", sim.Wire{}, sim.WireOpen, pwm, sim.Line{State: sim.LineReleased, High_V: released}},
		{"short to ground", sim.Wire{}, sim.WireStuckLow, pwm, sim.Line{State: sim.LineLow}},
		{"short to supply", sim.Wire{}, sim.WireStuckHigh, pwm, sim.Line{State: sim.LineHigh, High_V: 13.5}},
		{"push-pull high", push, 0, out(gpio.High), sim.Line{State: sim.LineHigh, High_V: 5}},
		{"push-pull low", push, 0, out(gpio.Low), sim.Line{State: sim.LineLow}},
		{"push-pull let go", push, 0, func(b *sim.Bench) error { return b.Line.In(gpio.Float, gpio.NoEdge) }, sim.Line{State: sim.LineReleased, High_V: released}},
		{"push-pull 25 %", push, 0, pwm, sim.Line{State: sim.LinePWM, High: 0.25, Frequency_Hz: 1000, High_V: 5}},
		{"frequency off", sim.Wire{High_V: 5, FrequencyError: 0.05}, 0, pwm, sim.Line{State: sim.LinePWM, High: 0.25, Frequency_Hz: 1050, High_V: 5}},
		{"the rig's pull-up", sim.Wire{OpenDrain: true, PullUp_V: 5, PullUp_Ohm: pullUp}, 0, out(gpio.High), sim.Line{State: sim.LineReleased, High_V: 9.25}},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := sim.NewBench(sim.Options{Ideal: true, Wire: c.wire, Unit: standing{pullUp}})
			b.World.SetWireFault(c.fault)
			require.NoError(t, b.Switch.Out(gpio.High))
			require.NoError(t, c.do(b))
			b.Clock().Sleep(time.Millisecond)
			b.World.Charge_As()
			got := b.World.Line()
			assert.InDelta(t, c.want.High_V, got.High_V, 1e-9)
			assert.InDelta(t, c.want.Frequency_Hz, got.Frequency_Hz, 1e-9)
			got.High_V, got.Frequency_Hz = c.want.High_V, c.want.Frequency_Hz
			assert.Equal(t, c.want, got)
		})
	}
}

// standing draws nothing and has a pull-up to 13.5 V.
type standing struct{ ohm float64 }

func (s standing) Step(_ time.Duration, src sim.Source, _ sim.Line) (float64, float64) {
	return 0, src.Open_V
}
func (s standing) PullUp() (float64, float64) { return 13.5, s.ohm }
func (s standing) Temperature() float64       { return 50 }

// The converter reads the line's mean behind the filter, at any frequency,
// and the thermistor: 10 kΩ, B 3380 K is 4160.14 Ω at 50 °C (beta law).
func TestVoltagesAtTheConverter(t *testing.T) {
	const step = 125e-6
	read := func(b *sim.Bench, mux uint16) float64 {
		put(t, b, sim.ADS1115Address, 1, 0x8000|mux<<12|1<<9|0x100|7<<5|3)
		b.Clock().Sleep(2 * time.Millisecond)
		return float64(int16(word(t, b, sim.ADS1115Address, 0))) * step
	}
	for _, hertz := range []int64{100, 1000, 2470, 20000} {
		b := sim.NewBench(sim.Options{Ideal: true, Unit: standing{}, Wire: sim.Wire{High_V: 5}})
		require.NoError(t, b.Switch.Out(gpio.High))
		require.NoError(t, b.Line.PWM(gpio.DutyMax/4, physic.Frequency(hertz)*physic.Hertz))
		b.Clock().Sleep(400 * time.Millisecond)
		mean := 0.0
		for range 50 {
			mean += read(b, 5) / 50
		}
		// Ripple of the filter at 100 Hz: 5·0.25·0.75·(10 ms/20 ms) V in all.
		assert.InDelta(t, 1.25/11, mean, 0.002+2.0/11/float64(hertz), "%d Hz", hertz)
		assert.InDelta(t, 13.5/11, read(b, 4), step)
		assert.InDelta(t, 3.3*4160.14/14160.14, read(b, 6), step)
		assert.InDelta(t, 3.3, read(b, 7), step)
	}
}

func TestSupply(t *testing.T) {
	u := &probe{Resistor: sim.Resistor{Ohm: 1}}
	b := sim.NewBench(sim.Options{Unit: u, Supply: sim.Supply{Open_V: 12, Ohm: 0.2, Limit_A: 5, FoldBack: 0.5, Ripple_V: 0.1, Ripple_Hz: 100, Leak_A: 1e-4}})
	b.Clock().Sleep(time.Second)
	b.World.Charge_As()
	assert.Equal(t, 1e-4, u.src.Leak_A)
	require.NoError(t, b.Switch.Out(gpio.High))
	b.Clock().Sleep(time.Second)
	b.World.Charge_As()
	// 1 Ω at the limit: I = 5·(1 − 0.5·(1 − I/12)), so I = 2.5/(1 − 2.5/12).
	assert.InDelta(t, 2.5/(1-2.5/12), b.World.Plug_V(), 0.05)
	low, high := math.Inf(1), 0.0
	for range 200 {
		b.Clock().Sleep(time.Millisecond / 3)
		b.World.Charge_As()
		low, high = min(low, u.src.Open_V), max(high, u.src.Open_V)
	}
	assert.InDelta(t, 11.9, low, 0.001)
	assert.InDelta(t, 12.1, high, 0.001)
}

func TestEvents(t *testing.T) {
	b := sim.NewBench(sim.Options{})
	at := b.Clock().(interface {
		At(time.Duration, func()) func()
	}).At
	var seen []time.Duration
	note := func() { seen = append(seen, b.Clock().Now()) }
	at(3*time.Millisecond, note)
	at(time.Millisecond, func() { note(); at(2*time.Millisecond, note) })
	at(time.Millisecond, note)
	cancel := at(2500*time.Microsecond, note)
	cancel()
	b.Clock().Sleep(10 * time.Millisecond)
	assert.Equal(t, []time.Duration{1e6, 1e6, 2e6, 3e6}, seen)
	at(time.Millisecond, note)
	b.Clock().Sleep(1)
	assert.Len(t, seen, 5, "a time that has passed is due when time moves")
	// Within a transaction, too.
	now := b.Clock().Now()
	at(now+50*time.Microsecond, note)
	word(t, b, sim.INA226Address, 1)
	assert.Equal(t, now+50*time.Microsecond, seen[5])
}

func TestStopInput(t *testing.T) {
	b := sim.NewBench(sim.Options{})
	require.NoError(t, b.Stop.In(gpio.PullUp, gpio.FallingEdge))
	assert.Equal(t, gpio.High, b.Stop.Read())
	assert.False(t, b.Stop.WaitForEdge(10*time.Millisecond))
	assert.Equal(t, 10*time.Millisecond, b.Clock().Now())
	b.World.At(12*time.Millisecond, func() { b.Stop.Pressed = true })
	assert.True(t, b.Stop.WaitForEdge(time.Second))
	assert.InDelta(t, 12e6, float64(b.Clock().Now()), 1e5)
	assert.Equal(t, gpio.Low, b.Stop.Read())
	_, err := b.Pin("NONE")
	assert.Error(t, err)
}

func TestSameSeedSameBench(t *testing.T) {
	run := func(seed uint64) (out []uint16) {
		b := sim.NewBench(sim.Options{Seed: seed, Unit: &sim.Resistor{Ohm: 4}})
		require.NoError(t, b.Switch.Out(gpio.High))
		for range 200 {
			b.Clock().Sleep(2 * time.Millisecond)
			out = append(out, word(t, b, sim.INA226Address, 1), word(t, b, sim.INA226Address, 2))
		}
		return out
	}
	assert.Equal(t, run(5), run(5))
	assert.NotEqual(t, run(5), run(6))
}

// The chip's noise: 5 µV at 140 µs, less by the root of time and averages.
func TestNoise(t *testing.T) {
	for _, c := range []struct {
		config uint16
		want_V float64
	}{{0x4005, 5e-6}, {0x4005 | 4<<3, 5e-6 * math.Sqrt(140.0/1100)}, {0x4005 | 1<<9, 5e-6 / 2}} {
		b := sim.NewBench(sim.Options{Seed: 9})
		b.CalibrateINA226()(0.010, 0)
		put(t, b, sim.INA226Address, 0, c.config)
		sum, square := 0.0, 0.0
		const n = 4000
		for range n {
			b.Clock().Sleep(1400 * time.Microsecond)
			v := float64(int16(word(t, b, sim.INA226Address, 1)))*2.5e-6 - 0.010
			sum += v / n
			square += v * v / n
		}
		// Rounding adds an evenly spread step of 2.5 µV.
		want := math.Hypot(c.want_V, 2.5e-6/math.Sqrt(12))
		assert.InDelta(t, want, math.Sqrt(square-sum*sum), 0.1*want, "%04x", c.config)
	}
}

func TestPaceKeepsToRealTime(t *testing.T) {
	b := sim.NewBench(sim.Options{})
	b.Pace()
	begun := time.Now()
	b.Clock().Sleep(60 * time.Millisecond)
	assert.GreaterOrEqual(t, time.Since(begun), 50*time.Millisecond)
}

// Steps of the world alone, with a resistor in the socket.
func BenchmarkWorldStep(bench *testing.B) {
	u := &probe{Resistor: sim.Resistor{Ohm: 4, PullUp_Ohm: 1e4}}
	b := sim.NewBench(sim.Options{Unit: u})
	_ = b.Switch.Out(gpio.High)
	_ = b.Line.PWM(gpio.DutyHalf, 20*physic.KiloHertz)
	bench.ReportAllocs()
	bench.ResetTimer()
	u.steps = 0
	for bench.Loop() {
		b.Clock().Sleep(time.Second)
	}
	bench.ReportMetric(float64(bench.Elapsed().Nanoseconds())/float64(u.steps), "ns/step")
	bench.ReportMetric(float64(u.steps)/bench.Elapsed().Seconds(), "steps/s")
}

func BenchmarkTransaction(bench *testing.B) {
	b := sim.NewBench(sim.Options{})
	w, r := []byte{1}, make([]byte, 2)
	bench.ReportAllocs()
	for bench.Loop() {
		_ = b.I2C.Tx(sim.INA226Address, w, r)
	}
}
