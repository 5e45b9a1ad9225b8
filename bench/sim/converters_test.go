package sim_test

import (
	"errors"
	"math"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"dutybench/bench/sim"
)

var (
	_ spi.PortCloser = (*sim.Port)(nil)
	_ spi.Conn       = (*sim.Port)(nil)
)

func connect(t testing.TB, o sim.Options) (*sim.Bench, spi.Conn) {
	t.Helper()
	b := sim.NewBench(o)
	p, err := b.Port("0")
	require.NoError(t, err)
	c, err := p.Connect(physic.MegaHertz, spi.Mode0, 8)
	require.NoError(t, err)
	return b, c
}

// frame is one conversion of a channel, single-ended.
func frame(t testing.TB, c spi.Conn, channel byte) float64 {
	t.Helper()
	r := make([]byte, 3)
	require.NoError(t, c.Tx([]byte{0x06 | channel>>2, channel << 6, 0}, r))
	require.Zero(t, r[1]&0x10, "the null bit")
	return float64(uint16(r[1]&0x0F)<<8 | uint16(r[2]))
}

// A message takes its bits, the gaps between its packets and the overhead.
func TestMessagesTakeTheirBits(t *testing.T) {
	b, c := connect(t, sim.Options{Ideal: true, Current: sim.CurrentMCP3208})
	took := func(n int) time.Duration {
		p := make([]spi.Packet, n)
		for i := range p {
			p[i] = spi.Packet{W: []byte{6, 0, 0}, R: make([]byte, 3)}
		}
		begun := b.Clock().Now()
		require.NoError(t, c.TxPackets(p))
		return b.Clock().Now() - begun
	}
	assert.Equal(t, 24*time.Microsecond, took(1))
	assert.Equal(t, (32*24+31*10)*time.Microsecond, took(32))
	b.SPI.Overhead, b.SPI.Gap = 50*time.Microsecond, 2*time.Microsecond
	assert.Equal(t, (50+3*24+2*2)*time.Microsecond, took(3))
	b.SPI.Hang = time.Second
	assert.Greater(t, took(1), time.Second)
	assert.Equal(t, 4, b.SPI.Count())
}

// What the kernel refuses is refused, and a port is connected once.
func TestSPIRefuses(t *testing.T) {
	b, c := connect(t, sim.Options{Current: sim.CurrentMCP3204})
	_, err := b.SPI.Connect(physic.MegaHertz, spi.Mode0, 8)
	assert.Error(t, err)
	many := make([]spi.Packet, 33)
	for i := range many {
		many[i] = spi.Packet{W: make([]byte, 3), R: make([]byte, 3)}
	}
	assert.NoError(t, c.TxPackets(many[:32]))
	assert.ErrorIs(t, c.TxPackets(many), syscall.EMSGSIZE, "33 transfers of 128 bytes in a buffer of 4,096")
	assert.Error(t, c.TxPackets(nil))
	assert.Error(t, c.Tx(make([]byte, 3), make([]byte, 2)))
	b.SPI.Err = errors.New("dead")
	assert.ErrorIs(t, c.Tx(make([]byte, 3), nil), b.SPI.Err)

	b = sim.NewBench(sim.Options{Current: sim.CurrentMCP3204})
	for _, f := range []physic.Frequency{0, 2 * physic.GigaHertz} {
		assert.Error(t, b.SPI.LimitSpeed(f))
		_, err := b.SPI.Connect(f, spi.Mode0, 8)
		assert.Error(t, err)
	}
	_, err = b.SPI.Connect(physic.MegaHertz, spi.Mode1, 8)
	assert.Error(t, err)
	require.NoError(t, b.SPI.LimitSpeed(500*physic.KiloHertz))
	c, err = b.SPI.Connect(physic.MegaHertz, spi.Mode3, 8)
	require.NoError(t, err)
	begun := b.Clock().Now()
	require.NoError(t, c.Tx(make([]byte, 3), nil))
	assert.Equal(t, 48*time.Microsecond, b.Clock().Now()-begun)
	_, err = sim.NewBench(sim.Options{}).Port("0")
	assert.Error(t, err, "the usual bench has none")
}

func TestSPIFaults(t *testing.T) {
	b, c := connect(t, sim.Options{Current: sim.CurrentMCP3208})
	r := make([]byte, 3)
	read := func() []byte {
		require.NoError(t, c.Tx([]byte{7, 0, 0}, r)) // the reference
		return r
	}
	good := append([]byte(nil), read()...)
	assert.Equal(t, byte(0xFF), good[0], "nobody drives the wire before the null bit")
	b.SPI.MISO = sim.MISOLow
	assert.Equal(t, []byte{0, 0, 0}, read())
	b.SPI.MISO = sim.MISOOpen
	assert.Equal(t, []byte{0xFF, 0xFF, 0xFF}, read())
	b.SPI.MISO = sim.MISOWhole
	b.SPI.Attach(nil)
	assert.Equal(t, []byte{0xFF, 0xFF, 0xFF}, read())
	b.SPI.Attach(b.MCP320x)
	b.SPI.Intercept = func(n int, p []spi.Packet) error { p[0].R[2] ^= 0x55; return nil }
	assert.NotEqual(t, good, read())
}

