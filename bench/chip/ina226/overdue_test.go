package ina226_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c/i2ctest"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/chip/ina226"
)

// The driver's own cost of a sample, on a bus that takes no time.
func BenchmarkNext(b *testing.B) {
	c := ina226.Config{ShuntTime: ina226.Convert332us, Mode: ina226.ShuntContinuous}
	bus := &i2ctest.Playback{DontPanic: true, Ops: start(0x08, 0, 0x40, 0x15)}
	d, err := ina226.New(first{bus, &wire{word: 0x0008}}, &hand{}, ina226.Opts{Address: addr, Shunt: physic.MilliOhm, Config: c, BusSpeed: 400 * physic.KiloHertz})
	require.NoError(b, err)
	var r ina226.Reading
	b.ReportAllocs()
	for b.Loop() {
		if err := d.Next(&r); err != nil {
			b.Fatal(err)
		}
	}
}

// keeps is a chip that keeps its configuration and sets no flag.
type keeps struct {
	i2ctest.Playback
	config [2]byte
	looks  int
}

func (k *keeps) Tx(_ uint16, w, r []byte) error {
	if len(w) == 3 && w[0] == 0 {
		k.config = [2]byte(w[1:])
	}
	if len(r) == 2 {
		r[0], r[1] = 0, 0
		if len(w) == 1 && w[0] == 0 {
			k.looks++
			copy(r, k.config[:])
		}
	}
	return nil
}

// A chip that sets no flag but kept its configuration is looked at for four
// conversions: a flag may have been cleared by a look that failed.
func TestOverdue(t *testing.T) {
	script := &i2ctest.Playback{DontPanic: true, Ops: start(0x08, 0, 0x40, 0x05)}
	k := &keeps{config: [2]byte{0x40, 0x05}}
	clk := &hand{}
	d, err := ina226.New(then{script, k}, clk, ina226.Opts{Address: addr, Shunt: physic.MilliOhm, Config: ina226.Config{Mode: ina226.ShuntContinuous}})
	require.NoError(t, err)
	begun := clk.t
	var r ina226.Reading
	require.ErrorIs(t, d.Next(&r), ina226.ErrNotReady)
	assert.Equal(t, 3, k.looks)
	assert.Less(t, clk.t-begun, 5*(154+20+80)*time.Microsecond)
	k.config[0] = 0x41 // was reset
	k.looks = 0
	require.ErrorIs(t, d.Next(&r), ina226.ErrNotReady)
	assert.Equal(t, 1, k.looks)
}

// then plays a script and then goes over to another bus.
type then struct {
	*i2ctest.Playback
	next *keeps
}

func (f then) Tx(addr uint16, w, r []byte) error {
	if f.Count == len(f.Ops) {
		return f.next.Tx(addr, w, r)
	}
	return f.Playback.Tx(addr, w, r)
}
