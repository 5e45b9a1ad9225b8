package sim

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"
)

// armedBench is a bench with a resistor of 3 Ω on it, the switch closed and
// the line at half, and a fault at 10 ms.
func armedBench(t *testing.T, name string, severity float64, lasts time.Duration) *Bench {
	t.Helper()
	b := NewBench(Options{Ideal: true, Unit: &Resistor{Ohm: 3, PullUp_Ohm: 2200, Temp_C: 20},
		Fault: Armed{Name: name, At: 10 * time.Millisecond, For: lasts, Severity: severity}})
	require.NoError(t, b.Switch.Out(gpio.High))
	require.NoError(t, b.Line.PWM(gpio.DutyHalf, 500*physic.Hertz))
	b.Clock().Sleep(2 * time.Millisecond)
	return b
}

func TestBenchFaultList(t *testing.T) {
	seen := map[string]bool{}
	for _, f := range BenchFaults() {
		assert.False(t, seen[f.Name], f.Name)
		seen[f.Name] = true
		assert.Regexp(t, `^[a-z]+(-[a-z]+)*$`, f.Name)
		assert.Contains(t, []string{"bench", "wiring"}, f.Side)
		assert.NotEmpty(t, f.Line)
		assert.NotEmpty(t, f.Half)
		assert.NotEmpty(t, f.Full)
		assert.False(t, strings.HasSuffix(f.Line, "."))
	}
	assert.Error(t, NewBench(Options{}).Arm(Armed{Name: "gremlins"}))
	assert.Error(t, NewBench(Options{}).Arm(Armed{Name: "bus-nack", Severity: 1.1}))
	assert.NoError(t, NewBench(Options{}).Arm(Armed{}))
}

// Every fault comes at its time and not before, and what can go again goes.
func TestBenchFaultsComeAndGo(t *testing.T) {
	type look func(b *Bench) any
	mean := func(of func(b *Bench) float64) look {
		return func(b *Bench) any {
			b.World.settle(b.World.now)
			from := of(b)
			at := b.World.now
			b.Clock().Sleep(5 * time.Millisecond)
			b.World.settle(b.World.now)
			v := (of(b) - from) / (b.World.now - at).Seconds()
			return float64(int(v*100+0.5)) / 100
		}
	}
	shunt := mean(func(b *Bench) float64 { v, _ := b.INA226.input(); return v / Shunt_Ohm })
	input := func(ain int) look { return mean(func(b *Bench) float64 { return b.ADS1115.input(ain) }) }
	answer := func(addr uint16) look {
		return func(b *Bench) any {
			begun := b.World.now
			err := b.I2C.Tx(addr, []byte{0}, make([]byte, 2))
			switch {
			case errors.Is(err, ErrNack):
				return "nack"
			case errors.Is(err, ErrStuck):
				return "stuck"
			}
			return b.World.now - begun
		}
	}
	line := func(b *Bench) any {
		_ = b.Line.PWM(gpio.DutyMax/4, 500*physic.Hertz)
		l := b.World.Line()
		return [2]any{l.State, float64(int(l.High*100+0.5)) / 100}
	}
	on := func(b *Bench) any { return b.World.Energised() }
	const bits = 48 * 2500 * time.Nanosecond
	for _, c := range []struct {
		name           string
		severity       float64
		look           look
		whole, faulted any
		stays          bool
	}{
		{name: "bus-nack", severity: 1, look: answer(0x40), whole: bits, faulted: "nack"},
		{name: "bus-stuck", severity: 0.5, look: answer(0x40), whole: bits, faulted: "stuck"},
		{name: "bus-slow", severity: 0.5, look: answer(0x40), whole: bits, faulted: bits + 100*time.Microsecond},
		{name: "bus-speed", severity: 1, look: answer(0x48), whole: bits, faulted: 4 * bits},
		{name: "bus-hang", severity: 0.5, look: answer(0x48), whole: bits, faulted: bits + 300*time.Millisecond, stays: true},
		{name: "current-gone", severity: 1, look: answer(0x40), whole: bits, faulted: "nack"},
		{name: "voltage-gone", severity: 1, look: answer(0x48), whole: bits, faulted: "nack"},
		{name: "shunt-wire", severity: 1, look: shunt, whole: 4.44, faulted: 0.0},
		{name: "shunt-open", severity: 1, look: shunt, whole: 4.44, faulted: 100.0},
		{name: "supply-sense", severity: 1, look: input(0), whole: 1.21, faulted: 0.0},
		{name: "line-sense", severity: 1, look: input(1), whole: nil, faulted: 0.0},
		{name: "probe-open", severity: 1, look: input(2), whole: nil, faulted: 3.3},
		{name: "pwm-stuck", severity: 1, look: line, whole: [2]any{LinePWM, 0.75}, faulted: [2]any{LinePWM, 0.5}},
		{name: "pwm-low", severity: 1, look: line, whole: [2]any{LinePWM, 0.75}, faulted: [2]any{LineLow, 0.0}},
		{name: "pwm-high", severity: 1, look: line, whole: [2]any{LinePWM, 0.75}, faulted: [2]any{LineReleased, 0.0}},
		{name: "switch-dead", severity: 1, look: on, whole: true, faulted: false},
		{name: "switch-drops", severity: 1, look: on, whole: true, faulted: false},
		{name: "supply-off", severity: 1, look: input(0), whole: 1.21, faulted: 0.0},
		{name: "supply-high", severity: 1, look: input(0), whole: 1.21, faulted: 2.18},
		{name: "supply-low", severity: 1, look: input(0), whole: 1.21, faulted: 0.61},
		{name: "supply-dips", severity: 0.5, look: input(0), whole: 1.21, faulted: 0.73},
		{name: "supply-sags", severity: 1, look: shunt, whole: 4.44, faulted: 1.0},
		{name: "supply-folds", severity: 1, look: shunt, whole: 4.44, faulted: nil},
		{name: "stop-pressed", severity: 1, look: func(b *Bench) any { return b.Stop.Read() }, whole: gpio.High, faulted: gpio.Low},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.whole != nil && c.name != "pwm-stuck" && c.name != "pwm-low" && c.name != "pwm-high" {
				assert.Equal(t, c.whole, c.look(armedBench(t, c.name, c.severity, 0)), "before")
			}
			b := armedBench(t, c.name, c.severity, 20*time.Millisecond)
			b.Clock().Sleep(12*time.Millisecond - b.World.now)
			if c.faulted != nil {
				assert.Equal(t, c.faulted, c.look(b), "while it lasts")
			}
			b.Clock().Sleep(500 * time.Millisecond)
			if c.whole != nil && !c.stays {
				assert.Equal(t, c.whole, c.look(b), "and after it")
			}
		})
	}
}

