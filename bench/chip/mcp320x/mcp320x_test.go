package mcp320x_test

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"dutybench/bench/chip/mcp320x"
)

// hand is a clock that moves by messages only.
type hand struct{ t time.Duration }

func (h *hand) Now() time.Duration    { return h.t }
func (h *hand) Sleep(d time.Duration) { h.t += max(d, 0) }

// answers is a chip by its frames: what it sent is kept, and code or raw says
// what comes back. A frame takes 24 µs at 1 MHz and 10 µs to the next, and a
// message 40 µs more.
type answers struct {
	clk   *hand
	code  func(in byte) uint16 // of SGL/DIFF, D2, D1, D0
	raw   []byte               // instead, the same three bytes to each
	err   error
	sent  [][]byte
	keep  bool
	slow  time.Duration // added to a message
	limit int
}

func (a *answers) String() string       { return "SPI" }
func (a *answers) Duplex() conn.Duplex  { return conn.Full }
func (a *answers) MaxTxSize() int       { return a.limit }
func (a *answers) Tx(w, r []byte) error { return a.TxPackets([]spi.Packet{{W: w, R: r}}) }
func (a *answers) TxPackets(p []spi.Packet) error {
	a.clk.t += 40*time.Microsecond + a.slow - 10*time.Microsecond
	for i := range p {
		a.clk.t += time.Duration(len(p[i].W))*8*time.Microsecond + 10*time.Microsecond
		if a.keep {
			a.sent = append(a.sent, append([]byte(nil), p[i].W...))
		}
		if p[i].KeepCS {
			return errors.New("the chip stays selected")
		}
		if a.raw != nil {
			copy(p[i].R, a.raw)
			continue
		}
		// The byte-wise frame of DS21298E, Figure 6-1.
		in := p[i].W[0]&3<<2 | p[i].W[1]>>6
		code := a.code(in)
		p[i].R[0], p[i].R[1], p[i].R[2] = 0xFF, 0xE0|byte(code>>8), byte(code)
		if len(p[i].R) == 5 {
			again := uint16(0)
			for bit := 1; bit < 12; bit++ {
				again |= code >> bit & 1 << (16 - bit)
			}
			p[i].R[3], p[i].R[4] = byte(again>>8), byte(again)
		}
	}
	return a.err
}

func single(codes ...uint16) func(byte) uint16 {
	return func(in byte) uint16 { return codes[int(in&7)%len(codes)] }
}

var opts = mcp320x.Opts{Chip: mcp320x.MCP3208, Reference_V: 3.3, Speed: physic.MegaHertz}

func open(t *testing.T, a *answers, o mcp320x.Opts) *mcp320x.Dev {
	t.Helper()
	a.clk = &hand{}
	d, err := mcp320x.New(a, a.clk, o)
	require.NoError(t, err)
	return d
}

// The bytes of a frame (DS21298E, Figures 5-1 and 6-1): channel n single-ended
// is 06h | n >> 2, then n & 3 in the top bits; pairs without the bit SGL.
func TestFrames(t *testing.T) {
	a := &answers{code: single(0x123, 0xFFF, 0, 0x800, 1, 2, 3, 4)}
	d := open(t, a, opts)
	b, err := d.NewBatch(mcp320x.Single(0), mcp320x.Single(3), mcp320x.Single(4), mcp320x.Single(7), mcp320x.Differ(0), mcp320x.Differ(5), mcp320x.Single(1), mcp320x.Single(2))
	require.NoError(t, err)
	a.keep = true
	require.NoError(t, d.Read(b))
	assert.Equal(t, [][]byte{{0x06, 0, 0}, {0x06, 0xC0, 0}, {0x07, 0, 0}, {0x07, 0xC0, 0}, {0x04, 0, 0}, {0x05, 0x40, 0}, {0x06, 0x40, 0}, {0x06, 0x80, 0}}, a.sent)
	assert.Equal(t, []uint16{0x123, 0x800, 1, 4, 0x123, 2, 0xFFF, 0}, b.Codes)
	// 4096 × VIN / VREF (equation 4-2): 0.80566 mV a code at 3.3 V.
	assert.InDelta(t, 0.80566e-3, d.Step_V(), 1e-8)
	assert.InDelta(t, 1.65, d.Volt(0x800), 1e-12)
	assert.Equal(t, "CH3", mcp320x.Single(3).String())
	assert.Equal(t, "CH4-CH5", mcp320x.Differ(4).String())
}

