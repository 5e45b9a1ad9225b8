package mcp320x

import (
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"dutybench/bench/clock"
)

// Chip is which of the two it is; they cannot be told apart over the bus.
type Chip int

// The chips, by their number of channels.
const (
	MCP3204 Chip = 4
	MCP3208 Chip = 8
)

// String is the chip's name.
func (c Chip) String() string { return fmt.Sprintf("MCP320%d", int(c)) }

// Codes are from 0 to MaxCode; Bad marks a frame that the chip did not send.
const (
	MaxCode = 4095
	Bad     = 0xFFFF
)

// MostFrames is how many conversions a message may hold: see the package
// comment.
const MostFrames = 32

// Clocks of a frame (DS21298E, Figure 5-1, with the start bit as sixth).
const (
	frameBytes = 3
	frameBits  = 8 * frameBytes
	holdBits   = 11 // clocks from the frame's begin until the input is held
	longBytes  = 5  // a frame with the code a second time
	// droopBits are the clocks from the hold to the last bit, for which the
	// chip keeps its sample at least droop at 85 °C (section 6.2, as in the
	// ten-bit chips' DS21295D, page 22).
	droopBits = frameBits - holdBits
	droop     = 1200 * time.Microsecond
)

var (
	// ErrFrame marks an answer that is no frame of the chip.
	ErrFrame = errors.New("no frame of the chip")
	// ErrInput marks an input that the chip does not have.
	ErrInput = errors.New("no such input")
)

// Input is one of the chip's inputs: SGL/DIFF, D2, D1 and D0.
type Input uint8

// Single is a channel against ground.
func Single(channel int) Input { return Input(8 | channel&7) }

// Differ is a channel against its neighbour, 0 and 1, 2 and 3 and so on;
// plus is the channel that counts upwards. The other must stay within 100 mV
// of ground, and differences below zero read 0.
func Differ(plus int) Input { return Input(plus & 7) }

// String names the input.
func (i Input) String() string {
	if i&8 != 0 {
		return fmt.Sprintf("CH%d", i&7)
	}
	return fmt.Sprintf("CH%d-CH%d", i&7, i&7^1)
}

// FastestClock is the highest clock at a supply voltage of the chip: 1 MHz at
// 2.7 V and 2 MHz at 5 V (electrical characteristics); a straight line between
// them is chosen.
func FastestClock(supply_V float64) physic.Frequency {
	share := min(max((supply_V-2.7)/(5-2.7), 0), 1)
	return physic.MegaHertz + physic.Frequency(share*float64(physic.MegaHertz))
}

// SlowestClock is the lowest clock at which the sample does not droop.
func SlowestClock() physic.Frequency {
	return physic.PeriodToFrequency(droop / droopBits)
}

// Opts says how the chip is wired and used.
type Opts struct {
	Chip        Chip
	Reference_V float64 // at VREF: 0.25 V to the supply
	Supply_V    float64 // at VDD: 2.7 to 5.5 V; zero takes the reference's, at least 2.7 V
	// Speed is the clock of the connection. It must be one that the chip
	// stands at its supply.
	Speed physic.Frequency
	// Live are inputs that are not at ground for longer than Grace. They all
	// reading zero for longer means a wire stuck low. Without any, New wants
	// some channel above zero. A grace is for an amplifier that a reverse
	// current drives to its rail for a moment; zero is for none.
	Live  []Input
	Grace time.Duration
}

// Dev is one MCP3204 or MCP3208.
type Dev struct {
	conn  spi.Conn
	clk   clock.Clock
	opts  Opts
	bit   time.Duration
	most  int
	pace  pace
	live  [16]bool
	count int           // of bad frames
	zero  bool          // the live inputs have read zero
	since time.Duration // from then on
}

