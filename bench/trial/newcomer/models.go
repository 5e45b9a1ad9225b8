package newcomer

import "math/rand/v2"

// Models draws the constants of all models from a seed. Which board stands with
// which motor and bench is the same for every seed.
func Models(seed uint64) []*Model {
	var out []*Model
	for i, l := range layouts {
		rng := rand.New(rand.NewPCG(seed, uint64(i)+977))
		m := &Model{name: l.name, bench: l.bench}
		m.made, m.board = l.size.build(l.bench.nominal, l.board, rng)
		m.bench.scale(m)
		s := m.typical().balance(1)
		m.usual = s.volt * (s.amps - m.board.awakeA)
		m.calibrate(rng)
		out = append(out, m)
	}
	return out
}

// scale sets what a bench chooses by the size of the unit on it.
func (n *bench) scale(m *Model) {
	amps := m.typical().balance(1).amps
	n.ohm *= n.volt / amps // relative to the unit's own
	n.limit, n.trip, n.tripS = 3.2*amps, 2.4*amps, pick(n.hertz < 300, 0.03, 0.008)
	n.farad = 1e-3
	n.stepA, n.noiseA = n.stepA*amps, n.noiseA*amps
	n.rangeA *= amps
	n.windingJ, n.kelvinPerW = 4+1.2*amps*n.volt, 28/(amps*n.volt)
	n.waterJ = 60 * amps * n.volt
}

type layout struct {
	name  string
	size  size
	board board
	bench bench
}

// steps are duties from low to high by a stride.
func steps(low, high, stride float64) (out []float64) {
	for d := low; d <= high+1e-9; d += stride {
		out = append(out, d)
	}
	return out
}