// A frame takes 34 µs from one to the next, and 40 µs lie around a message.
// The input is held at the eleventh clock.
func TestTimes(t *testing.T) {
	a := &answers{code: single(7)}
	d := open(t, a, opts)
	assert.Equal(t, 34*time.Microsecond, d.Spacing())
	b, err := d.NewBatch(mcp320x.Single(0), mcp320x.Single(0), mcp320x.Single(1))
	require.NoError(t, err)
	begun := a.clk.t
	require.NoError(t, d.Read(b))
	assert.Equal(t, begun+(20+11)*time.Microsecond, b.First)
	assert.Equal(t, b.First+68*time.Microsecond, b.At(2))
	assert.Equal(t, 20*time.Microsecond, b.Early)
	assert.Equal(t, 20*time.Microsecond, b.Late)
	// A message that was held up may have been so before its first frame.
	a.slow = 500 * time.Microsecond
	require.NoError(t, d.Read(b))
	assert.Equal(t, 520*time.Microsecond, b.Late)
	assert.Equal(t, 20*time.Microsecond, b.Early)
}

func TestBadFrames(t *testing.T) {
	a := &answers{code: single(7, 9, 11)}
	d := open(t, a, opts)
	b, err := d.NewBatch(mcp320x.Single(0), mcp320x.Single(1), mcp320x.Single(2))
	require.NoError(t, err)
	// Some without a null bit are lost; most of them are an error.
	a.code = single(7, 0x1009, 11)
	require.NoError(t, d.Read(b))
	assert.Equal(t, []uint16{7, mcp320x.Bad, 11}, b.Codes)
	assert.Equal(t, 1, b.Losses)
	assert.Equal(t, 1, d.BadFrames())
	a.code = single(7, 0x1009, 0x1FFF)
	assert.ErrorIs(t, d.Read(b), mcp320x.ErrFrame)
	a.code = single(7)
	a.err = errors.New("dead")
	assert.ErrorIs(t, d.Read(b), a.err)
}

// A wire that floats high, one that is stuck low, and frames of other bits.
func TestNoChip(t *testing.T) {
	for name, raw := range map[string][]byte{
		"floating":        {0xFF, 0xFF, 0xFF, 0xFF, 0xFF},
		"stuck low":       {0, 0, 0, 0, 0},
		"no second code":  {0xFF, 0xE1, 0x23, 0, 0},
		"not from lowest": {0xFF, 0xE1, 0x23, 0x12, 0x30},
		"ones at the end": {0xFF, 0xE1, 0x23, 0x89, 0x1F},
	} {
		a := &answers{clk: &hand{}, raw: raw}
		_, err := mcp320x.New(a, a.clk, opts)
		assert.ErrorIs(t, err, mcp320x.ErrFrame, name)
	}
	// 123h, and again from its second lowest bit: 1000 1001 000, then zeros.
	a := &answers{clk: &hand{}, raw: []byte{0xFF, 0xE1, 0x23, 0x89, 0x00}}
	_, err := mcp320x.New(a, a.clk, opts)
	assert.NoError(t, err)

	live := opts
	live.Live = []mcp320x.Input{mcp320x.Single(4)}
	a = &answers{clk: &hand{}, code: single(5, 5, 5, 5, 0, 5, 5, 5)}
	_, err = mcp320x.New(a, a.clk, live)
	assert.ErrorContains(t, err, "CH4")
	a.code = single(5)
	d, err := mcp320x.New(a, a.clk, live)
	require.NoError(t, err)
	b, err := d.NewBatch(mcp320x.Single(0), mcp320x.Single(4))
	require.NoError(t, err)
	require.NoError(t, d.Read(b))
	a.raw = []byte{0, 0, 0}
	assert.ErrorIs(t, d.Read(b), mcp320x.ErrFrame)

	// With a grace, a moment at zero is none; what comes between ends it.
	live.Grace = 20 * time.Millisecond
	a = &answers{clk: &hand{}, code: single(5)}
	d, err = mcp320x.New(a, a.clk, live)
	require.NoError(t, err)
	b, err = d.NewBatch(mcp320x.Single(0), mcp320x.Single(4))
	require.NoError(t, err)
	for range 3 {
		a.code = single(0)
		require.NoError(t, d.Read(b))
		a.clk.t += 15 * time.Millisecond
		require.NoError(t, d.Read(b))
		a.code = single(9)
		require.NoError(t, d.Read(b))
	}
	a.code = single(0)
	require.NoError(t, d.Read(b))
	a.clk.t += 21 * time.Millisecond
	assert.ErrorIs(t, d.Read(b), mcp320x.ErrFrame)
}

