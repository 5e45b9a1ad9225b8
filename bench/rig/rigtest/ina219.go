package rigtest

import (
	"math"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/chip/ina219"
	"dutybench/bench/clock"
)

// INA219 says where the chip is and what can be put on its inputs.
type INA219 struct {
	Address uint16
	Speed   physic.Frequency
	// Apply puts voltages on the inputs; nil when there is no source.
	Apply func(shunt_V, bus_V float64)
	// TimeTolerance is the relative tolerance of conversion times besides the
	// data sheet's 10 %, for the jitter of a real machine's clock.
	TimeTolerance float64
}

// ConformINA219 checks a chip against SBOS448 through its registers and
// through the driver. It leaves the chip in power-down.
func ConformINA219(t T, bus i2c.Bus, clk clock.Clock, o INA219) {
	t.Helper()
	r := registers{t, i2c.Dev{Bus: bus, Addr: o.Address}}
	ina219Registers(t, r)
	ina219Flags(t, r, clk)
	dev, err := ina219.New(bus, clk, ina219.Opts{Address: o.Address, Shunt: 2 * physic.MilliOhm, BusSpeed: o.Speed, Config: ina219.Config{ShuntTime: ina219.Convert12bit, Mode: ina219.ShuntContinuous}})
	need(t, err, "new")
	ina219Times(t, dev, clk, o)
	if o.Apply != nil {
		ina219Values(t, dev, r, o)
		ina219Fresh(t, dev, clk, o)
		ina219Pairs(t, dev, clk, o)
	}
	need(t, dev.Off(), "off")
}

// Table 4: addresses and contents after a reset; fields keep what is written.
func ina219Registers(t T, r registers) {
	t.Helper()
	r.set(0x00, 0x8000)
	for reg, want := range map[byte]uint16{0x00: 0x399F, 0x04: 0, 0x05: 0} {
		check(t, r.get(reg) == want, "register %02Xh after reset: %#04x, want %#04x", reg, r.get(reg), want)
	}
	for field, at := range map[string]struct{ shift, codes int }{"BRNG": {13, 2}, "PG": {11, 4}, "BADC": {7, 16}, "SADC": {3, 16}, "MODE": {0, 8}} {
		for code := range at.codes {
			want := uint16(code) << at.shift
			r.set(0x00, want)
			check(t, r.get(0x00) == want, "configuration %s %04b reads %#04x, want %#04x", field, code, r.get(0x00), want)
		}
	}
	for _, v := range []uint16{0x5000, 0x0002, 0xFFFE, 0xA5A4, 0} {
		r.set(0x05, v)
		check(t, r.get(0x05) == v, "calibration reads %#04x after writing %#04x", r.get(0x05), v)
	}
	r.set(0x05, 0x1235)
	check(t, r.get(0x05) == 0x1234, "calibration reads %#04x after writing 1235h, want 1234h: bit 0 is not used", r.get(0x05))
}

// The ready flag (page 30): set when all conversions are done, cleared by
// reading the power register and by writing a converting mode.
func ina219Flags(t T, r registers, clk clock.Clock) {
	t.Helper()
	ready := func() bool { return r.get(0x02)&0x0002 != 0 }
	r.set(0x00, 10<<7|10<<3|3) // both triggered, 2.13 ms each
	check(t, !ready(), "ready flag set right after the start")
	clk.Sleep(3 * time.Millisecond)
	check(t, !ready(), "ready flag set before the bus conversion is done")
	clk.Sleep(3 * time.Millisecond)
	check(t, ready(), "ready flag not set after twice 2.35 ms")
	check(t, ready(), "ready flag cleared by reading the bus register")
	r.get(0x03)
	check(t, !ready(), "ready flag not cleared by reading the power register")
	clk.Sleep(10 * time.Millisecond)
	check(t, !ready(), "a triggered mode converts again by itself")
	r.set(0x00, 1) // shunt triggered, 9 bits
	clk.Sleep(time.Millisecond)
	check(t, ready(), "ready flag not set after a triggered conversion of the shunt")
	r.set(0x00, 10<<3|1)
	check(t, !ready(), "ready flag not cleared by writing the configuration")
	r.set(0x00, 0)
	r.get(0x03)
	r.set(0x00, 5) // continuous
	for range 3 {
		clk.Sleep(time.Millisecond)
		check(t, ready(), "ready flag not set in continuous mode")
		r.get(0x03)
	}
	r.set(0x00, 0)
	clk.Sleep(time.Millisecond)
	r.get(0x03)
	clk.Sleep(time.Millisecond)
	check(t, !ready(), "the chip converts in power-down")
}

