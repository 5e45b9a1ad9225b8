package rigtest

import (
	"math"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/chip/ina226"
	"dutybench/bench/clock"
)

// INA226 says where the chip is and what can be put on its inputs.
type INA226 struct {
	Address uint16
	Speed   physic.Frequency
	// Apply puts voltages on the inputs; nil when there is no source.
	Apply func(shunt_V, bus_V float64)
	// TimeTolerance is the relative tolerance of conversion times besides the
	// data sheet's 10 %, for the jitter of a real machine's clock.
	TimeTolerance float64
}

// ConformINA226 checks a chip against SBOS547B through its registers and
// through the driver. It leaves the chip in power-down.
func ConformINA226(t T, bus i2c.Bus, clk clock.Clock, o INA226) {
	t.Helper()
	r := registers{t, i2c.Dev{Bus: bus, Addr: o.Address}}
	ina226Registers(t, r)
	ina226Flags(t, r, clk)
	dev, err := ina226.New(bus, clk, ina226.Opts{Address: o.Address, Shunt: 2 * physic.MilliOhm, BusSpeed: o.Speed, Config: ina226.Config{Mode: ina226.ShuntContinuous}})
	need(t, err, "new")
	ina226Times(t, dev, clk, o)
	if o.Apply != nil {
		ina226Values(t, dev, r, o)
		ina226Alerts(t, dev, r, clk, o)
		ina226Fresh(t, dev, clk, o)
	}
	need(t, dev.Off(), "off")
}

// Table 7-1: addresses and contents after a reset.
func ina226Registers(t T, r registers) {
	t.Helper()
	r.set(0x00, 0x8000)
	for reg, want := range map[byte]uint16{0x00: 0x4127, 0x05: 0, 0x06: 0, 0x07: 0, 0xFE: 0x5449, 0xFF: 0x2260} {
		if got := r.get(reg); reg == 0x06 {
			check(t, got&^0x0008 == want, "register 06h after reset: %#04x, want %#04x but for the ready flag", got, want)
		} else {
			check(t, got == want, "register %02Xh after reset: %#04x, want %#04x", reg, got, want)
		}
	}
	for shift, field := range map[int]string{9: "AVG", 6: "VBUSCT", 3: "VSHCT", 0: "MODE"} {
		for code := range uint16(8) {
			want := 0x4000 | code<<shift
			r.set(0x00, want)
			check(t, r.get(0x00) == want, "configuration %s %03b reads %#04x, want %#04x", field, code, r.get(0x00), want)
		}
	}
	for reg, values := range map[byte][]uint16{0x05: {0x0A00, 0x0001, 0x7FFF, 0}, 0x07: {0x1F40, 0x8300, 0xFFFF, 0}} {
		for _, v := range values {
			r.set(reg, v)
			check(t, r.get(reg) == v, "register %02Xh reads %#04x after writing %#04x", reg, r.get(reg), v)
		}
	}
	for _, v := range []uint16{0x8000, 0x4000, 0x2000, 0x1000, 0x0800, 0x0400, 0x0003, 0} {
		r.set(0x06, v)
		check(t, r.get(0x06)&0xFC03 == v, "mask/enable reads %#04x after writing %#04x", r.get(0x06), v)
	}
}

// The ready flag: set when all conversions are done, cleared by reading
// mask/enable and by writing the configuration (section "Basic ADC
// functions").
func ina226Flags(t T, r registers, clk clock.Clock) {
	t.Helper()
	ready := func() bool { return r.get(0x06)&0x0008 != 0 }
	r.set(0x00, 0x4003|5<<6|5<<3) // both triggered, 2.116 ms each
	check(t, !ready(), "ready flag set right after the start")
	clk.Sleep(3 * time.Millisecond)
	check(t, !ready(), "ready flag set before the bus conversion is done")
	clk.Sleep(3 * time.Millisecond)
	check(t, ready(), "ready flag not set after twice 2.328 ms")
	check(t, !ready(), "ready flag not cleared by reading it")
	clk.Sleep(10 * time.Millisecond)
	check(t, !ready(), "a triggered mode converts again by itself")
	r.set(0x00, 0x4001) // shunt triggered, 140 µs
	clk.Sleep(time.Millisecond)
	r.set(0x00, 0x4001|5<<3)
	check(t, !ready(), "ready flag not cleared by writing the configuration")
	r.set(0x00, 0x4005) // continuous
	for range 3 {
		clk.Sleep(time.Millisecond)
		check(t, ready(), "ready flag not set in continuous mode")
	}
	r.set(0x00, 0x4000)
	clk.Sleep(time.Millisecond)
	ready()
	clk.Sleep(time.Millisecond)
	check(t, !ready(), "the chip converts in power-down")
}