// New looks for the chip on a connection in mode 0 or 3 with 8 bits a word at
// Opts.Speed, and measures the pace of its frames.
func New(c spi.Conn, clk clock.Clock, o Opts) (*Dev, error) {
	if o.Supply_V == 0 {
		o.Supply_V = max(o.Reference_V, 2.7)
	}
	switch {
	case o.Chip != MCP3204 && o.Chip != MCP3208:
		return nil, fmt.Errorf("mcp320x: chip with %d channels: state MCP3204 or MCP3208", int(o.Chip))
	case !(o.Supply_V >= 2.7 && o.Supply_V <= 5.5):
		return nil, fmt.Errorf("mcp320x: supply of %g V: the chip needs 2.7 to 5.5 V; correct the rig's description", o.Supply_V)
	case !(o.Reference_V >= 0.25 && o.Reference_V <= o.Supply_V):
		return nil, fmt.Errorf("mcp320x: reference of %g V: it must lie from 0.25 V to the supply, %g V; correct the rig's description", o.Reference_V, o.Supply_V)
	case o.Speed > FastestClock(o.Supply_V):
		return nil, fmt.Errorf("mcp320x: clock of %v: at a supply of %g V the chip stands %v; lower the clock in the rig's description", o.Speed, o.Supply_V, FastestClock(o.Supply_V))
	case o.Speed < SlowestClock():
		return nil, fmt.Errorf("mcp320x: clock of %v: below %v the chip's sample droops while it is read; raise the clock in the rig's description", o.Speed, SlowestClock())
	}
	d := &Dev{conn: c, clk: clk, opts: o, bit: o.Speed.Period(), most: MostFrames}
	if l, ok := c.(conn.Limits); ok && l.MaxTxSize() > 0 {
		d.most = max(1, min(d.most, l.MaxTxSize()/frameBytes))
	}
	for _, in := range o.Live {
		if err := d.has(in); err != nil {
			return nil, err
		}
		d.live[in] = true
	}
	if err := d.identify(); err != nil {
		return nil, err
	}
	return d, d.Learn(16)
}

// Connect connects a port and looks for the chip.
func Connect(p spi.Port, clk clock.Clock, o Opts) (*Dev, error) {
	c, err := p.Connect(o.Speed, spi.Mode0, 8)
	if err != nil {
		return nil, fmt.Errorf("mcp320x: connect %s: %w: check that SPI is switched on at boot and that this user may use it", p, err)
	}
	return New(c, clk, o)
}

// String names the chip.
func (d *Dev) String() string { return fmt.Sprintf("%v on %s", d.opts.Chip, d.conn) }

// Step_V is the voltage of a code.
func (d *Dev) Step_V() float64 { return d.opts.Reference_V / 4096 }

// Volt is the voltage for a code (DS21298E, equation 4-2): the input lay from
// there to one step higher, but for the chip's errors.
func (d *Dev) Volt(code uint16) float64 { return float64(code) * d.Step_V() }

// Most is how many conversions a batch may hold.
func (d *Dev) Most() int { return d.most }

// BadFrames counts the frames so far that were none of the chip's.
func (d *Dev) BadFrames() int { return d.count }

func (d *Dev) has(in Input) error {
	if in > 15 || int(in&7) >= int(d.opts.Chip) {
		return fmt.Errorf("mcp320x: %v: %w on an %v", in, ErrInput, d.opts.Chip)
	}
	return nil
}

// identify reads every channel with a long frame.
func (d *Dev) identify() error {
	w, r := make([]byte, longBytes), make([]byte, longBytes)
	above := false
	for channel := range int(d.opts.Chip) {
		in := Single(channel)
		put(w, in)
		if err := d.conn.Tx(w, r); err != nil {
			return d.fault(err)
		}
		code, ok := longCode(r)
		if !ok {
			return fmt.Errorf("mcp320x: %v answers % x to % x: %w: check the wires to the chip, above all its DOUT, its supply, and the mode and clock of the port", in, r, w, ErrFrame)
		}
		above = above || code > 0
		if d.live[in] && code == 0 {
			return d.stuck(in)
		}
	}
	if !above {
		return fmt.Errorf("mcp320x: all %d channels read 0: %w, or all inputs lie at ground: check the wire from DOUT, the chip's supply and reference, and put a voltage on one input", int(d.opts.Chip), ErrFrame)
	}
	return nil
}

func (d *Dev) stuck(in Input) error {
	return fmt.Errorf("mcp320x: %v, which is never at ground, reads 0: %w: check the wire from DOUT, the chip's supply and reference, and what lies at that input", in, ErrFrame)
}

func (d *Dev) fault(err error) error {
	return fmt.Errorf("mcp320x: %s: %w: check the port's name, wiring and the chip's supply", d.conn, err)
}

// put writes a frame's command.
func put(w []byte, in Input) {
	clear(w)
	w[0] = 0x04 | byte(in>>2)
	w[1] = byte(in) << 6
}

// shortCode is the code of a frame; ok is false when its null bit is a one.
func shortCode(r []byte) (code uint16, ok bool) {
	return uint16(r[1]&0x0F)<<8 | uint16(r[2]), r[1]&0x10 == 0
}

// longCode is the code of a long frame; ok says that it came twice.
func longCode(r []byte) (code uint16, ok bool) {
	code, ok = shortCode(r)
	// Eleven bits from the second lowest upwards, then five zeros.
	again := uint16(r[3])<<8 | uint16(r[4])
	for bit := 1; bit < 12; bit++ {
		ok = ok && again>>(16-bit)&1 == code>>bit&1
	}
	return code, ok && again&0x1F == 0
}