// Table 6: typical, at most a tenth more; a tenth less is taken as the lower
// limit.
func ina219Times(t T, dev *ina219.Dev, clk clock.Clock, o INA219) {
	t.Helper()
	tolerance := 0.102 + o.TimeTolerance // 586/532 is a tenth and 0.2 %
	for _, c := range []struct {
		shunt, bus ina219.Convert
		mode       ina219.Mode
		us         float64
	}{
		// Conversions shorter than the bus needs for them are counted by what
		// is lost.
		{0, 0, ina219.ShuntContinuous, 84},
		{1, 0, ina219.ShuntContinuous, 148},
		{2, 0, ina219.ShuntContinuous, 276},
		{3, 0, ina219.ShuntContinuous, 532},
		{6, 0, ina219.ShuntContinuous, 276}, // 0X10: as 0010
		{8, 0, ina219.ShuntContinuous, 532},
		{9, 0, ina219.ShuntContinuous, 1060},
		{10, 0, ina219.ShuntContinuous, 2130},
		{11, 0, ina219.ShuntContinuous, 4260},
		{12, 0, ina219.ShuntContinuous, 8510},
		{13, 0, ina219.ShuntContinuous, 17020},
		{14, 0, ina219.ShuntContinuous, 34050},
		{15, 0, ina219.ShuntContinuous, 68100},
		{0, 3, ina219.BusContinuous, 532},
		{0, 2, ina219.BusContinuous, 276},
		{0, 10, ina219.BusContinuous, 2130},
		{0, 15, ina219.BusContinuous, 68100},
		{3, 3, ina219.BothContinuous, 1064},
		{10, 11, ina219.BothContinuous, 6390},
	} {
		need(t, dev.Configure(ina219.Config{ShuntTime: c.shunt, BusTime: c.bus, Mode: c.mode}), "configure")
		var first, r ina219.Reading
		need(t, dev.Next(&first), "next")
		n := 0
		for i := range 6 {
			before := r.Late
			need(t, dev.Next(&r), "next")
			n += 1 + r.Lost
			check(t, r.Late > before, "%+v: reading %d ends at %v, not after %v", c, i, r.Late, before)
			check(t, r.Late <= clk.Now() && r.Early <= r.Late, "%+v: reading ends from %v to %v, read at %v", c, r.Early, r.Late, clk.Now())
		}
		// The bounds of both ends bound the period.
		slack := microseconds(first.Late-first.Early+r.Late-r.Early) / 2 / float64(n)
		mean := microseconds((r.Early+r.Late)/2-(first.Early+first.Late)/2) / float64(n)
		within(t, "period in µs", mean, c.us, c.us*tolerance+slack)
	}
}

// The tolerances of the electrical characteristics, grade A: offset by range,
// 0.5 % of the current and of the bus voltage; and the steps, which the data
// sheet does not state for wide ranges: taken as the range over 4,000.
func ina219Values(t T, dev *ina219.Dev, r registers, o INA219) {
	t.Helper()
	const gain = 0.005
	var got ina219.Reading
	measure := func(rng ina219.Range, wide bool, shunt_V, bus_V float64) {
		t.Helper()
		o.Apply(shunt_V, bus_V)
		need(t, dev.Configure(ina219.Config{Range: rng, Bus32V: wide, ShuntTime: ina219.Average8, BusTime: ina219.Average8, Mode: ina219.BothTriggered}), "configure")
		need(t, dev.Next(&got), "next")
	}
	for rng, offset_V := range []float64{100e-6, 125e-6, 150e-6, 200e-6} {
		rng := ina219.Range(rng)
		full_V := 0.040 * float64(int(1)<<rng)
		for _, share := range []float64{0.5, -0.5, 0, 0.02, 0.97, -0.97} {
			want := share * full_V / 10e-6
			measure(rng, false, share*full_V, 11.98)
			within(t, "shunt code", float64(got.Shunt), want, offset_V/10e-6+float64(int(2)<<rng)+gain*math.Abs(want))
			check(t, !got.Saturated, "%g V across the shunt reads as saturated in range %d", share*full_V, rng)
		}
		for _, sign := range []float64{1, -1} {
			measure(rng, false, sign*full_V*1.2, 11.98)
			check(t, float64(got.Shunt) == sign*4000*float64(int(1)<<rng) && got.Saturated, "%g V across the shunt reads %d, saturated %v, want the end of the range", sign*full_V*1.2, got.Shunt, got.Saturated)
		}
	}
	for _, c := range []struct {
		wide  bool
		bus_V float64
		code  float64
	}{{false, 11.98, 2995}, {false, 0, 0}, {false, 5, 1250}, {false, 15.5, 3875}, {true, 11.98, 2995}, {true, 24, 6000}, {true, 26, 6500}} {
		measure(ina219.Range40mV, c.wide, 0.020, c.bus_V)
		within(t, "bus code", float64(got.Bus), c.code, 3+gain*c.code)
	}
	measure(ina219.Range40mV, false, 0.020, 20)
	check(t, got.Bus == 0x0FA0, "20 V in the range of 16 V reads %d, want 0FA0h", got.Bus)

	// Table 3: calibration 5000h makes of 07D0h and 0BB3h 2710h and 1766h. The
	// chip computes from its own codes, so both are compared exactly.
	need(t, dev.SetCalibration(0x5000), "calibrate")
	measure(ina219.Range40mV, false, 0.020, 11.98)
	current := int(got.Shunt) * 0x5000 / 4096
	within(t, "current register", float64(int16(r.get(0x04))), float64(current), 2)
	within(t, "power register", float64(r.get(0x03)), float64(current)*float64(got.Bus)/5000, 2)
	within(t, "current of Table 3", float64(int16(r.get(0x04)))*dev.CurrentStep_A(), 10, 10*gain+0.05+0.02)
	check(t, !got.Overflow, "overflow in the worked example")
	need(t, dev.SetCalibration(0xFFFE), "calibrate")
	measure(ina219.Range160mV, false, 0.150, 11.98)
	check(t, got.Overflow, "no overflow where the current register cannot hold the value")
	need(t, dev.SetCalibration(0x5000), "calibrate")
}

