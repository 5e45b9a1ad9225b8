package rigtest

import (
	"errors"
	"math"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/chip/ads1115"
	"dutybench/bench/clock"
)

// ADS1115 says where the chip is and what can be put on its inputs.
type ADS1115 struct {
	Address uint16
	Speed   physic.Frequency // of the bus; zero: not known
	// Apply puts voltages on AIN0 to AIN3; nil when there is no source.
	Apply func(ain [4]float64)
	// TimeTolerance is added to the data sheet's 10 % for rates.
	TimeTolerance float64
}

// ConformADS1115 checks a chip against SBAS444 through its registers and
// through the driver. It leaves the chip in power-down.
func ConformADS1115(t T, bus i2c.Bus, clk clock.Clock, o ADS1115) {
	t.Helper()
	r := registers{t, i2c.Dev{Bus: bus, Addr: o.Address}}
	ads1115Registers(t, r, clk)
	dev, err := ads1115.New(bus, clk, o.Address)
	need(t, err, "new")
	ads1115Times(t, dev, r, clk, o)
	if o.Apply != nil {
		ads1115Values(t, dev, o)
		ads1115Fresh(t, dev, clk, o)
		// Again at the chip's own pace.
		need(t, dev.Learn(3), "learn")
		if o.Speed > 0 {
			need(t, dev.SetBusSpeed(o.Speed), "bus speed")
		}
		ads1115Fresh(t, dev, clk, o)
	}
	need(t, dev.Off(), "off")
}

// The fields of the config register and the thresholds keep what is written.
// A real chip cannot be reset alone, so the reset value is not asked for.
func ads1115Registers(t T, r registers, clk clock.Clock) {
	t.Helper()
	r.set(1, 0x0583)
	clk.Sleep(300 * time.Millisecond) // whatever was running
	check(t, r.get(1) == 0x8583, "idle config reads %#04x, want 8583h", r.get(1))
	for shift, bits := range map[int]uint16{12: 8, 9: 8, 5: 8, 4: 2, 3: 2, 2: 2, 0: 4} {
		for code := range bits {
			want := uint16(0x0583)&^((bits-1)<<shift) | code<<shift
			r.set(1, want)
			got := r.get(1) &^ 0x8000
			check(t, got == want, "config field at bit %d, code %d reads %#04x, want %#04x", shift, code, got, want)
		}
	}
	r.set(1, 0x0583)
	for _, v := range []uint16{0x8000, 0x7FFF, 0x1234, 0xFEDC} {
		for _, reg := range []byte{2, 3} {
			r.set(reg, v)
			check(t, r.get(reg) == v, "threshold register %d reads %#04x after writing %#04x", reg, r.get(reg), v)
		}
	}
	r.set(2, 0x8000)
	r.set(3, 0x7FFF)
}

// Data rates of single conversions, by the idle bit.
func ads1115Times(t T, dev *ads1115.Dev, r registers, clk clock.Clock, o ADS1115) {
	t.Helper()
	for code, perSecond := range []float64{8, 16, 32, 64, 128, 250, 475, 860} {
		rate := ads1115.Rate(code)
		clk.Sleep(dev.Busy() - clk.Now())
		begun := clk.Now()
		need(t, dev.Start(ads1115.Single0, ads1115.Range4096mV, rate), "start")
		idle, err := dev.Idle()
		need(t, err, "idle")
		check(t, !idle, "%g SPS: idle right after the start", perSecond)
		early := begun
		for !idle && clk.Now() < begun+time.Second {
			early = clk.Now()
			clk.Sleep(time.Duration(1e9 / perSecond / 50))
			idle, err = dev.Idle()
			need(t, err, "idle")
		}
		want := 1e6 / perSecond
		slack := microseconds(clk.Now()-early) + 25 + 95 // the poll, waking up, the start itself
		within(t, "single conversion in µs", microseconds(clk.Now()-begun), want, want*(0.1/0.9+o.TimeTolerance)+slack)
		check(t, r.get(1)&0x8000 != 0, "%g SPS: busy again", perSecond)
		var reading ads1115.Reading
		if clk.Now() < begun+rate.Typical()/2 {
			continue
		}
		at, _ := dev.Due()
		clk.Sleep(at - clk.Now())
		need(t, dev.Fetch(&reading), "fetch")
		err = dev.Fetch(&reading)
		check(t, errors.Is(err, ads1115.ErrIdle), "a second fetch of one conversion gives %v", err)
	}
}

