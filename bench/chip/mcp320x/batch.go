package mcp320x

import (
	"fmt"
	"time"

	"periph.io/x/conn/v3/spi"
)

// Batch is a row of conversions that go out in one message. It is made once
// and read many times.
type Batch struct {
	Inputs []Input
	// Codes are the results, one for each input; Bad where the frame was none
	// of the chip's. Losses counts those.
	Codes  []uint16
	Losses int
	// First is the clock time at which the first input was held, as estimated;
	// the others follow each Spacing later. Each may have been held up to Late
	// later than that, and up to Early before.
	First, Spacing time.Duration
	Early, Late    time.Duration

	packets []spi.Packet
	w, r    []byte
}

// At is the clock time at which an input was held.
func (b *Batch) At(i int) time.Duration { return b.First + time.Duration(i)*b.Spacing }

// NewBatch makes a batch of conversions of the inputs, in their order; an
// input may come many times.
func (d *Dev) NewBatch(inputs ...Input) (*Batch, error) {
	n := len(inputs)
	if n == 0 || n > d.most {
		return nil, fmt.Errorf("mcp320x: batch of %d conversions: a message holds 1 to %d", n, d.most)
	}
	b := &Batch{
		Inputs: append([]Input(nil), inputs...), Codes: make([]uint16, n),
		packets: make([]spi.Packet, n), w: make([]byte, n*frameBytes), r: make([]byte, n*frameBytes),
	}
	for i, in := range inputs {
		if err := d.has(in); err != nil {
			return nil, err
		}
		w, r := b.w[i*frameBytes:(i+1)*frameBytes], b.r[i*frameBytes:(i+1)*frameBytes]
		put(w, in)
		b.packets[i] = spi.Packet{W: w, R: r} // KeepCS false: the select is raised after each
	}
	return b, nil
}

// Read converts a batch. A frame that is none of the chip's is a loss; when
// most of them are, or the live inputs have read zero for longer than the
// grace, Read gives ErrFrame. It does not allocate.
func (d *Dev) Read(b *Batch) error {
	clear(b.r)
	begun := d.clk.Now()
	if err := d.conn.TxPackets(b.packets); err != nil {
		return d.fault(err)
	}
	took := d.clk.Now() - begun
	b.Losses = 0
	const none = Input(255)
	above, at0 := false, none
	for i, in := range b.Inputs {
		code, ok := shortCode(b.r[i*frameBytes : (i+1)*frameBytes])
		if ok && d.live[in] {
			if above = above || code > 0; code == 0 {
				at0 = in
			}
		}
		if !ok {
			code = Bad
			b.Losses++
		}
		b.Codes[i] = code
	}
	d.count += b.Losses
	if b.Losses*2 > len(b.Inputs) {
		return fmt.Errorf("mcp320x: %d of %d frames have no null bit: %w: check the wire from DOUT and the chip's supply", b.Losses, len(b.Inputs), ErrFrame)
	}
	switch {
	case above:
		d.zero = false
	case at0 != none && !d.zero:
		d.zero, d.since = true, begun
	}
	if d.zero && at0 != none && begun+took-d.since > d.opts.Grace {
		return d.stuck(at0)
	}
	d.stamp(b, begun, took)
	return nil
}

// pace is how long messages take.
type pace struct {
	spacing time.Duration // from one frame to the next within a message
	around  time.Duration // a message beyond its frames, least
}

// Spacing is the measured time from one frame to the next.
func (d *Dev) Spacing() time.Duration { return d.pace.spacing }

// Learn measures the pace of frames: the shortest of tries messages of one
// frame, and of as many with the most frames. Delays only ever lengthen a
// message, so the shortest shows what kernel, driver and controller always
// take. The spacing is at least what the clock takes.
func (d *Dev) Learn(tries int) error {
	in := Single(0)
	for i := range d.live {
		if d.live[i] {
			in = Input(i)
		}
	}
	row := make([]Input, d.most)
	for i := range row {
		row[i] = in
	}
	long, err := d.NewBatch(row...)
	if err != nil {
		return err
	}
	one, err := d.NewBatch(in)
	if err != nil {
		return err
	}
	var least [2]time.Duration
	for try := range max(tries, 1) {
		for i, b := range []*Batch{one, long} {
			begun := d.clk.Now()
			if err := d.Read(b); err != nil {
				return err
			}
			if took := d.clk.Now() - begun; try == 0 || took < least[i] {
				least[i] = took
			}
		}
	}
	frame := frameBits * d.bit
	d.pace.spacing = frame
	if d.most > 1 {
		d.pace.spacing = max(frame, (least[1]-least[0])/time.Duration(d.most-1))
	}
	d.pace.around = max(0, least[0]-frame)
	return nil
}

// stamp works out when the inputs of a message were held that began at begun
// and took so long. What a message takes beyond its frames lies before or
// after them, in equal parts as estimated.
func (d *Dev) stamp(b *Batch, begun, took time.Duration) {
	n := time.Duration(len(b.Inputs))
	frames := (n-1)*d.pace.spacing + frameBits*d.bit
	before := min(d.pace.around, max(took-frames, 0)) / 2
	b.Spacing = d.pace.spacing
	b.First = begun + before + holdBits*d.bit
	b.Early = before
	b.Late = max(took-frames-before, 0)
}