// The table of conversion times and averages: typical, at most a tenth more;
// a tenth less is taken as the lower limit.
func ina226Times(t T, dev *ina226.Dev, clk clock.Clock, o INA226) {
	t.Helper()
	tolerance := 0.10 + o.TimeTolerance
	for _, c := range []struct {
		config ina226.Config
		us     float64
	}{
		// Conversions shorter than the bus needs for them are counted by
		// what is lost.
		{ina226.Config{ShuntTime: ina226.Convert140us, Mode: ina226.ShuntContinuous}, 140},
		{ina226.Config{ShuntTime: ina226.Convert204us, Mode: ina226.ShuntContinuous}, 204},
		{ina226.Config{ShuntTime: ina226.Convert332us, Mode: ina226.ShuntContinuous}, 332},
		{ina226.Config{ShuntTime: ina226.Convert588us, Mode: ina226.ShuntContinuous}, 588},
		{ina226.Config{ShuntTime: ina226.Convert1100us, Mode: ina226.ShuntContinuous}, 1100},
		{ina226.Config{ShuntTime: ina226.Convert2116us, Mode: ina226.ShuntContinuous}, 2116},
		{ina226.Config{ShuntTime: ina226.Convert4156us, Mode: ina226.ShuntContinuous}, 4156},
		{ina226.Config{ShuntTime: ina226.Convert8244us, Mode: ina226.ShuntContinuous}, 8244},
		{ina226.Config{BusTime: ina226.Convert1100us, Mode: ina226.BusContinuous}, 1100},
		{ina226.Config{BusTime: ina226.Convert8244us, Mode: ina226.BusContinuous}, 8244},
		// Page 11: 588 µs twice, four times averaged, gives 4.704 ms.
		{ina226.Config{Averaging: ina226.Average4, BusTime: ina226.Convert588us, ShuntTime: ina226.Convert588us, Mode: ina226.BothContinuous}, 4704},
		// Page 11: 4.156 ms and 588 µs give 4.744 ms.
		{ina226.Config{BusTime: ina226.Convert588us, ShuntTime: ina226.Convert4156us, Mode: ina226.BothContinuous}, 4744},
		{ina226.Config{Averaging: ina226.Average16, ShuntTime: ina226.Convert140us, Mode: ina226.ShuntContinuous}, 16 * 140},
		{ina226.Config{Averaging: ina226.Average64, ShuntTime: ina226.Convert140us, Mode: ina226.ShuntContinuous}, 64 * 140},
		{ina226.Config{Averaging: ina226.Average128, ShuntTime: ina226.Convert140us, Mode: ina226.ShuntContinuous}, 128 * 140},
		{ina226.Config{Averaging: ina226.Average256, ShuntTime: ina226.Convert140us, Mode: ina226.ShuntContinuous}, 256 * 140},
		{ina226.Config{Averaging: ina226.Average512, ShuntTime: ina226.Convert140us, Mode: ina226.ShuntContinuous}, 512 * 140},
		{ina226.Config{Averaging: ina226.Average1024, ShuntTime: ina226.Convert140us, Mode: ina226.ShuntContinuous}, 1024 * 140},
	} {
		need(t, dev.Configure(c.config), "configure")
		var first, r ina226.Reading
		need(t, dev.Next(&first), "next")
		n := 0
		for i := range 6 {
			before := r.Late
			need(t, dev.Next(&r), "next")
			n += 1 + r.Lost
			check(t, r.Late > before, "%+v: reading %d ends at %v, not after %v", c.config, i, r.Late, before)
			check(t, r.Late <= clk.Now() && r.Early <= r.Late, "%+v: reading ends from %v to %v, read at %v", c.config, r.Early, r.Late, clk.Now())
		}
		// The bounds of both ends bound the period.
		slack := microseconds(first.Late-first.Early+r.Late-r.Early) / 2 / float64(n)
		within(t, "period in µs of "+dev.String(), microseconds((r.Early+r.Late)/2-(first.Early+first.Late)/2)/float64(n), c.us, c.us*tolerance+slack)
	}
}

