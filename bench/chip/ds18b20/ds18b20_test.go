package ds18b20

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync/atomic"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/clock"
	"dutybench/bench/sim"
	"dutybench/bench/sysfs"
)

// table1 is the relation of temperature and register in the data sheet's
// Table 1.
var table1 = []struct {
	celsius  float64
	register uint16
}{
	{125, 0x07D0}, {85, 0x0550}, {25.0625, 0x0191}, {10.125, 0x00A2}, {0.5, 0x0008},
	{0, 0x0000}, {-0.5, 0xFFF8}, {-10.125, 0xFF5E}, {-25.0625, 0xFE6F}, {-55, 0xFC90},
}

// pad makes a scratchpad of a register, as a conversion leaves it.
func pad(register uint16, config byte) Scratchpad {
	s := Scratchpad{byte(register), byte(register >> 8), 0x4B, 0x46, config, 0xFF, 0x10 - byte(register&0xF), 0x10}
	s[8] = CRC(s[:8])
	return s
}

func slaveText(s Scratchpad, verdict string) string {
	return fmt.Sprintf("% x : crc=%02x %s\n% x t=0\n", s[:], CRC(s[:8]), verdict, s[:])
}

func TestTable1(t *testing.T) {
	for _, c := range table1 {
		s, err := ParseScratchpad(slaveText(pad(c.register, 0x7F), "YES"))
		require.NoError(t, err)
		raw, err := s.raw()
		require.NoError(t, err)
		assert.Equal(t, c.celsius, float64(raw)/16)
		assert.Equal(t, 12, s.Bits())
		// The kernel cuts to thousandths, towards zero.
		raw, err = millidegrees(fmt.Sprintf("%d\n", int(int16(c.register))*1000/16))
		require.NoError(t, err)
		assert.Equal(t, c.celsius, float64(raw)/16)
	}
}

// Every register that the part can hold comes back from the kernel's number.
func TestEveryStepComesBack(t *testing.T) {
	for register := lowest; register <= highest; register++ {
		raw, err := millidegrees(fmt.Sprint(register * 1000 / 16))
		require.NoError(t, err)
		require.Equal(t, register, raw)
	}
}

// The check values of the one-wire CRC: a power-on scratchpad, and the
// worked ROM of the family's application note on it.
func TestCRC(t *testing.T) {
	power := []byte{0x50, 0x05, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10}
	assert.Equal(t, byte(0x1C), CRC(power))
	assert.Equal(t, byte(0), CRC(append(power, 0x1C)))
	assert.Equal(t, byte(0xA2), CRC([]byte{0x02, 0x1C, 0xB8, 0x01, 0, 0, 0}))
	assert.Equal(t, byte(0), CRC(nil))
}

func TestResolutions(t *testing.T) {
	// Undefined low bits: 11 bit one, 10 bit two, 9 bit three.
	for _, c := range []struct {
		config byte
		bits   int
		want   float64
	}{{0x7F, 12, 25.9375}, {0x5F, 11, 25.875}, {0x3F, 10, 25.75}, {0x1F, 9, 25.5}} {
		s := pad(0x019F, c.config)
		raw, err := s.raw()
		require.NoError(t, err)
		assert.Equal(t, c.bits, s.Bits())
		assert.Equal(t, c.want, float64(raw)/16)
	}
	s := pad(0xFF5F, 0x1F)
	raw, err := s.raw()
	require.NoError(t, err)
	assert.Equal(t, -10.5, float64(raw)/16, "towards minus infinity, as the bits stand")
}

func TestRefused(t *testing.T) {
	reset := Scratchpad{0x50, 0x05, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10, 0x1C}
	weak := Scratchpad{0xFF, 0x07, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10}
	weak[8] = CRC(weak[:8])
	damaged := pad(0x0191, 0x7F)
	damaged[0] ^= 0x10
	for _, c := range []struct {
		name, text string
		err        error
	}{
		{"power-on value", slaveText(reset, "YES"), ErrPowerOn},
		{"too little supply", slaveText(weak, "YES"), ErrPowerOn},
		{"a true 85 °C", slaveText(pad(0x0550, 0x7F), "YES"), nil},
		{"the kernel says no", slaveText(pad(0x0191, 0x7F), "NO"), ErrCheck},
		{"the kernel says yes to a wrong byte", slaveText(damaged, "YES"), ErrCheck},
		{"all zero, with a right check", slaveText(Scratchpad{}, "YES"), ErrCheck},
		{"-127 °C", slaveText(pad(0xF810, 0x7F), "YES"), ErrRange},
		{"above 125 °C", slaveText(pad(0x07D1, 0x7F), "YES"), ErrRange},
		{"below -55 °C", slaveText(pad(0xFC8F, 0x7F), "YES"), ErrRange},
		{"empty", "", ErrFormat},
		{"eight bytes", "50 05 4b 46 7f ff 0c 10 : crc=1c YES\n", ErrFormat},
		{"no bytes", "50 05 4b 46 7f ff 0c 10 xx : crc=1c YES\n", ErrFormat},
		{"no verdict", "50 05 4b 46 7f ff 0c 10 1c : crc=1c\n", ErrFormat},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := ParseScratchpad(c.text)
			if err == nil {
				_, err = s.raw()
			}
			if c.err == nil {
				assert.NoError(t, err)
			} else {
				assert.ErrorIs(t, err, c.err)
			}
		})
	}
	for text, want := range map[string]error{
		"": ErrFormat, "x": ErrFormat, "25.06": ErrFormat, "25100": ErrFormat, "99999999999": ErrFormat, "-127000": ErrRange, "125063": ErrFormat,
		"125062": ErrRange, "127937": ErrPowerOn, "-55062": ErrRange,
	} {
		_, err := millidegrees(text)
		assert.ErrorIs(t, err, want, text)
	}
}