// Codes of every input and range, and the ends. The tolerance is that of the
// electrical characteristics, gain 0.15 % with 0.1 % match between ranges,
// offset and noise together eight codes.
func ads1115Values(t T, dev *ads1115.Dev, o ADS1115) {
	t.Helper()
	var r ads1115.Reading
	measure := func(m ads1115.Mux, rng ads1115.Range) {
		t.Helper()
		need(t, dev.Measure(m, rng, ads1115.Rate860, &r), "measure")
	}
	ain := [4]float64{0.10, 0.35, 0.85, 1.85} // all differences differ
	o.Apply(ain)
	pairs := [8][2]int{{0, 1}, {0, 3}, {1, 3}, {2, 3}, {0, -1}, {1, -1}, {2, -1}, {3, -1}} // Table of MUX
	for m, pair := range pairs {
		want := ain[pair[0]]
		if pair[1] >= 0 {
			want -= ain[pair[1]]
		}
		measure(ads1115.Mux(m), ads1115.Range2048mV)
		within(t, "input code", float64(r.Code), want/62.5e-6, 8+0.0025*math.Abs(want)/62.5e-6)
	}
	// Full scales and steps; at 0.2 V and beyond the end of each range.
	for code, step_V := range []float64{187.5e-6, 125e-6, 62.5e-6, 31.25e-6, 15.625e-6, 7.8125e-6} {
		rng := ads1115.Range(code)
		o.Apply([4]float64{0.2, 0, 0, 0})
		measure(ads1115.Single0, rng)
		within(t, "code of 0.2 V", float64(r.Code), 0.2/step_V, 8+0.0025*0.2/step_V)
		within(t, "0.2 V", r.Volt, 0.2, 8*step_V+0.0025*0.2)
		check(t, !r.Clipped, "0.2 V reads as clipped at %g V a code", step_V)
		if full := step_V * 32768; full < 3.3 {
			o.Apply([4]float64{full * 1.05, 0, full * 1.05, 0})
			measure(ads1115.Single0, rng)
			check(t, r.Code == math.MaxInt16 && r.Clipped, "beyond full scale reads %d, clipped %v, want 7FFFh", r.Code, r.Clipped)
			o.Apply([4]float64{0, full * 1.05, 0, 0})
			measure(ads1115.Differ01, rng)
			check(t, r.Code == math.MinInt16 && r.Clipped, "below minus full scale reads %d, clipped %v, want 8000h", r.Code, r.Clipped)
		}
	}
	// e2e thread 921116: 28304 (6E90h) at ±2.048 V is 1.769 V.
	o.Apply([4]float64{1.769, 0, 0, 0})
	measure(ads1115.Single0, ads1115.Range2048mV)
	within(t, "1.769 V", float64(r.Code), 28304, 8+0.0025*28304)
}

// After a change of the input in continuous mode no reading is of the old
// one, and after a change of the voltage none is of before the last reading.
func ads1115Fresh(t T, dev *ads1115.Dev, clk clock.Clock, o ADS1115) {
	t.Helper()
	ain := [4]float64{0.2, 1.0, 1.8, 0.6}
	o.Apply(ain)
	c := ads1115.Config{Range: ads1115.Range2048mV, Rate: ads1115.Rate860}
	var r ads1115.Reading
	for i := range 40 {
		in := i * 3 % 4
		clk.Sleep(time.Duration(i) * 61 * time.Microsecond) // any phase
		c.Mux = ads1115.Single0 + ads1115.Mux(in)
		c.Rate = []ads1115.Rate{ads1115.Rate860, ads1115.Rate475}[i/4%2]
		need(t, dev.Configure(c), "configure")
		for range 2 {
			need(t, dev.Next(&r), "next")
			within(t, "code after a change of input", float64(r.Code), ain[in]/62.5e-6, 8+0.0025*ain[in]/62.5e-6)
			check(t, r.Middle <= clk.Now(), "reading of %v at %v", r.Middle, clk.Now())
		}
	}
	begun := clk.Now()
	for range 50 {
		need(t, dev.Next(&r), "next")
	}
	check(t, clk.Now()-begun >= 50*c.Rate.Typical()*9/10, "50 readings in %v: some were read twice", clk.Now()-begun)
	need(t, dev.Off(), "off")
	err := dev.Start(ads1115.Single0, ads1115.Range2048mV, ads1115.Rate860)
	check(t, errors.Is(err, ads1115.ErrNotReady), "a start while a conversion may run gives %v", err)
}
