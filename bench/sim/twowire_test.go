package sim

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"
)

const us = time.Microsecond

// 12 V on 4 Ω and 20 mH (references, check-values.md 8.5: i = U/R·(1 − exp(−t·R/L))).
func TestCoilRises(t *testing.T) {
	c := &Coil{Ohm: 4, Henry: 0.020}
	for _, x := range []struct {
		at   time.Duration
		want float64
	}{{time.Millisecond, 0.543808}, {5 * time.Millisecond, 1.896362}, {10 * time.Millisecond, 2.593994}, {25 * time.Millisecond, 2.979786}} {
		now, charge := time.Duration(0), 0.0
		*c = Coil{Ohm: 4, Henry: 0.020}
		for ; now < x.at; now += 50 * us {
			mean, across := c.Step(50*us, Circuit{Closed: true, EMF_V: 12})
			charge += mean * 50e-6
			require.InDelta(t, 12, across, 1e-9)
		}
		assert.InDelta(t, x.want, c.current_A, 5e-7)
		// The charge is the integral of the same: U/R·(t − τ·(1 − exp(−t/τ))).
		s := x.at.Seconds()
		assert.InDelta(t, 3*(s-0.005*(1-math.Exp(-s/0.005))), charge, 1e-9)
	}
}

// Into a diode of 0.7 V the current falls toward −Uf/R and is nought after
// τ·ln(1 + I·R/Uf), as the same equation has it from I.
func TestCoilDecays(t *testing.T) {
	c := &Coil{Ohm: 4, Henry: 0.020, current_A: 3}
	wheel := Circuit{Closed: true, OneWay: true, EMF_V: -0.7}
	until := 0.005 * math.Log(1+3*4/0.7)
	sum := 0.0
	for now := time.Duration(0); now < 40*time.Millisecond; now += 20 * us {
		at := (now + 20*us).Seconds()
		mean, _ := c.Step(20*us, wheel)
		sum += mean * 20e-6
		want := 0.0
		if at < until {
			want = -0.175 + 3.175*math.Exp(-at/0.005)
		}
		require.InDelta(t, want, c.current_A, 1e-9, "at %g s", at)
	}
	// L·I is what coil and diode take up: ∫(R·i + Uf)dt, so R·charge = L·I − Uf·t.
	assert.InDelta(t, (0.020*3-0.7*until)/4, sum, 1e-9)
}

// driven is a bench with a coil behind its switch at PWM, long since settled.
func driven(t *testing.T, o Options, duty float64, f physic.Frequency) *Bench {
	t.Helper()
	o.Ideal = true
	if o.Supply == (Supply{}) {
		o.Supply = Supply{Open_V: 12}
	}
	b := NewBench(o)
	require.NoError(t, b.Switch.Out(gpio.High))
	require.NoError(t, b.Load.PWM(gpio.Duty(math.Round(duty*float64(gpio.DutyMax))), f))
	b.Clock().Sleep(200 * time.Millisecond)
	return b
}

// loss-free switch and diode, for closed forms; the shunt in the loop or not.
func lossless(seen bool) Driver {
	return Driver{Seen: seen, FreeWheel: FreeWheel{Diode: true, Ohm: 1e-9}, Ohm: 1e-9}
}

// ends are the extremes of the current at PWM with a diode: with a = exp(−D·T/τ)
// and b = exp(−(1−D)·T/τ) it rises toward U/R for D·T and falls toward 0 for the
// rest, so high = U/R·(1−a)/(1−a·b) and low = high·b.
func ends(volt, ohm, henry, duty, hz float64) (low, high float64) {
	tau := henry / ohm
	a, b := math.Exp(-duty/hz/tau), math.Exp(-(1-duty)/hz/tau)
	high = volt / ohm * (1 - a) / (1 - a*b)
	return high * b, high
}