// A reading never holds what was there before the last one was returned.
func ina219Fresh(t T, dev *ina219.Dev, clk clock.Clock, o INA219) {
	t.Helper()
	const tolerance = 10 + 10 + 10 // offset, gain of 20 mV, steps and noise
	need(t, dev.Configure(ina219.Config{ShuntTime: ina219.Convert12bit, Mode: ina219.ShuntContinuous}), "configure")
	var r ina219.Reading
	for i := range 40 {
		level := float64(i%2)*0.040 - 0.020
		o.Apply(level, 12)
		changed := clk.Now()
		clk.Sleep(time.Duration(i) * 37 * time.Microsecond) // any phase
		for {
			need(t, dev.Next(&r), "next")
			if r.Early-ina219.Convert12bit.Max() >= changed {
				break // began after the change
			}
			check(t, clk.Now() < changed+10*time.Millisecond, "no conversion after the change within 10 ms")
			if clk.Now() > changed+10*time.Millisecond {
				return
			}
		}
		within(t, "shunt code after a change", float64(r.Shunt), level/10e-6, tolerance)
		need(t, dev.Next(&r), "next")
		within(t, "shunt code one later", float64(r.Shunt), level/10e-6, tolerance)
	}
	// No conversion comes twice: a ramp of steps, each longer than three.
	begun := clk.Now()
	for range 50 {
		need(t, dev.Next(&r), "next")
	}
	check(t, clk.Now()-begun >= 50*ina219.Convert12bit.Typical()*9/10, "50 readings in %v: some were read twice", clk.Now()-begun)
}

// Shunt and bus voltage of a reading are of one conversion. They are moved
// together in the middle of it, so that the shunt is still of before and the
// bus of after; never the other way round.
func ina219Pairs(t T, dev *ina219.Dev, clk clock.Clock, o INA219) {
	t.Helper()
	o.Apply(-0.020, 4)
	need(t, dev.Configure(ina219.Config{BusTime: ina219.Convert12bit, ShuntTime: ina219.Convert12bit, Mode: ina219.BothContinuous}), "configure")
	need(t, dev.Learn(64), "learn")
	var r ina219.Reading
	for i := range 60 {
		high := i%2 == 0
		clk.Sleep(time.Duration(i%20) * 53 * time.Microsecond) // any phase
		if high {
			o.Apply(0.020, 12)
		} else {
			o.Apply(-0.020, 4)
		}
		for range 4 {
			need(t, dev.Next(&r), "next")
			// Where the first of the two is wholly of after, so is the second.
			now := float64(r.Shunt) > 1960
			before := float64(r.Bus) > 2940
			if !high {
				now, before = float64(r.Shunt) < -1960, float64(r.Bus) < 1060
			}
			check(t, !now || before, "shunt code %d with bus code %d: of two conversions", r.Shunt, r.Bus)
		}
		check(t, (r.Shunt > 0) == high && (r.Bus > 2000) == high, "shunt code %d and bus code %d four readings after a change", r.Shunt, r.Bus)
	}
}
