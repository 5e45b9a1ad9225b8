package rigtest_test

import (
	"math/bits"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"dutybench/bench/chip/mcp320x"
	"dutybench/bench/rig"
	"dutybench/bench/rig/rigtest"
	"dutybench/bench/sim"
)

func TestSimulatedINA219Conforms(t *testing.T) {
	for seed := range uint64(6) {
		for _, ideal := range []bool{false, true} {
			b := sim.NewBench(sim.Options{Seed: seed, Ideal: ideal, Current: sim.CurrentINA219})
			conformINA219(t, b, b.I2C)
		}
	}
}

func conformINA219(t rigtest.T, b *sim.Bench, bus i2c.Bus) {
	rigtest.ConformINA219(t, bus, b.Clock(), rigtest.INA219{Address: sim.INA219Address, Speed: 400 * physic.KiloHertz, Apply: b.CalibrateINA219()})
}

// Each seeded register error has to be caught.
func TestSpoiltINA219IsCaught(t *testing.T) {
	on := func(reg byte, f func(uint16) uint16) func(*mutant, byte, uint16) uint16 {
		return func(_ *mutant, r byte, v uint16) uint16 {
			if r == reg {
				return f(v)
			}
			return v
		}
	}
	written := func(f func(uint16) uint16) *mutant { // unseen by the read back
		var want uint16
		return &mutant{
			write: func(r byte, v uint16) uint16 {
				if r == 0 && v&0x8000 == 0 {
					want = v
					return f(v)
				}
				if r == 0 {
					want = 0x399F
				}
				return v
			},
			read: func(_ *mutant, r byte, v uint16) uint16 {
				if r == 0 {
					return want
				}
				return v
			},
		}
	}
	swap := func(v uint16) uint16 { return v<<8 | v>>8 }
	cleared := false // a flag that the power register does not clear
	for name, m := range map[string]*mutant{
		"shunt step 2 % off":        {read: on(1, func(v uint16) uint16 { return uint16(float64(int16(v)) * 1.02) })},
		"shunt step of the INA226":  {read: on(1, func(v uint16) uint16 { return v * 4 })},
		"shunt bytes swapped":       {read: on(1, swap)},
		"shunt a bit too high":      {read: on(1, func(v uint16) uint16 { return v << 1 })},
		"shunt a bit too low":       {read: on(1, func(v uint16) uint16 { return uint16(int16(v) >> 1) })},
		"shunt sign lost":           {read: on(1, func(v uint16) uint16 { return uint16(max(int16(v), -int16(v))) })},
		"shunt of 13 bits":          {read: on(1, func(v uint16) uint16 { return uint16(int16(v<<3) >> 3) })},
		"bus bytes swapped":         {read: on(2, swap)},
		"bus shifted by two":        {read: on(2, func(v uint16) uint16 { return v>>1&^7 | v&7 })},
		"bus step of the INA226":    {read: on(2, func(v uint16) uint16 { return v/16*5&^7 | v&7 })},
		"current step doubled":      {read: on(4, func(v uint16) uint16 { return v / 2 })},
		"power step of the INA226":  {read: on(3, func(v uint16) uint16 { return v * 4 / 5 })},
		"power bytes swapped":       {read: on(3, swap)},
		"another chip":              {read: on(0, func(v uint16) uint16 { return v | 0x4000 })},
		"always ready":              {read: on(2, func(v uint16) uint16 { return v | 2 })},
		"never ready":               {read: on(2, func(v uint16) uint16 { return v &^ 2 })},
		"ready and overflow change": {read: on(2, func(v uint16) uint16 { return v&^3 | v>>1&1 | v<<1&2 })},
		"ready flag a bit too high": {read: on(2, func(v uint16) uint16 { return v&^6 | v&2<<1 })},
		"no overflow flag":          {read: on(2, func(v uint16) uint16 { return v &^ 1 })},
		"ready not cleared": {read: func(_ *mutant, r byte, v uint16) uint16 {
			if r == 2 {
				cleared = cleared || v&2 != 0
				if cleared {
					v |= 2
				}
			}
			return v
		}},
		"ready cleared by the bus register": {read: func(m *mutant, r byte, v uint16) uint16 {
			if r == 2 && v&2 != 0 {
				_ = m.Bus.Tx(sim.INA219Address, []byte{3}, make([]byte, 2))
				_ = m.Bus.Tx(sim.INA219Address, []byte{2}, nil)
			}
			return v
		}},
		"range one off":              written(func(v uint16) uint16 { return v ^ 1<<11 }),
		"range fixed":                written(func(v uint16) uint16 { return v | 3<<11 }),
		"ranges in reverse":          written(func(v uint16) uint16 { return v ^ 3<<11 }),
		"bus range fixed":            written(func(v uint16) uint16 { return v | 1<<13 }),
		"shunt resolution fixed":     written(func(v uint16) uint16 { return v&^0x78 | 3<<3 }),
		"averages ignored":           written(func(v uint16) uint16 { return v &^ (1<<6 | 1<<10) }),
		"conversion times exchanged": written(func(v uint16) uint16 { return v&^0x07F8 | v>>4&0x78 | v<<4&0x0780 }),
		"always continuous":          written(func(v uint16) uint16 { return v | 4 }),
		"bus not converted":          written(func(v uint16) uint16 { return v &^ 2 }),
		"calibration top bits lost":  {write: func(r byte, v uint16) uint16 { return v &^ map[byte]uint16{5: 0xC000}[r] }},
		"calibration keeps bit 0": {read: func(_ *mutant, r byte, v uint16) uint16 {
			if r == 5 && v == 0x1234 {
				return 0x1235
			}
			return v
		}},
		"result of before": {read: func(m *mutant, r byte, v uint16) uint16 {
			if r == 1 {
				return m.last[1]
			}
			return v
		}},
		"high byte of before": {read: func(m *mutant, r byte, v uint16) uint16 {
			if r == 1 {
				return m.last[1]&0xFF00 | v&0xFF
			}
			return v
		}},
		"bus voltage of before": {read: func(m *mutant, r byte, v uint16) uint16 {
			if r == 2 {
				return m.last[2]&^7 | v&7
			}
			return v
		}},
	} {
		t.Run(name, func(t *testing.T) {
			b := sim.NewBench(sim.Options{Seed: 3, Current: sim.CurrentINA219})
			m.Bus, m.last = b.I2C, map[byte]uint16{}
			failures := record(func(rec rigtest.T) { conformINA219(rec, b, m) })
			assert.NotEmpty(t, failures)
		})
	}
	b := sim.NewBench(sim.Options{Seed: 3, Current: sim.CurrentINA219})
	m := written(func(v uint16) uint16 { return v })
	m.Bus, m.last = b.I2C, map[byte]uint16{}
	assert.Empty(t, record(func(rec rigtest.T) { conformINA219(rec, b, m) }), "a good chip behind it")
}