// A conversion is of the moment at the end of the eleventh clock: on a ramp of
// current, without a filter, it shows that moment's value, but for the mean
// over the one and a half clocks of the sample.
func TestSPISamplesAtOneMoment(t *testing.T) {
	u := &probe{Slope: 1000}
	b, c := connect(t, sim.Options{Ideal: true, Unit: u, Current: sim.CurrentMCP3208, Front: sim.Front{Gain: 50}})
	for range 20 {
		b.Clock().Sleep(777 * time.Microsecond)
		held := b.Clock().Now() + 11*time.Microsecond - 750*time.Nanosecond
		want := 1000 * held.Seconds() * sim.Shunt_Ohm * 50 / sim.Reference_V * 4096
		assert.InDelta(t, want, frame(t, c, 0), 1)
	}
	assert.LessOrEqual(t, u.longest, 100*time.Microsecond)
}

// The front: gain and zero, rails, and a filter of first order that passes a
// ramp with its time constant of delay.
func TestFront(t *testing.T) {
	f := sim.DefaultFront()
	lag := 1/(2*math.Pi*f.Bandwidth_Hz) + 1/(2*math.Pi*f.AntiAlias_Hz)
	u := &probe{Slope: 100}
	b, c := connect(t, sim.Options{Ideal: true, Unit: u, Current: sim.CurrentMCP3208})
	assert.InDelta(t, f.Zero_V/sim.Reference_V*4096, frame(t, c, 0), 1)
	for range 20 {
		b.Clock().Sleep(5 * time.Millisecond)
		volt := f.Zero_V + 100*((b.Clock().Now()+11*time.Microsecond).Seconds()-lag)*sim.Shunt_Ohm*f.Gain
		assert.InDelta(t, volt/sim.Reference_V*4096, frame(t, c, 0), 1.5)
	}
	b.Clock().Sleep(400 * time.Millisecond)
	assert.Equal(t, 4095.0, frame(t, c, 0), "the amplifier's rail")
}

// The other channels are those of the ADS1115.
func TestSPIChannels(t *testing.T) {
	b, c := connect(t, sim.Options{Ideal: true, Unit: standing{10e3}, Current: sim.CurrentMCP3208})
	require.NoError(t, b.Switch.Out(gpio.High))
	b.Clock().Sleep(200 * time.Millisecond)
	assert.InDelta(t, 13.5/11/3.3*4096, frame(t, c, sim.MCPSupply), 1)
	assert.InDelta(t, 13.5*110/120/11/3.3*4096, frame(t, c, sim.MCPLine), 1, "the pull-up against the divider")
	assert.InDelta(t, 4160.14/14160.14*4096, frame(t, c, sim.MCPThermistor), 1)
	assert.Equal(t, 4095.0, frame(t, c, sim.MCPReference))
	assert.Zero(t, frame(t, c, 7))
}

// INA219: a conversion holds the mean over its own window: on a ramp that is
// the value at its middle; the bus follows the shunt.
func TestINA219AveragesExactly(t *testing.T) {
	for code, us := range []float64{84, 148, 276, 532} {
		u := &probe{Slope: 100}
		b := sim.NewBench(sim.Options{Ideal: true, Unit: u, Current: sim.CurrentINA219})
		b.Clock().Sleep(7 * time.Millisecond)
		put(t, b, sim.INA219Address, 0, uint16(code)<<3|1)
		begun := b.Clock().Now() - 2500*time.Nanosecond // acknowledged one bit before the stop
		b.Clock().Sleep(10 * time.Millisecond)
		step := float64(int(1) << (3 - code)) // fewer bits, larger steps
		want := 100 * (begun.Seconds() + us*1e-6/2) * sim.Shunt_Ohm / 10e-6
		assert.Equal(t, math.Round(want/step)*step, float64(int16(word(t, b, sim.INA219Address, 1))), "%g µs", us)
		assert.LessOrEqual(t, u.longest, 100*time.Microsecond)
	}
}

// The chip for the current does not change the rest of the bench, and two of
// one seed are the same.
func TestOtherChipsSameBench(t *testing.T) {
	volts := func(chip sim.CurrentChip) (out []uint16) {
		b := sim.NewBench(sim.Options{Seed: 5, Unit: &sim.Resistor{Ohm: 4}, Current: chip})
		require.NoError(t, b.Switch.Out(gpio.High))
		assert.InDelta(t, 0, b.ADS1115.Errors.Gain, 0.0015)
		out = append(out, uint16(1e6*(1+b.ADS1115.Errors.Gain)))
		return out
	}
	for _, chip := range []sim.CurrentChip{sim.CurrentINA219, sim.CurrentMCP3204, sim.CurrentMCP3208} {
		assert.Equal(t, volts(sim.CurrentINA226), volts(chip))
	}
	codes := func(seed uint64) (out []float64) {
		b, c := connect(t, sim.Options{Seed: seed, Unit: &sim.Resistor{Ohm: 4}, Current: sim.CurrentMCP3208})
		require.NoError(t, b.Switch.Out(gpio.High))
		for range 200 {
			b.Clock().Sleep(time.Millisecond)
			out = append(out, frame(t, c, 0), frame(t, c, 1))
		}
		return out
	}
	assert.Equal(t, codes(5), codes(5))
	assert.NotEqual(t, codes(5), codes(6))
}