// Boards and benches, all chosen. Currents are over the motor's current at full,
// the hand-over speed over the highest; ohms of the source over those of the
// unit; the bench's amperes over the unit's current at full.
var layouts = []layout{
	{"15W speed six-step, same rests", small,
		board{rule: keepsSpeed, off: 8, low: 12, high: 95, least: 0.30, slew: 0.9, stiff: 14,
			start: 0.85, most: 1.9, alignS: 0.30, fieldS: 0.55, lookS: 0.12, hand: 0.16,
			retry: sameRest, restS: 1.6, bootS: 0.12, wakeS: 0.15, dozeS: 0.8, henry: 1.5e-6, esr: 0.09, ripple: 0.9},
		bench{volt: 12.1, nominal: 12, ohm: 0.012, hertz: 1000, step: 1e-3, substeps: 1, cutoff: 700,
			noiseA: 2.5e-3, noiseV: 5e-3, stepA: 8e-4, stepV: 4e-3, rangeA: 9, everyV: 1, celsius: 22,
			zeroS: 0.6, quietS: 2.6, startDuty: 30, startS: 4, up: steps(20, 90, 10), upS: 2.6, fullS: 4, downS: 2.2, stopS: 2, afterS: 0.6}},
	{"15W voltage six-step with sensors, latches off", small,
		board{rule: setsVoltage, sensors: true, off: 10, low: 10, high: 100, least: 0.26, slew: 1.6, stiff: 14,
			start: 1, most: 2.4, lookS: 0.45, hand: 0.12, retry: latchOff, restS: 0.9, tries: 8, protected: true,
			bootS: 0.05, wakeS: 0.06, dozeS: 0.5, henry: 1.5e-6, esr: 0.12, ripple: 1.2},
		bench{volt: 12.0, nominal: 12, ohm: 0.015, hertz: 500, step: 1e-3, substeps: 2, averages: true, cutoff: 220,
			noiseA: 1.5e-3, noiseV: 3e-3, stepA: 4e-4, stepV: 1.25e-3, rangeA: 6, everyV: 1, celsius: 24,
			zeroS: 0.5, quietS: 2, up: []float64{22, 37, 52, 67, 83}, upS: 4.2, fullS: 5, downS: 3.6, stopS: 2, afterS: 0.5}},
	{"50W speed sine, longer rests, input filter", middle,
		board{rule: keepsSpeed, sine: true, off: 7, low: 10, high: 92, least: 0.24, slew: 0.7, stiff: 12,
			start: 0.8, most: 1.6, alignS: 0.25, fieldS: 0.7, lookS: 0.10, hand: 0.15,
			retry: longerRest, restS: 0.8, growth: 1.6, protected: true,
			bootS: 0.20, wakeS: 0.1, dozeS: 1.0, henry: 60e-6, esr: 0.05, ripple: 0.05},
		bench{volt: 13.0, nominal: 12, ohm: 0.012, hertz: 2000, step: 5e-4, substeps: 1, cutoff: 1500,
			noiseA: 3e-3, noiseV: 8e-3, stepA: 1.2e-3, stepV: 6e-3, rangeA: 8, everyV: 1, celsius: 21,
			zeroS: 0.4, quietS: 2.2, startDuty: 40, startS: 3, up: []float64{25, 50, 75}, upS: 3, fullS: 3.5, downS: 2.8, stopS: 1.2, afterS: 0.4}},
	{"50W voltage six-step, same rests", middle,
		board{rule: setsVoltage, off: 9, low: 15, high: 100, least: 0.30, slew: 1.1, stiff: 12,
			start: 0.9, most: 2.0, alignS: 0.4, fieldS: 0.45, lookS: 0.2, hand: 0.17, retry: sameRest, restS: 2.2,
			bootS: 0.08, wakeS: 0.2, dozeS: 0.6, henry: 2e-6, esr: 0.06, ripple: 1.0},
		bench{volt: 12.0, nominal: 12, ohm: 0.018, hertz: 250, step: 1e-3, substeps: 4, uneven: true, averages: true, cutoff: 110,
			noiseA: 1.5e-3, noiseV: 4e-3, stepA: 6e-4, stepV: 2.5e-3, rangeA: 7, everyV: 1, celsius: 23,
			zeroS: 1, quietS: 3, startDuty: 50, startS: 4, up: []float64{20, 30, 45, 60, 80}, upS: 4, fullS: 5, downS: 3.5, stopS: 2.5, afterS: 1}},
	{"50W power sine, inverted line, longer rests", middle,
		board{rule: keepsPower, sine: true, inverted: true, off: 6, low: 21, high: 93, least: 0.05, floor: 0.38, slew: 0.5, stiff: 15,
			start: 0.8, most: 1.7, alignS: 0.35, fieldS: 0.6, lookS: 0.15, hand: 0.2,
			retry: longerRest, restS: 1.0, growth: 1.4, protected: true,
			bootS: 0.3, wakeS: 0.25, dozeS: 1.2, henry: 3e-6, esr: 0.05, ripple: 0.04},
		bench{volt: 12.6, nominal: 12, ohm: 0.010, hertz: 100, step: 1e-3, substeps: 10, averages: true, cutoff: 45,
			noiseA: 8e-4, noiseV: 2e-3, stepA: 3e-4, stepV: 1.25e-3, rangeA: 8, everyV: 1, line: true, celsius: 25,
			zeroS: 1, quietS: 3, startDuty: 25, startS: 4, up: steps(15, 95, 5), upS: 1.6, fullS: 4, downS: 1.5, stopS: 2, afterS: 1}},
	{"150W speed six-step, latches off, input filter, no supply_V", large,
		board{rule: keepsSpeed, off: 8, low: 10, high: 97, least: 0.28, slew: 0.6, stiff: 10,
			start: 0.95, most: 1.7, alignS: 0.5, fieldS: 0.9, lookS: 0.1, hand: 0.14, retry: latchOff, restS: 1.2, tries: 7,
			bootS: 0.15, wakeS: 0.12, dozeS: 1.5, henry: 25e-6, esr: 0.03, ripple: 0.8},
		bench{volt: 13.5, nominal: 12, ohm: 0.008, hertz: 1000, step: 1e-3, substeps: 1, cutoff: 450,
			noiseA: 2e-3, stepA: 7e-4, rangeA: 6, celsius: 22,
			zeroS: 0.5, quietS: 2, startDuty: 25, startS: 4, up: []float64{15, 35, 55, 75, 90}, upS: 4, fullS: 5, downS: 3.5, stopS: 2.5, afterS: 0.5}},
	{"150W voltage sine, same rests, no sweep down", large,
		board{rule: setsVoltage, sine: true, off: 11, low: 14, high: 98, least: 0.28, slew: 0.5, stiff: 10,
			start: 1.0, most: 1.8, alignS: 0.4, fieldS: 0.8, lookS: 0.25, hand: 0.16, retry: sameRest, restS: 2.6, protected: true,
			bootS: 0.1, wakeS: 0.3, dozeS: 0.7, henry: 2e-6, esr: 0.03, ripple: 0.05},
		bench{volt: 12.2, nominal: 12, ohm: 0.016, hertz: 500, step: 1e-3, substeps: 2, cutoff: 180,
			noiseA: 1.5e-3, noiseV: 5e-3, stepA: 5e-4, stepV: 3e-3, rangeA: 7, everyV: 5, celsius: 26,
			zeroS: 0.8, quietS: 3, startDuty: 20, startS: 4, up: steps(20, 90, 10), upS: 4.5, fullS: 6, stopS: 3, afterS: 0.8}},
	{"60W speed sine at 24 V, inverted line, same rests", middle,
		board{rule: keepsSpeed, sine: true, inverted: true, off: 7, low: 12, high: 95, least: 0.27, slew: 1.2, stiff: 13,
			start: 0.85, most: 1.7, alignS: 0.2, fieldS: 0.5, lookS: 0.15, hand: 0.15, retry: sameRest, restS: 1.2, protected: true,
			bootS: 0.25, wakeS: 0.18, dozeS: 0.9, henry: 4e-6, esr: 0.08, ripple: 0.06},
		bench{volt: 24.4, nominal: 24, ohm: 0.010, hertz: 250, step: 1e-3, substeps: 4, averages: true, cutoff: 110,
			noiseA: 1e-3, noiseV: 6e-3, stepA: 5e-4, stepV: 5e-3, rangeA: 8, everyV: 2, celsius: 23,
			zeroS: 0.5, quietS: 2, startDuty: 40, startS: 2.5, up: steps(15, 95, 5), upS: 1.5, fullS: 3, downS: 1.3, stopS: 2, afterS: 0.5}},
	{"15W power six-step with sensors, longer rests", small,
		board{rule: keepsPower, sensors: true, off: 8, low: 24, high: 90, least: 0.06, floor: 0.42, slew: 0.8, stiff: 16,
			start: 1, most: 2.2, lookS: 0.6, hand: 0.15, retry: longerRest, restS: 1.1, growth: 1.5,
			bootS: 0.15, wakeS: 0.1, dozeS: 0.4, henry: 1.5e-6, esr: 0.1, ripple: 1.1},
		bench{volt: 12.0, nominal: 12, ohm: 0.014, hertz: 100, step: 1e-3, substeps: 10, cutoff: 60,
			noiseA: 1.5e-3, noiseV: 3e-3, stepA: 8e-4, stepV: 4e-3, rangeA: 8, everyV: 1, celsius: 38,
			zeroS: 0.7, quietS: 2.5, up: steps(20, 90, 10), upS: 3.2, fullS: 5, downS: 2.8, stopS: 2, afterS: 0.7}},
	{"150W power six-step, same rests, fast bench", large,
		board{rule: keepsPower, off: 8, low: 23, high: 94, least: 0.05, floor: 0.36, slew: 0.6, stiff: 11,
			start: 0.8, most: 1.6, alignS: 0.3, fieldS: 0.8, lookS: 0.12, hand: 0.16, retry: sameRest, restS: 1.4,
			bootS: 0.2, wakeS: 0.08, dozeS: 1.0, henry: 6e-6, esr: 0.03, ripple: 0.7},
		bench{volt: 12.8, nominal: 12, ohm: 0.009, hertz: 2000, step: 5e-4, substeps: 1, cutoff: 1200,
			noiseA: 2.5e-3, noiseV: 6e-3, stepA: 8e-4, stepV: 5e-3, rangeA: 7, everyV: 4, celsius: 22,
			zeroS: 0.4, quietS: 2.2, startDuty: 30, startS: 3, up: []float64{18, 45, 65, 82}, upS: 2.6, fullS: 3.5, downS: 2.4, stopS: 1.5, afterS: 0.4}},
}