func connect(t testing.TB, o sim.Options) (*sim.Bench, spi.Conn) {
	t.Helper()
	b := sim.NewBench(o)
	c, err := b.SPI.Connect(physic.MegaHertz, spi.Mode0, 8)
	require.NoError(t, err)
	return b, c
}

func conformMCP320x(t rigtest.T, b *sim.Bench, c spi.Conn, chip mcp320x.Chip) {
	rigtest.ConformMCP320x(t, c, b.Clock(), rigtest.MCP320x{Chip: chip, Reference_V: sim.Reference_V, Speed: physic.MegaHertz, Apply: b.CalibrateMCP320x()})
}

func TestSimulatedMCP320xConforms(t *testing.T) {
	for seed := range uint64(6) {
		for _, ideal := range []bool{false, true} {
			for chip, current := range map[mcp320x.Chip]sim.CurrentChip{mcp320x.MCP3204: sim.CurrentMCP3204, mcp320x.MCP3208: sim.CurrentMCP3208} {
				b, c := connect(t, sim.Options{Seed: seed, Ideal: ideal, Current: current})
				conformMCP320x(t, b, c, chip)
			}
		}
	}
}

// framed lies between driver and chip and spoils frames: the command's bytes
// on the way out, the 24 bits and more on the way in.
type framed struct {
	spi.Conn
	out  func(w []byte)
	in   func(f *framed, r []byte)
	last []byte
}