func TestOptions(t *testing.T) {
	assert.Equal(t, 2*physic.MegaHertz, mcp320x.FastestClock(5))
	assert.Equal(t, physic.MegaHertz, mcp320x.FastestClock(2.7))
	assert.Equal(t, physic.MegaHertz, mcp320x.FastestClock(1))
	// 13 clocks within 1.2 ms.
	assert.InDelta(t, 13/1.2e-3, float64(mcp320x.SlowestClock())/float64(physic.Hertz), 1)
	a := &answers{clk: &hand{}, code: single(5)}
	for _, spoil := range []func(*mcp320x.Opts){
		func(o *mcp320x.Opts) { o.Chip = 3 },
		func(o *mcp320x.Opts) { o.Reference_V = 0 },
		func(o *mcp320x.Opts) { o.Reference_V = 5; o.Supply_V = 3.3 },
		func(o *mcp320x.Opts) { o.Supply_V = 6 },
		func(o *mcp320x.Opts) { o.Speed = 1500 * physic.KiloHertz },
		func(o *mcp320x.Opts) { o.Speed = 10 * physic.KiloHertz },
		func(o *mcp320x.Opts) { o.Live = []mcp320x.Input{16} },
		func(o *mcp320x.Opts) { o.Chip = mcp320x.MCP3204; o.Live = []mcp320x.Input{mcp320x.Single(4)} },
	} {
		o := opts
		spoil(&o)
		_, err := mcp320x.New(a, a.clk, o)
		assert.Error(t, err, "%+v", o)
	}
	o := opts
	o.Chip = mcp320x.MCP3204
	d, err := mcp320x.New(a, a.clk, o)
	require.NoError(t, err)
	assert.Equal(t, "MCP3204 on SPI", d.String())
	_, err = d.NewBatch(mcp320x.Single(4))
	assert.ErrorIs(t, err, mcp320x.ErrInput)
	_, err = d.NewBatch()
	assert.Error(t, err)
	_, err = d.NewBatch(make([]mcp320x.Input, mcp320x.MostFrames+1)...)
	assert.Error(t, err)
	// A port that carries less.
	a.limit = 12
	d, err = mcp320x.New(a, a.clk, o)
	require.NoError(t, err)
	assert.Equal(t, 4, d.Most())
}

func TestReadDoesNotAllocate(t *testing.T) {
	a := &answers{code: single(5)}
	d := open(t, a, opts)
	b, err := d.NewBatch(make([]mcp320x.Input, mcp320x.MostFrames)...)
	require.NoError(t, err)
	assert.Zero(t, testing.AllocsPerRun(100, func() { err = errors.Join(err, d.Read(b)) }))
	assert.NoError(t, err)
}

// The driver's own cost of a sample, on a port that takes no time but for
// answering.
func BenchmarkRead(b *testing.B) {
	for _, n := range []int{1, 4, mcp320x.MostFrames} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			a := &answers{clk: &hand{}, code: single(5)}
			d, err := mcp320x.New(a, a.clk, opts)
			require.NoError(b, err)
			batch, err := d.NewBatch(make([]mcp320x.Input, n)...)
			require.NoError(b, err)
			b.ReportAllocs()
			for b.Loop() {
				if err := d.Read(batch); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*n), "ns/sample")
		})
	}
}
