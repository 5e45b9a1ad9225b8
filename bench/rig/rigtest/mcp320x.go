package rigtest

import (
	"time"

	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"dutybench/bench/chip/mcp320x"
	"dutybench/bench/clock"
)

// MCP320x says how the chip is wired and what can be put on its inputs.
type MCP320x struct {
	Chip        mcp320x.Chip
	Reference_V float64
	Supply_V    float64 // zero: the reference's
	Speed       physic.Frequency
	// Apply puts voltages on the channels; nil when there is no source, and
	// then one input at least must lie above ground.
	Apply func(volt [8]float64)
	// TimeTolerance is the relative tolerance of the frames' spacing, for the
	// jitter of a real machine's clock and controller.
	TimeTolerance float64
}

// ConformMCP320x checks a chip against DS21298 through its frames and through
// the driver, on a connection in mode 0 or 3 with 8 bits a word.
func ConformMCP320x(t T, c spi.Conn, clk clock.Clock, o MCP320x) {
	t.Helper()
	ramp := [8]float64{}
	for i := range ramp {
		ramp[i] = o.Reference_V * (0.11 + 0.12*float64(i)) // all codes differ, and their bits
	}
	if o.Apply != nil {
		o.Apply(ramp)
	}
	mcp320xFrames(t, c, o)
	dev, err := mcp320x.New(c, clk, mcp320x.Opts{Chip: o.Chip, Reference_V: o.Reference_V, Supply_V: o.Supply_V, Speed: o.Speed})
	need(t, err, "new")
	mcp320xTimes(t, dev, clk, o)
	if o.Apply != nil {
		mcp320xValues(t, dev, o, ramp)
	}
}

// exchange is one frame.
func exchange(t T, c spi.Conn, w []byte) uint64 {
	t.Helper()
	r := make([]byte, len(w))
	need(t, c.Tx(w, r), "frame")
	var bits uint64
	for _, b := range r {
		bits = bits<<8 | uint64(b)
	}
	return bits
}

// Figures 5-1 and 5-2: null bit, code from its highest bit, again from its
// second lowest, then zeros; all counted from the start bit, wherever it is.
func mcp320xFrames(t T, c spi.Conn, o MCP320x) {
	t.Helper()
	for channel := range uint64(o.Chip) {
		for shift := range 8 {
			// Eight bytes: the start bit comes after 5 + shift zeros.
			command := (0b11<<3 | channel) << (64 - 10 - shift)
			w := make([]byte, 8)
			for i := range w {
				w[i] = byte(command >> (56 - 8*i))
			}
			bits := exchange(t, c, w) << (11 + shift) // now the null bit is the highest
			check(t, bits>>63 == 0, "channel %d, start bit after %d zeros: the null bit is a one", channel, 5+shift)
			code, again := bits>>51&0xFFF, bits>>40&0x7FF
			for bit := 1; bit < 12; bit++ {
				check(t, again>>(11-bit)&1 == code>>bit&1, "channel %d, start bit after %d zeros: bit %d of %03Xh does not come again in %03Xh", channel, 5+shift, bit, code, again)
			}
			check(t, bits<<24>>(24+11+shift) == 0, "channel %d: more than zeros after the code", channel)
			if o.Apply != nil {
				within(t, "code of a frame", float64(code), 4096*(0.11+0.12*float64(channel)), mcp320xTolerance)
			}
		}
	}
	// Without a start bit the chip does not drive its output: nothing to check,
	// as the wire may float to either level; the next frame is whole.
	exchange(t, c, []byte{0, 0, 0})
	bits := exchange(t, c, []byte{0x06, 0, 0})
	check(t, bits&0x1000 == 0, "no null bit after a frame without a start bit")
}

// mcp320xTolerance is what a code may be off, in steps: offset ±3 and gain ±5
// (both from memory), nonlinearity ±2 (grade C), and one for noise and the
// step itself.
const mcp320xTolerance = 11

