package main

import (
	"math"
	"math/rand/v2"
	"strconv"

	"dutybench/bench/calibrate"
	"dutybench/bench/sim"
)

// simulatedHand sets the simulated load or supply, and reads a simulated
// reference meter, whose errors are drawn within its certificate.
type simulatedHand struct {
	bench        *sim.Bench
	meter        calibrate.Meter
	voltage      bool
	rng          *rand.Rand
	gain, offset float64
}

func newHand(b *sim.Bench, f calibrateFlags, m calibrate.Meter) *simulatedHand {
	h := &simulatedHand{bench: b, meter: m, voltage: f.quantity == calibrate.Voltage, rng: rand.New(rand.NewPCG(f.seed, 0x68616e64))}
	h.gain, h.offset = m.Gain/2*h.rng.NormFloat64(), m.Offset/2*h.rng.NormFloat64()
	return h
}

// set makes about that value, as a hand would: within 3 %.
func (h *simulatedHand) set(target float64) {
	target *= 1 + 0.03*(2*h.rng.Float64()-1)
	w := h.bench.World
	if h.voltage {
		w.Supply.Open_V = target
		return
	}
	w.Plug(&sim.Resistor{Ohm: math.Max(w.Supply.Open_V/target-w.Supply.Ohm, 1e-3), Temp_C: 23})
}

// read is what the meter shows.
func (h *simulatedHand) read() string {
	v := h.bench.World.Current_A()
	if h.voltage {
		v = h.bench.World.Plug_V()
	}
	v = v*(1+h.gain) + h.offset
	if d := h.meter.Digit; d > 0 {
		v = math.Round(v/d) * d
	}
	return strconv.FormatFloat(v, 'f', 6, 64)
}
