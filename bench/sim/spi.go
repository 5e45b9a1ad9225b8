package sim

import (
	"errors"
	"fmt"
	"syscall"
	"time"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
)

// What the kernel's spidev does with a message of several transfers.
const (
	// SPIGap is how long the kernel keeps the chip select high between two
	// transfers of a message when no other time was asked for (Linux,
	// drivers/spi/spi.c, _spi_transfer_cs_change_delay: 10 µs).
	SPIGap = 10 * time.Microsecond
	// A message goes through a buffer of 4,096 bytes, in which each transfer
	// begins at a multiple of the processor's alignment for DMA (Linux,
	// drivers/spi/spidev.c, bufsiz and spidev_message); 128 bytes on arm64
	// (from memory).
	spidevBuffer = 4096
	spidevAlign  = 128
)

// SPIDevice is a chip on the simulated SPI port, seen bit by bit in mode 0 or
// 3. The methods are called at the moment of each edge.
type SPIDevice interface {
	Select(on bool)
	// Rise is a rising edge with the level of the chip's input.
	Rise(in bool)
	// Fall is a falling edge, after which the chip's output may change.
	Fall()
	// Out is the level of the chip's output, when it drives it.
	Out() (level, driven bool)
}

// MISO is what is wrong with the wire from the chip.
type MISO int

// The states of the wire from the chip. A wire that nobody drives reads high.
const (
	MISOWhole MISO = iota
	MISOLow        // stuck low
	MISOOpen       // broken
)

// Port is a simulated SPI port with one chip. A transfer takes the time of its
// bits at the clock. Between two transfers of a message the chip select is
// high for Gap.
type Port struct {
	// Faults: Err fails every message; Hang is added to the time that each one
	// takes; Intercept sees each message after the chip has answered and fails
	// it by returning an error; it may spoil what was read.
	Err       error
	Hang      time.Duration
	Intercept func(n int, p []spi.Packet) error
	MISO      MISO
	// Overhead is what kernel and driver take for a message on a real board,
	// before its first bit.
	Overhead time.Duration
	Gap      time.Duration

	w       *World
	chip    SPIDevice
	fastest physic.Frequency // of the port
	clock   physic.Frequency // of the connection
	open    bool
	held    bool // the chip select is low
	count   int
	packets [1]spi.Packet
}

// String names the port.
func (p *Port) String() string { return "sim" }

// Close does nothing.
func (p *Port) Close() error { return nil }

// Count is the number of messages so far.
func (p *Port) Count() int { return p.count }

// Attach puts a chip on the port; nil takes it away.
func (p *Port) Attach(d SPIDevice) { p.chip = d }

// LimitSpeed sets the fastest clock.
func (p *Port) LimitSpeed(f physic.Frequency) error {
	if f < 100*physic.Hertz || f > physic.GigaHertz {
		return fmt.Errorf("sim: SPI clock of %v", f)
	}
	p.fastest = f
	return nil
}

// Connect may be called once, as on a real port.
func (p *Port) Connect(f physic.Frequency, mode spi.Mode, bits int) (spi.Conn, error) {
	switch {
	case p.open:
		return nil, errors.New("sim: the SPI port is connected already")
	case f < 100*physic.Hertz || f > physic.GigaHertz:
		return nil, fmt.Errorf("sim: SPI clock of %v", f)
	case mode != spi.Mode0 && mode != spi.Mode3 || bits != 8:
		return nil, fmt.Errorf("sim: SPI mode %v with %d bits: the port has modes 0 and 3 with 8", mode, bits)
	}
	p.open, p.clock = true, f
	if p.fastest > 0 {
		p.clock = min(f, p.fastest)
	}
	return p, nil
}

// Duplex is full.
func (p *Port) Duplex() conn.Duplex { return conn.Full }

// MaxTxSize is the size of the kernel's buffer.
func (p *Port) MaxTxSize() int { return spidevBuffer }

// Tx sends and receives in one transfer.
func (p *Port) Tx(w, r []byte) error {
	p.packets[0] = spi.Packet{W: w, R: r}
	return p.TxPackets(p.packets[:])
}

// TxPackets is one message.
func (p *Port) TxPackets(packets []spi.Packet) error {
	p.count++
	w := p.w
	w.advance(w.now + p.Overhead + p.Hang)
	if p.Err != nil {
		return p.Err
	}
	sent, received := 0, 0
	for _, k := range packets {
		if len(k.W) != len(k.R) && len(k.W) > 0 && len(k.R) > 0 {
			return fmt.Errorf("sim: SPI packet of %d bytes out and %d in", len(k.W), len(k.R))
		}
		sent += (len(k.W) + spidevAlign - 1) / spidevAlign * spidevAlign
		received += (len(k.R) + spidevAlign - 1) / spidevAlign * spidevAlign
	}
	if sent+received == 0 {
		return errors.New("sim: empty SPI packets")
	}
	if max(sent, received) > spidevBuffer {
		return fmt.Errorf("sim: SPI message: %w", syscall.EMSGSIZE)
	}
	for i, k := range packets {
		p.transfer(k)
		if !k.KeepCS {
			p.choose(false)
			if i < len(packets)-1 {
				w.advance(w.now + p.Gap)
			}
		}
	}
	if p.Intercept != nil {
		return p.Intercept(p.count, packets)
	}
	return nil
}

func (p *Port) choose(on bool) {
	if p.held != on && p.chip != nil {
		p.chip.Select(on)
	}
	p.held = on
}

// transfer clocks the bytes of a packet: each bit has its rising edge in the
// middle and its falling edge at the end, as in mode 0.
func (p *Port) transfer(k spi.Packet) {
	p.choose(true)
	begun, half_ns := p.w.now, 0.5e15/float64(p.clock)
	edge := func(n int) { p.w.advance(begun + time.Duration(float64(n)*half_ns)) }
	n := 0
	for i := range max(len(k.W), len(k.R)) {
		var out, in byte
		if len(k.W) > 0 {
			out = k.W[i]
		}
		for bit := 7; bit >= 0; bit-- {
			n++
			edge(n)
			if p.read() {
				in |= 1 << bit
			}
			if p.chip != nil {
				p.chip.Rise(out>>bit&1 != 0)
			}
			n++
			edge(n)
			if p.chip != nil {
				p.chip.Fall()
			}
		}
		if len(k.R) > 0 {
			k.R[i] = in
		}
	}
}

func (p *Port) read() bool {
	if p.MISO == MISOLow {
		return false
	}
	if p.MISO == MISOOpen || p.chip == nil {
		return true
	}
	level, driven := p.chip.Out()
	return level || !driven
}