// A converter that is stuck goes on converting and gives one code.
func TestStuckConverter(t *testing.T) {
	b := armedBench(t, "current-stuck", 1, 0)
	read := func(reg byte) uint16 {
		r := make([]byte, 2)
		require.NoError(t, b.I2C.Tx(INA226Address, []byte{reg}, r))
		return uint16(r[0])<<8 | uint16(r[1])
	}
	b.Clock().Sleep(20 * time.Millisecond)
	stuck := read(1)
	b.World.Supply.Open_V = 6
	b.Clock().Sleep(20 * time.Millisecond)
	assert.Equal(t, stuck, read(1))
	assert.NotZero(t, read(6)&(1<<3), "a conversion is ready")
}

// A wrong bit is one, in one read.
func TestWrongBit(t *testing.T) {
	b := armedBench(t, "bus-bit", 0.5, 0)
	b.Clock().Sleep(20 * time.Millisecond)
	wrong := 0
	for range 100 {
		r := make([]byte, 2)
		require.NoError(t, b.I2C.Tx(INA226Address, []byte{0xFE}, r))
		if v := uint16(r[0])<<8 | uint16(r[1]); v != 0x5449 {
			x := v ^ 0x5449
			assert.Zero(t, x&(x-1), "%#x", v)
			wrong++
		}
	}
	assert.Equal(t, 1, wrong)
}

func TestWallClock(t *testing.T) {
	at := time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC)
	b := NewBench(Options{Fault: Armed{Name: "clock-jumps", At: time.Second, Severity: 0.5}})
	assert.Equal(t, at, b.Wall(at))
	b.Clock().Sleep(2 * time.Second)
	assert.Equal(t, time.Hour, b.Wall(at).Sub(at).Abs())
	assert.Equal(t, 1970, NewBench(Options{Fault: Armed{Name: "clock-unset", At: time.Hour}}).Wall(at).Year())
}

// A fault of a chip that the bench has not would do nothing, and a run with it
// would pass: it is refused.
func TestFaultOfAnotherBenchIsRefused(t *testing.T) {
	b := NewBench(Options{Current: CurrentMCP3208})
	for _, name := range []string{"bus-nack", "current-stuck", "supply-sense"} {
		require.ErrorContains(t, b.Arm(Armed{Name: name, Severity: 1}), "INA226", name)
	}
	require.NoError(t, b.Arm(Armed{Name: "supply-off", Severity: 1}))
}
