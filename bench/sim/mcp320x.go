package sim

import (
	"math"
	"math/rand/v2"
)

// MCP320x is an MCP3204 or MCP3208 after DS21298, clock by clock: start bit,
// input, sampling window, null bit, the code from its highest bit, then again
// from its second lowest upwards, then zeros. Its value is that of the moment
// at which sampling ends.
//
// Chosen, as the data sheet does not say: the nonlinearity is one period of a
// sine over the range; noise is normal, white and independent between
// conversions.
type MCP320x struct {
	Errors MCP320xErrors

	channels  int // 4 or 8
	reference float64
	// input is the voltage at a channel now; settle brings the world up to
	// now, so that the next look sees the mean since.
	input  func(channel int) float64
	settle func()
	rand   *rand.Rand

	selected bool
	clocks   int // since the start bit, which is 0; -1 before it
	field    int // SGL/DIFF, D2, D1, D0
	code     uint16
	level    bool
	driven   bool
}

// MCP320xErrors are how far a chip is from ideal, in steps of its code.
type MCP320xErrors struct {
	OffsetSteps float64 // ±3 at most (from memory)
	GainSteps   float64 // at the end of the range; ±5 at most (from memory)
	INLSteps    float64 // ±1 at most (grade B), ±2 (grade C)
	// NoiseSteps is a standard deviation. The data sheet gives no figure; 0.3
	// is chosen by NewBench.
	NoiseSteps float64
}

// Select begins or ends a frame. A chip that is not selected does not drive
// its output.
func (c *MCP320x) Select(on bool) {
	c.selected, c.clocks, c.field, c.driven = on, -1, 0, false
}

// Rise takes the input bits. Sampling begins on the fourth rising edge after
// the start bit's.
func (c *MCP320x) Rise(in bool) {
	if !c.selected {
		return
	}
	if c.clocks < 0 {
		if in {
			c.clocks = 0
		}
		return
	}
	c.clocks++
	if c.clocks <= 4 {
		c.field <<= 1
		if in {
			c.field |= 1
		}
	}
	if c.clocks == 4 {
		c.settle()
	}
}

// Fall moves the output. Sampling ends on the falling edge of the fifth clock
// after the start bit, which brings the null bit.
func (c *MCP320x) Fall() {
	switch n := c.clocks; {
	case n < 5:
	case n == 5:
		c.code = c.convert()
		c.level, c.driven = false, true
	case n <= 17:
		c.level = c.code>>(17-n)&1 != 0
	case n <= 28:
		c.level = c.code>>(n-17)&1 != 0
	default:
		c.level = false
	}
}

// Out is the output.
func (c *MCP320x) Out() (level, driven bool) { return c.level, c.driven }

// convert is the code of the chosen input: single-ended, or the difference of
// a pair.
func (c *MCP320x) convert() uint16 {
	channel := c.field & (c.channels - 1)
	v := c.input(channel)
	if c.field&8 == 0 {
		v -= c.input(channel ^ 1)
	}
	e := &c.Errors
	x := v / c.reference
	steps := x*(4096+e.GainSteps) + e.OffsetSteps + e.INLSteps*math.Sin(2*math.Pi*x)
	if e.NoiseSteps > 0 {
		steps += c.rand.NormFloat64() * e.NoiseSteps
	}
	return uint16(min(max(math.Floor(steps), 0), 4095))
}

// CalibrateMCP320x takes the chip's inputs from the bench and puts them on a
// calibrator; the returned function sets the voltages of its channels.
func (b *Bench) CalibrateMCP320x() (apply func(volt [8]float64)) {
	var set [8]float64
	b.MCP320x.input = func(channel int) float64 { return set[channel] }
	return func(volt [8]float64) { set = volt }
}