// Codes of the shunt and bus registers, the worked example of Table 1, and
// the ends of the ranges.
func ina226Values(t T, dev *ina226.Dev, r registers, o INA226) {
	t.Helper()
	const (
		// Limits of the electrical characteristics: offset ±10 µV and
		// ±7.5 mV, gain ±0.1 %; and two codes for rounding and noise.
		offset, busOffset, gain, more = 10 / 2.5, 7.5 / 1.25, 0.001, 2
	)
	need(t, dev.Configure(ina226.Config{Averaging: ina226.Average64, BusTime: ina226.Convert140us, ShuntTime: ina226.Convert140us, Mode: ina226.BothTriggered}), "configure")
	for _, c := range []struct {
		shunt_V, bus_V float64
		shunt          int16
		bus            uint16
		saturated      bool
	}{
		{0.020, 11.98, 8000, 9584, false}, // Table 1: 1F40h, 2570h
		{-0.020, 11.98, -8000, 9584, false},
		{0, 0, 0, 0, false},
		{0.00056, 5, 224, 4000, false},     // e2e thread 873778: 560 µV is 00E0h
		{-0.080, 24, -32000, 19200, false}, // 8300h
		{0.0777, 36, 31080, 28800, false},
		{0.100, 12, ina226.ShuntMax, 9600, true},
		{-0.100, 12, ina226.ShuntMin, 9600, true},
	} {
		o.Apply(c.shunt_V, c.bus_V)
		var got ina226.Reading
		need(t, dev.Next(&got), "next")
		if c.saturated {
			check(t, got.Shunt == c.shunt, "%g V across the shunt reads %d, want the end of the range, %d", c.shunt_V, got.Shunt, c.shunt)
		} else {
			within(t, "shunt code", float64(got.Shunt), float64(c.shunt), offset+more+gain*math.Abs(float64(c.shunt)))
		}
		check(t, got.Saturated == c.saturated, "%g V across the shunt: saturated is %v", c.shunt_V, got.Saturated)
		within(t, "bus code", float64(got.Bus), float64(c.bus), busOffset+more+gain*float64(c.bus))
	}
	// Table 1: calibration 0A00h makes of these 2710h and 12B8h. The chip
	// computes from its own codes, so both are compared exactly.
	need(t, dev.SetCalibration(0x0A00), "calibrate")
	var got ina226.Reading
	o.Apply(0.020, 11.98)
	need(t, dev.Next(&got), "next")
	current := int(got.Shunt) * 0x0A00 / 2048
	within(t, "current register", float64(int16(r.get(0x04))), float64(current), 2)
	within(t, "power register", float64(r.get(0x03)), float64(current)*float64(got.Bus)/20000, 2)
	within(t, "current of Table 1", float64(int16(r.get(0x04)))*dev.CurrentStep_A(), 10, 0.02)
	check(t, !got.Overflow, "overflow in the worked example")
	need(t, dev.SetCalibration(0x7FFF), "calibrate")
	need(t, dev.Next(&got), "next")
	check(t, got.Overflow, "no overflow where the current register cannot hold the value")
	need(t, dev.SetCalibration(2048), "calibrate")
}

// The alert functions that the job needs.
func ina226Alerts(t T, dev *ina226.Dev, r registers, clk clock.Clock, o INA226) {
	t.Helper()
	limit, err := dev.SetOverCurrent(10)
	need(t, err, "over-current")
	within(t, "over-current limit", limit, 10, 1e-9)
	check(t, r.get(0x07) == 4000*2, "alert limit for 10 A in 2 mΩ: %d codes, want 8000", r.get(0x07)) // 20 mV / 2.5 µV
	for _, c := range []struct {
		shunt_V float64
		want    bool
	}{{0.0190, false}, {0.0210, true}, {-0.0210, false}} {
		o.Apply(c.shunt_V, 12)
		_, err := dev.Flags() // what was latched
		need(t, err, "flags")
		need(t, dev.Configure(dev.Config()), "trigger")
		clk.Sleep(2 * dev.Config().Max())
		f, err := dev.Flags()
		need(t, err, "flags")
		check(t, f.Ready && f.Alerted == c.want, "%g V across the shunt over a limit of 20 mV: %+v", c.shunt_V, f)
	}
	need(t, dev.SetAlert(ina226.AlertOff, 0, ina226.AlertOpts{}), "alert off")
}

// A reading never holds what was there before the last one was returned.
func ina226Fresh(t T, dev *ina226.Dev, clk clock.Clock, o INA226) {
	t.Helper()
	need(t, dev.Configure(ina226.Config{ShuntTime: ina226.Convert332us, Mode: ina226.ShuntContinuous}), "configure")
	var r ina226.Reading
	for i := range 40 {
		level := float64(i%2)*0.040 - 0.020
		o.Apply(level, 12)
		changed := clk.Now()
		clk.Sleep(time.Duration(i) * 37 * time.Microsecond) // any phase
		for {
			need(t, dev.Next(&r), "next")
			if r.Early-ina226.Convert332us.Max() >= changed {
				break // began after the change
			}
			check(t, clk.Now() < changed+10*time.Millisecond, "no conversion after the change within 10 ms")
			if clk.Now() > changed+10*time.Millisecond {
				return
			}
		}
		within(t, "shunt code after a change", float64(r.Shunt), level/2.5e-6, 4+8+20)
		need(t, dev.Next(&r), "next")
		within(t, "shunt code one later", float64(r.Shunt), level/2.5e-6, 4+8+20)
	}
}