// mcp320xTimes: a frame takes its 24 clocks and some time to the next; a
// batch's times lie within its message.
func mcp320xTimes(t T, dev *mcp320x.Dev, clk clock.Clock, o MCP320x) {
	t.Helper()
	frame := 24 * o.Speed.Period()
	check(t, dev.Spacing() >= frame, "frames %v apart, which take %v", dev.Spacing(), frame)
	inputs := make([]mcp320x.Input, dev.Most())
	for i := range inputs {
		inputs[i] = mcp320x.Single(i % int(o.Chip))
	}
	for _, n := range []int{1, 2, len(inputs)} {
		b, err := dev.NewBatch(inputs[:n]...)
		need(t, err, "batch")
		begun := clk.Now()
		need(t, dev.Read(b), "read")
		took := clk.Now() - begun
		check(t, b.Losses == 0, "%d of %d frames lost", b.Losses, n)
		check(t, b.First-b.Early >= begun && b.At(n-1) < begun+took, "%d inputs held from %v to %v in a message from %v to %v", n, b.First, b.At(n-1), begun, begun+took)
		want := time.Duration(n-1)*dev.Spacing() + frame
		check(t, took >= want-time.Duration(o.TimeTolerance*float64(want))-time.Microsecond, "%d frames in %v, which take %v", n, took, want)
	}
}

// mcp320xValues: every input, both ends, and each code of its own frame.
func mcp320xValues(t T, dev *mcp320x.Dev, o MCP320x, ramp [8]float64) {
	t.Helper()
	measure := func(inputs ...mcp320x.Input) []uint16 {
		t.Helper()
		b, err := dev.NewBatch(inputs...)
		need(t, err, "batch")
		need(t, dev.Read(b), "read")
		check(t, b.Losses == 0, "%d of %d frames lost", b.Losses, len(inputs))
		return b.Codes
	}
	// Up and down in one batch: a code of the frame before would show.
	var inputs []mcp320x.Input
	for i := range int(o.Chip) {
		inputs = append(inputs, mcp320x.Single(i), mcp320x.Single(int(o.Chip)-1-i))
	}
	for i, code := range measure(inputs...) {
		channel := int(inputs[i] & 7)
		within(t, inputs[i].String(), float64(code), 4096*ramp[channel]/o.Reference_V, mcp320xTolerance)
		within(t, "volt of "+inputs[i].String(), dev.Volt(code), ramp[channel], mcp320xTolerance*o.Reference_V/4096)
	}
	// Pairs: one way the difference, the other way 0.
	for pair := range int(o.Chip) / 2 {
		for plus := range 2 {
			var volt [8]float64
			volt[2*pair+plus], volt[2*pair+1-plus] = o.Reference_V*0.4, 0.05
			o.Apply(volt)
			codes := measure(mcp320x.Differ(2*pair+plus), mcp320x.Differ(2*pair+1-plus), mcp320x.Single(2*pair+plus))
			within(t, "difference", float64(codes[0]), 4096*(0.4-0.05/o.Reference_V), mcp320xTolerance)
			check(t, codes[1] == 0, "a difference below zero reads %d", codes[1])
			within(t, "single beside it", float64(codes[2]), 4096*0.4, mcp320xTolerance)
		}
	}
	// Ends, and codes that use every bit.
	for _, code := range []float64{4200, 4000, 0xAAA, 0x555, 2048, 2047, 1024, 512, 256, 128, 64, 0} {
		var volt [8]float64
		volt[0], volt[1] = o.Reference_V*(code+0.5)/4096, o.Reference_V/2
		o.Apply(volt)
		got := measure(mcp320x.Single(1), mcp320x.Single(0))
		within(t, "code", float64(got[1]), min(code, mcp320x.MaxCode), mcp320xTolerance)
		if code > mcp320x.MaxCode+50 {
			check(t, got[1] == mcp320x.MaxCode, "above the reference reads %d, want FFFh", got[1])
		}
	}
}