func bench(t *testing.T, celsius float64) (*sim.Bench, *sim.Sensor, *Dev) {
	t.Helper()
	b := sim.NewBench(sim.Options{Unit: &sim.Resistor{Ohm: 10, Temp_C: celsius}})
	d, err := New(b.Tree(), b.Clock(), "")
	require.NoError(t, err)
	return b, b.Kernel.Sensors[0], d
}

func TestRead(t *testing.T) {
	for _, plain := range []bool{false, true} {
		for _, c := range table1 {
			b, s, d := bench(t, c.celsius)
			s.Plain, s.Takes = plain, 750*time.Millisecond
			r, err := d.Read()
			require.NoError(t, err)
			assert.Equal(t, c.celsius, r.Celsius)
			assert.Equal(t, b.Clock().Now(), r.At)
			assert.Equal(t, "DS18B20 28-0123456789ab", d.String())
			want := 1
			if (c.celsius == 85 || c.celsius == 0) && !plain {
				want = 2 // looked at again
			}
			assert.Equal(t, want, s.Readings)
		}
	}
}

// TestFaults: a fault of one reading is read over, a lasting one is named.
func TestFaults(t *testing.T) {
	for _, c := range []struct {
		fault sim.SensorFault
		err   error
	}{
		{sim.SensorReset, ErrPowerOn}, {sim.SensorWeak, ErrPowerOn}, {sim.SensorNoise, nil}, {sim.SensorLow, ErrCheck},
		{sim.SensorMute, syscall.EIO}, {sim.SensorGone, fs.ErrNotExist},
	} {
		for _, plain := range []bool{false, true} {
			_, s, d := bench(t, 21)
			s.Plain = plain
			if c.fault != sim.SensorGone {
				s.Fault, s.For = c.fault, 1
				if c.fault == sim.SensorLow && !plain {
					s.For = 2 // zeros are looked at twice
				}
				r, err := d.Read()
				require.NoError(t, err, "fault %d, plain %v", c.fault, plain)
				assert.Equal(t, 21.0, r.Celsius, "fault %d, plain %v", c.fault, plain)
			}
			s.Fault, s.For = c.fault, 0
			_, err := d.Read()
			require.Error(t, err, "fault %d, plain %v", c.fault, plain)
			assert.ErrorContains(t, err, "4.7 kΩ")
			if c.err != nil {
				assert.ErrorIs(t, err, c.err)
			}
		}
	}
}

func TestNew(t *testing.T) {
	b, s, d := bench(t, 20)
	assert.Equal(t, s.ID, d.ID())
	for _, id := range []string{"10-0123456789ab", "28-0123456789AB", "28-0123456789abc", "../28-0123456789ab", "28"} {
		_, err := New(b.Tree(), b.Clock(), id)
		assert.ErrorContains(t, err, "no identity", id)
	}
	_, err := New(b.Tree(), b.Clock(), "28-000000000000")
	assert.ErrorContains(t, err, "28-0123456789ab")
	b.Kernel.AddSensor("28-00000000000f")
	_, err = New(b.Tree(), b.Clock(), "")
	assert.ErrorContains(t, err, "28-00000000000f and 28-0123456789ab")
	assert.ErrorContains(t, err, "rig file")
	d, err = New(b.Tree(), b.Clock(), "28-00000000000f")
	require.NoError(t, err)
	assert.Equal(t, "28-00000000000f", d.ID())
	for _, s := range b.Kernel.Sensors {
		s.Fault = sim.SensorGone
	}
	_, err = New(b.Tree(), b.Clock(), "")
	assert.ErrorContains(t, err, "4.7 kΩ")
	_, err = New(sysfs.Dir(t.TempDir()), b.Clock(), "")
	assert.ErrorIs(t, err, fs.ErrNotExist)
	assert.ErrorContains(t, err, "w1-gpio")
}