func (f *framed) Tx(w, r []byte) error { return f.TxPackets([]spi.Packet{{W: w, R: r}}) }
func (f *framed) Duplex() conn.Duplex  { return conn.Full }
func (f *framed) String() string       { return "spoilt" }
func (f *framed) command(w []byte) []byte {
	w = append([]byte(nil), w...)
	if f.out != nil {
		f.out(w)
	}
	return w
}

func (f *framed) TxPackets(p []spi.Packet) error {
	sent := make([]spi.Packet, len(p))
	for i := range p {
		sent[i] = spi.Packet{W: f.command(p[i].W), R: p[i].R, KeepCS: p[i].KeepCS}
	}
	err := f.Conn.TxPackets(sent)
	for i := range p {
		was := append([]byte(nil), p[i].R...)
		if f.in != nil {
			f.in(f, p[i].R)
		}
		f.last = was
	}
	return err
}

// shift moves all bits of a frame by n, to the left when above zero.
func shift(r []byte, n int) {
	var v uint64
	for _, b := range r {
		v = v<<8 | uint64(b)
	}
	if n > 0 {
		v <<= n
	} else {
		v >>= -n
	}
	for i := range r {
		r[i] = byte(v >> (8 * (len(r) - 1 - i)))
	}
}

// code changes the code of a frame of three bytes or more.
func code(f func(v uint16) uint16) func(*framed, []byte) {
	return func(_ *framed, r []byte) {
		v := f(uint16(r[1]&0x0F)<<8 | uint16(r[2]))
		r[1], r[2] = r[1]&0xF0|byte(v>>8)&0x0F, byte(v)
	}
}