func TestRippleUnderPWM(t *testing.T) {
	const volt, ohm, henry = 12.0, 4.0, 0.020
	for _, c := range []struct{ hz, duty float64 }{{50, 0.5}, {200, 0.3}, {1000, 0.5}, {1000, 0.9}, {20_000, 0.5}, {25_000, 0.1}} {
		low, high := ends(volt, ohm, henry, c.duty, c.hz)
		for _, seen := range []bool{true, false} {
			b := driven(t, Options{TwoWire: &Coil{Ohm: ohm, Henry: henry}, Driver: lossless(seen)}, c.duty, physic.Frequency(c.hz*float64(physic.Hertz)))
			w, step := b.World, us
			if c.hz > 1000 {
				step = 50 * time.Nanosecond
			}
			least, most, charge, periods := math.Inf(1), 0.0, w.Charge_As(), 4.0
			n := int(periods / c.hz / step.Seconds())
			for range n {
				b.Clock().Sleep(step)
				w.settle(w.now)
				least, most = min(least, w.Body_A()), max(most, w.Body_A())
			}
			mean := (w.Charge_As() - charge) / (float64(n) * step.Seconds())
			slope := volt / henry * step.Seconds() // a mean over a step is that far from its ends at most
			edge := 2e-9 * c.hz * volt / ohm       // the bench's time is in ns
			slope += edge
			assert.InDelta(t, low, least, slope+1e-6, "%+v", c)
			assert.InDelta(t, high, most, slope+1e-6, "%+v", c)
			want := c.duty * volt / ohm // the coil takes no mean voltage
			if !seen {
				// L·di = (U − R·i)·dt over the time that it is closed.
				want = (volt*c.duty - henry*(high-low)*c.hz) / ohm
			}
			assert.InDelta(t, want, mean, 2e-4*want+edge, "%+v, seen %v", c, seen)
		}
	}
}

// A converter without a filter sees a ripple of its own rate at one phase only:
// a mean of such samples is no mean of the current. Beside that rate it comes
// back at the difference, with the amplitude of its first harmonic.
func TestRippleFolds(t *testing.T) {
	const volt, ohm, henry, duty, rate = 12.0, 4.0, 0.001, 0.5, 20e3
	bare := Front{Gain: 50, Zero_V: 0.2}
	read := func(b *Bench) float64 {
		return (b.MCP320x.input(MCPCurrent) - 0.2) / (50 * Shunt_Ohm)
	}
	low, high := ends(volt, ohm, henry, duty, rate)
	for _, phase := range []time.Duration{0, 5 * us, 12500 * time.Nanosecond, 25 * us, 40 * us} {
		b := driven(t, Options{Current: CurrentMCP3208, Front: bare, TwoWire: &Coil{Ohm: ohm, Henry: henry}, Driver: lossless(true)}, duty, rate*physic.Hertz)
		b.Clock().Sleep(phase) // the PWM began with a whole number of periods before
		want := low*math.Exp(-phase.Seconds()*ohm/henry) + volt/ohm*(1-math.Exp(-phase.Seconds()*ohm/henry))
		if phase > 25*us {
			want = high * math.Exp(-(phase-25*us).Seconds()*ohm/henry)
		}
		for range 20 {
			assert.InDelta(t, want, read(b), 1e-4*(high-low), "phase %v", phase)
			b.Clock().Sleep(50 * us)
		}
	}
	assert.Greater(t, high-low, 0.1)

	for _, f := range []struct {
		corner_Hz, share float64 // of the ripple's first harmonic that is left
	}{{0, 1}, {8e3, 1 / math.Hypot(1, 20.5/8)}} {
		front := bare
		front.AntiAlias_Hz = f.corner_Hz
		b := driven(t, Options{Current: CurrentMCP3208, Front: front, TwoWire: &Coil{Ohm: ohm, Henry: henry}, Driver: lossless(true)}, duty, 20_500*physic.Hertz)
		var re, im float64
		const n = 400 // ten periods of 500 Hz
		for i := range n {
			x := read(b)
			angle := 2 * math.Pi * 500 * float64(i) / rate
			re, im = re+2*x*math.Cos(angle)/n, im+2*x*math.Sin(angle)/n
			b.Clock().Sleep(50 * us)
		}
		// The square wave's first harmonic, 2·U/π·sin(π·D), over the coil's impedance.
		want := f.share * 2 * volt / math.Pi * math.Sin(math.Pi*duty) / math.Hypot(ohm, 2*math.Pi*20_500*henry)
		assert.InDelta(t, want, math.Hypot(re, im), 0.02*want, "corner %g Hz", f.corner_Hz)
	}
}