func TestPlainFiles(t *testing.T) {
	root := t.TempDir()
	folder := filepath.Join(root, "bus/w1/devices/28-00000eadbeef")
	require.NoError(t, os.MkdirAll(folder, 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(folder, "temperature"), []byte("-25062\n"), 0o444))
	d, err := New(sysfs.Dir(root), clock.NewReal(), "")
	require.NoError(t, err)
	r, err := d.Read()
	require.NoError(t, err)
	assert.Equal(t, -25.0625, r.Celsius)
	// 85 °C that cannot be looked at closely is no temperature.
	require.NoError(t, os.Remove(filepath.Join(folder, "temperature")))
	require.NoError(t, os.WriteFile(filepath.Join(folder, "temperature"), []byte("85000\n"), 0o444))
	_, err = d.Read()
	assert.ErrorIs(t, err, fs.ErrNotExist)
}

// slow is a tree whose sensor takes its time, as the kernel does.
type slow struct {
	sysfs.Tree
	takes time.Duration
	text  atomic.Pointer[string]
}

func (s *slow) List(string) ([]string, error) { return []string{"28-0123456789ab"}, nil }

func (s *slow) ReadFile(name string) ([]byte, error) {
	time.Sleep(s.takes)
	text := s.text.Load()
	if text == nil {
		return nil, &fs.PathError{Op: "read", Path: name, Err: syscall.EIO}
	}
	return []byte(*text), nil
}

func (s *slow) set(text string) { s.text.Store(&text) }

func TestWatch(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		tree := &slow{takes: 750 * time.Millisecond}
		clk := clock.NewReal()
		tree.set("20000\n")
		d, err := New(tree, clk, "")
		require.NoError(t, err)
		w := d.Watch(250 * time.Millisecond)
		_, err = w.Latest()
		assert.ErrorIs(t, err, ErrNone)
		assert.Zero(t, clk.Now(), "it does not wait")

		time.Sleep(800 * time.Millisecond)
		r, err := w.Latest()
		require.NoError(t, err)
		assert.Equal(t, Reading{At: 750 * time.Millisecond, Celsius: 20}, r)

		tree.set("30000\n")
		time.Sleep(time.Second)
		r, err = w.Latest()
		require.NoError(t, err)
		assert.Equal(t, Reading{At: 1750 * time.Millisecond, Celsius: 30}, r)

		tree.text.Store(nil)
		time.Sleep(2 * time.Second)
		r, err = w.Latest()
		assert.ErrorIs(t, err, syscall.EIO)
		assert.Equal(t, 30.0, r.Celsius, "the last that was one, with its time")
		assert.Equal(t, 1750*time.Millisecond, r.At)

		require.NoError(t, w.Stop())
		require.NoError(t, w.Stop(), "twice")
		at := clk.Now()
		time.Sleep(5 * time.Second)
		later, _ := w.Latest()
		assert.Equal(t, r, later)
		assert.Less(t, at, 6*time.Second)
	})
}

// TestWatchHangs: a bus that never comes back does not keep the program.
func TestWatchHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		tree := &slow{takes: time.Minute}
		tree.set("20000\n")
		d, err := New(tree, clock.NewReal(), "")
		require.NoError(t, err)
		w := d.Watch(0)
		time.Sleep(time.Second)
		assert.ErrorContains(t, w.Stop(), "hangs")
		time.Sleep(2 * time.Minute)
		assert.NoError(t, w.Stop())
	})
}

func FuzzMillidegrees(f *testing.F) {
	for _, s := range []string{"25062\n", "-127000", "", "85000", "0x10", "99999999999999999999", "-0"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if raw, err := millidegrees(text); err == nil && (raw < lowest || raw > highest) {
			t.Fatalf("%q gave %d", text, raw)
		}
	})
}

func FuzzScratchpad(f *testing.F) {
	f.Add("50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n")
	f.Add(slaveText(pad(0xFE6F, 0x7F), "YES"))
	f.Add(slaveText(pad(0x0191, 0x3F), "NO"))
	f.Add(":")
	f.Fuzz(func(t *testing.T, text string) {
		s, err := ParseScratchpad(text)
		if err != nil {
			return
		}
		if CRC(s[:]) != 0 {
			t.Fatalf("%q was taken with a wrong check", text)
		}
		if raw, err := s.raw(); err == nil && (raw < lowest || raw > highest) {
			t.Fatalf("%q gave %d", text, raw)
		}
	})
}