// Each seeded error of frames has to be caught.
func TestSpoiltMCP320xIsCaught(t *testing.T) {
	all := func(v byte) func(*framed, []byte) {
		return func(_ *framed, r []byte) {
			for i := range r {
				r[i] = v
			}
		}
	}
	for name, f := range map[string]*framed{
		"a bit early":            {in: func(_ *framed, r []byte) { shift(r, 1) }},
		"a bit late":             {in: func(_ *framed, r []byte) { shift(r, -1) }},
		"bytes in reverse":       {in: func(_ *framed, r []byte) { r[1], r[2] = r[2], r[1] }},
		"lowest bit first":       {in: code(func(v uint16) uint16 { return bits.Reverse16(v) >> 4 })},
		"13 bits":                {in: code(func(v uint16) uint16 { return v<<1 | 1 })},
		"11 bits":                {in: code(func(v uint16) uint16 { return v >> 1 })},
		"10 bits":                {in: code(func(v uint16) uint16 { return v &^ 3 >> 2 })},
		"a bit stuck":            {in: code(func(v uint16) uint16 { return v | 0x200 })},
		"top bit lost":           {in: code(func(v uint16) uint16 { return v &^ 0x800 })},
		"code 1 % high":          {in: code(func(v uint16) uint16 { return uint16(min(int(v)*101/100, 4095)) })},
		"offset of 20":           {in: code(func(v uint16) uint16 { return min(v+20, 4095) })},
		"never full":             {in: code(func(v uint16) uint16 { return min(v, 4094) })},
		"no null bit":            {in: func(_ *framed, r []byte) { r[1] |= 0x10 }},
		"wire floating":          {in: all(0xFF)},
		"wire stuck low":         {in: all(0)},
		"code not a second time": {in: func(_ *framed, r []byte) { clear(r[3:]) }},
		"second code from the top": {in: func(_ *framed, r []byte) {
			if len(r) > 4 {
				v := uint16(r[1]&0x0F)<<8 | uint16(r[2])
				r[3], r[4] = byte(v>>3), byte(v<<5)
			}
		}},
		"code of the frame before": {in: func(f *framed, r []byte) {
			if len(f.last) == len(r) {
				copy(r, f.last)
			}
		}},
		"low byte of the frame before": {in: func(f *framed, r []byte) {
			if len(f.last) == len(r) {
				r[2] = f.last[2]
			}
		}},
		"next channel":        {out: func(w []byte) { w[1] ^= 0x40 }},
		"channel bits turned": {out: func(w []byte) { w[1] = w[1]>>1&0x40 | w[1]<<1&0x80 }},
		"top channel bit off": {out: func(w []byte) { w[0] &^= 1 }},
		"pairs only":          {out: func(w []byte) { w[0] &^= 2 }},
		"single only":         {out: func(w []byte) { w[0] |= 2 }},
		"no start bit":        {out: func(w []byte) { clear(w) }},
		"start bit too early": {out: func(w []byte) { shift(w, 1) }},
	} {
		t.Run(name, func(t *testing.T) {
			b, c := connect(t, sim.Options{Seed: 3, Current: sim.CurrentMCP3208})
			f.Conn = c
			failures := record(func(rec rigtest.T) { conformMCP320x(rec, b, f, mcp320x.MCP3208) })
			assert.NotEmpty(t, failures)
		})
	}
	b, c := connect(t, sim.Options{Seed: 3, Current: sim.CurrentMCP3208})
	f := &framed{Conn: c, in: code(func(v uint16) uint16 { return v })}
	assert.Empty(t, record(func(rec rigtest.T) { conformMCP320x(rec, b, f, mcp320x.MCP3208) }), "a good chip behind it")
}

// A rig conforms whatever reads its current.
func TestRigsOfOtherChipsConform(t *testing.T) {
	for _, c := range []struct {
		chip     string
		current  sim.CurrentChip
		describe func(*rig.Description)
	}{
		{"ina219", sim.CurrentINA219, func(d *rig.Description) { d.Current.Conversion, d.Bench.SupplyHigh_V = 532*time.Microsecond, 16 }},
		{"mcp3208", sim.CurrentMCP3208, func(d *rig.Description) {
			f := sim.DefaultFront()
			d.Current.Channel, d.Current.Rate_Hz = sim.MCPCurrent, 20e3
			d.Current.Gain, d.Current.GainTolerance, d.Current.Zero_V = f.Gain, f.GainTolerance, f.Zero_V
			d.Current.Bandwidth_Hz, d.Current.AntiAlias_Hz = f.Bandwidth_Hz, f.AntiAlias_Hz
			d.SPI = &rig.SPI{Port: "0", Speed_Hz: 1e6, Reference_V: sim.Reference_V}
			d.I2C = nil
			d.Voltage, d.Bench.Current_A = nil, 30
			d.Supply.Channel, d.LineLevel.Channel = sim.MCPSupply, sim.MCPLine
			d.Temperature.Channel, d.Temperature.Reference = sim.MCPThermistor, sim.MCPReference
		}},
	} {
		for seed := range uint64(2) {
			rigtest.Conform(t, func() *rig.Rig {
				b := sim.NewBench(sim.Options{Seed: seed, Current: c.current, Unit: &sim.Resistor{Ohm: 4, PullUp_Ohm: 10e3, Temp_C: 20}})
				d := rig.Default()
				d.Current.Chip = c.chip
				c.describe(&d)
				r, err := rig.New(rig.Sim, b, d, rig.Options{Stands: true})
				require.NoError(t, err)
				return r
			})
		}
	}
}