// What the load switch's wire shows: ground while a low-side switch conducts,
// the supply and the diode's drop while the coil free-wheels; without a diode
// the clamp.
func TestNodeTellsTheFreeWheelPath(t *testing.T) {
	for _, c := range []struct {
		name               string
		change             func(*Driver)
		closed, open, rest float64
	}{
		{"low side, diode", func(*Driver) {}, 0, 12.7, 12},
		{"low side, none", func(d *Driver) { d.Diode = false }, 0, 60, 12},
		{"high side, diode", func(d *Driver) { d.HighSide = true }, 12, -0.7, 0},
		{"high side, none", func(d *Driver) { d.HighSide, d.Diode = true, false }, 12, 12 - 60, 0},
		{"welded", func(d *Driver) { d.StuckOn = true }, 0, 0, 0},
		{"dead", func(d *Driver) { d.StuckOff = true }, 12, 12, 12},
		{"shorted diode", func(d *Driver) { d.Short_Ohm = 0.05 }, 0, 12, 12},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := DefaultDriver()
			d.Ohm, d.FreeWheel.Ohm = 1e-3, 1e-3
			c.change(&d)
			b := NewBench(Options{Ideal: true, Driver: d, TwoWire: &Coil{Ohm: 10, Henry: 0.1}, Supply: Supply{Open_V: 12, Ohm: 1e-3}})
			require.NoError(t, b.Switch.Out(gpio.High))
			require.NoError(t, b.Load.Out(gpio.High))
			b.Clock().Sleep(100 * time.Millisecond)
			volt := 0.01
			if d.Short_Ohm > 0 {
				volt = 0.5 // 240 A through contact and switch
			}
			assert.InDelta(t, c.closed, b.World.Node_V(), volt, "closed")
			require.NoError(t, b.Load.Out(gpio.Low))
			b.Clock().Sleep(500 * us)
			assert.InDelta(t, c.open, b.World.Node_V(), max(volt, 0.07), "it has just opened")
			b.Clock().Sleep(2 * time.Second)
			assert.InDelta(t, c.rest, b.World.Node_V(), volt, "long after")
		})
	}
}

// A supply at its limit gives way: coil and plug then have what the coil's
// resistance takes.
func TestCoilAtTheSuppliesLimit(t *testing.T) {
	b := NewBench(Options{Ideal: true, TwoWire: &Coil{Ohm: 4, Henry: 0.02}, Supply: Supply{Open_V: 12, Ohm: 0.04, Limit_A: 1.5}})
	require.NoError(t, b.Switch.Out(gpio.High))
	require.NoError(t, b.Load.Out(gpio.High))
	b.Clock().Sleep(100 * time.Millisecond)
	b.World.settle(b.World.now)
	assert.InDelta(t, 1.5, b.World.Current_A(), 1e-9)
	assert.InDelta(t, 1.5*(4+0.010), b.World.Plug_V(), 1e-9)
	assert.InDelta(t, 1.5*0.010, b.World.Node_V(), 1e-9)
}

// A shorted free-wheel diode lies beside a shunt in the loop: the shunt does not
// see its current, the plug's voltage does. Beside a shunt before it, it does.
func TestShortedDiode(t *testing.T) {
	for _, seen := range []bool{true, false} {
		d := DefaultDriver()
		d.Seen, d.Short_Ohm = seen, 0.05
		b := NewBench(Options{Ideal: true, Driver: d, TwoWire: &Coil{Ohm: 10, Henry: 0.1}, Supply: Supply{Open_V: 12, Ohm: 0.04, Limit_A: 30}})
		require.NoError(t, b.Switch.Out(gpio.High))
		require.NoError(t, b.Load.Out(gpio.High))
		b.Clock().Sleep(100 * time.Millisecond)
		b.World.settle(b.World.now)
		across := 30 * 0.05 * 10 / 10.05 // the limit through short and coil side by side
		want := 30.0
		if seen {
			want = across / 10
		}
		assert.InDelta(t, want, b.World.Current_A(), 1e-3)
		assert.InDelta(t, across+30*0.010, b.World.Plug_V(), 1e-3)
	}
}
