package sim

import (
	"math/rand/v2"
	"time"
)

// chipFaults are those of the converters.
func chipFaults() []armable {
	gone := func(addr uint16, reset func(*Bench)) func(*Bench, float64, *rand.Rand) func() {
		return func(b *Bench, _ float64, _ *rand.Rand) func() {
			chip := b.I2C.chips[addr]
			b.I2C.Attach(addr, nil)
			return func() {
				reset(b)
				b.I2C.Attach(addr, chip)
			}
		}
	}
	current := func(b *Bench) { b.INA226.Reset() }
	voltage := func(b *Bench) { b.ADS1115.Reset() }
	once := func(reset func(*Bench)) func(*Bench, float64, *rand.Rand) func() {
		return func(b *Bench, _ float64, _ *rand.Rand) func() {
			reset(b)
			return nil
		}
	}
	const away, back = "for 50 ms, and then as after power-on", "for ever"
	return []armable{
		{BenchFault: BenchFault{Name: "current-gone", Side: sideBench,
			Line: "the current converter no longer answers", Half: away, Full: back},
			lasts: spell(50 * time.Millisecond), set: gone(INA226Address, current)},
		{BenchFault: BenchFault{Name: "voltage-gone", Side: sideBench,
			Line: "the voltage converter no longer answers", Half: away, Full: back},
			lasts: spell(50 * time.Millisecond), set: gone(ADS1115Address, voltage)},
		{BenchFault: BenchFault{Name: "current-reset", Side: sideBench,
			Line: "a dip of its own supply resets the current converter", Half: "once", Full: "once"}, set: once(current)},
		{BenchFault: BenchFault{Name: "voltage-reset", Side: sideBench,
			Line: "a dip of its own supply resets the voltage converter", Half: "once", Full: "once"}, set: once(voltage)},
		{BenchFault: BenchFault{Name: "current-stuck", Side: sideBench,
			Line: "the current converter says that it converts and gives one code for ever", Half: "for 2 s", Full: "for ever"},
			lasts: spell(2 * time.Second), set: stuckAt(INA226Address, 1)},
		{BenchFault: BenchFault{Name: "voltage-stuck", Side: sideBench,
			Line: "the voltage converter gives one code for ever, whatever its input", Half: "for 2 s", Full: "for ever"},
			lasts: spell(2 * time.Second), set: stuckAt(ADS1115Address, 0)},
	}
}

// stuckAt keeps a chip's result register at the first code that is read.
func stuckAt(addr uint16, register byte) func(*Bench, float64, *rand.Rand) func() {
	return func(b *Bench, _ float64, _ *rand.Rand) func() {
		var code []byte
		return b.tap(addr, func(reg byte, r []byte) {
			if reg != register {
				return
			}
			if code == nil {
				code = append(code, r...)
			}
			copy(r, code)
		})
	}
}

// senseFaults are those of the wires from what is measured to the converters.
func senseFaults() []armable {
	return []armable{
		// Both inputs of the converter hang on the one wire that is left, so
		// it sees no difference.
		{BenchFault: BenchFault{Name: "shunt-wire", Side: sideBench,
			Line: "a sense wire of the shunt is off: the current reads nought", Half: "for 50 ms", Full: "for ever"},
			lasts: spell(50 * time.Millisecond),
			set: func(b *Bench, _ float64, _ *rand.Rand) func() {
				return b.holdShunt(func() float64 { return 0 })
			}},
		// The path to the unit is cut: while the switch is closed the whole
		// supply stands across the converter's inputs, whose range is 82 mV.
		{BenchFault: BenchFault{Name: "shunt-open", Side: sideBench,
			Line: "the shunt has burnt open: the unit has no supply and the current reads full scale", Half: "for 50 ms, a bad joint", Full: "for ever"},
			lasts: spell(50 * time.Millisecond),
			set: func(b *Bench, _ float64, _ *rand.Rand) func() {
				w := b.World
				ohm := w.Supply.Ohm
				w.Supply.Ohm = 1e6 // chosen: the converter's inputs and filter
				undo := b.holdShunt(func() float64 {
					if w.on {
						return 0.2
					}
					return 0
				})
				return func() {
					undo()
					w.Supply.Ohm = ohm
				}
			}},
		{BenchFault: BenchFault{Name: "supply-sense", Side: sideWiring,
			Line: "the sense wire of the supply is off the plug: its divider reads nought", Half: "for 50 ms", Full: "for ever"},
			lasts: spell(50 * time.Millisecond),
			set:   func(b *Bench, _ float64, _ *rand.Rand) func() { return b.holdInput(0, 0) }},
		{BenchFault: BenchFault{Name: "line-sense", Side: sideWiring,
			Line: "the sense wire of the line is off the plug: its divider reads nought", Half: "for 2 s", Full: "for ever"},
			lasts: spell(2 * time.Second),
			set:   func(b *Bench, _ float64, _ *rand.Rand) func() { return b.holdInput(1, 0) }},
		{BenchFault: BenchFault{Name: "probe-open", Side: sideWiring,
			Line: "the thermistor is open: its input stands at the reference", Half: "for 2 s", Full: "for ever"},
			lasts: spell(2 * time.Second),
			set:   func(b *Bench, _ float64, _ *rand.Rand) func() { return b.holdInput(2, Reference_V) }},
	}
}

// holdInput puts an input of the voltage converter at a voltage; undo gives it
// back to the bench. Inputs are integrals over time.
func (b *Bench) holdInput(ain int, volt float64) (undo func()) {
	was, w := b.ADS1115.input, b.World
	sum, last, held, lost := was(ain), w.now, true, 0.0
	b.ADS1115.input = func(a int) float64 {
		v := was(a)
		if a != ain {
			return v
		}
		if held {
			sum += volt * (w.now - last).Seconds()
			last, lost = w.now, v-sum
		}
		return v - lost
	}
	return func() {
		b.ADS1115.input(ain)
		held = false
	}
}

// holdShunt puts a voltage at the current converter's shunt inputs; undo gives
// them back to the bench.
func (b *Bench) holdShunt(volt func() float64) (undo func()) {
	was, w := b.INA226.input, b.World
	sum, _ := was()
	last, held, lost := w.now, true, 0.0
	b.INA226.input = func() (shunt_Vs, bus_Vs float64) {
		v, bus := was()
		if held {
			sum += volt() * (w.now - last).Seconds()
			last, lost = w.now, v-sum
		}
		return v - lost, bus
	}
	return func() {
		b.INA226.input()
		held = false
	}
}
