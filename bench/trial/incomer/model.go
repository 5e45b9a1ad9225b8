package incomer

import (
	"math"
	"math/rand/v2"
)

type regulation int

const (
	setsVoltage regulation = iota
	holdsSpeed
	holdsPower
)

// Model is one type of pump on one bench. Its methods may be called from
// several goroutines.
type Model struct {
	name string
	// Ratings.
	power_W, nominal_V, full_radps float64
	polePairs                      int
	law                            regulation
	sine                           bool
	ripple                         float64 // part of the bridge's current
	// Board.
	rest_A, awake_A       float64
	start                 float64 // current of a try, part of the full one
	boot_s, wake_s, try_s float64
	pause_s, grow         float64 // each pause is grow times the one before
	tries                 int     // before the latch; 0 for no latch
	force_Hz              float64 // electrical frequency of a try
	lowest                float64 // demand at the start duty, part of full
	ramp_s                float64 // from nothing to full demand
	diode                 bool    // conducts when reversed
	// Bench.
	rate_Hz, noise_A, step_A, step_V float64
	source_Ohm                       float64
	hasSwitch, hasVoltage            bool
	plan                             plan
	// Spread of good units in the quantities of graded faults.
	sd map[quantity]float64
}

// plan is what the bench commands.
type plan struct {
	stop_pct, start_pct float64
	duties              []float64
	rest_s, hold_s      float64 // at stop; at each duty
	full_s              float64
}

// Name of the type.
func (m *Model) Name() string { return m.name }

// full_A is the supply current to expect at full duty.
func (m *Model) full_A() float64 { return m.power_W / m.nominal_V }

// unit is one pump with its board and bench.
type unit struct {
	m *Model
	// Pump and motor.
	k, r_Ohm, j, c, b, h, u float64
	rub                     float64
	phase                   float64 // of the rotor at the start of time
	gain                    float64 // of the board's set point
	rest_A, awake_A, try_A  float64
	clock                   float64 // the board's time against true time
	// Source.
	e_V, source_Ohm, limit_A, offset_A, cap_F float64
	// What is wrong with it.
	wrong wrong
}

// Models are the types, with small variations by seed.
func Models(seed uint64) []*Model {
	rng := rand.New(rand.NewPCG(seed, 0x696e636f6d6572))
	list := []*Model{
		{name: "brook", power_W: 20, nominal_V: 12, full_radps: 470, polePairs: 2, law: setsVoltage, ripple: 0.16,
			start: 0.55, boot_s: 0.12, wake_s: 0.25, try_s: 0.9, pause_s: 2.2, grow: 1, force_Hz: 9, lowest: 0.42, ramp_s: 1.2,
			rate_Hz: 1000, hasSwitch: true, hasVoltage: true, diode: true,
			plan: plan{stop_pct: 0, start_pct: 25, duties: []float64{25, 40, 55, 70, 85, 100, 70, 40}, rest_s: 2, hold_s: 4, full_s: 6}},
		{name: "rill", power_W: 20, nominal_V: 12, full_radps: 520, polePairs: 3, law: holdsSpeed, sine: true, ripple: 0.006,
			start: 0.7, boot_s: 0.2, wake_s: 0.4, try_s: 1.3, pause_s: 1.5, grow: 1.5, tries: 5, force_Hz: 7, lowest: 0.34, ramp_s: 2,
			rate_Hz: 500, hasSwitch: true, hasVoltage: true,
			plan: plan{stop_pct: 4, start_pct: 20, duties: []float64{20, 35, 50, 65, 80, 100, 80, 50, 20}, rest_s: 2.5, hold_s: 4, full_s: 6}},
		{name: "beck", power_W: 60, nominal_V: 12, full_radps: 440, polePairs: 4, law: holdsSpeed, ripple: 0.12,
			start: 0.5, boot_s: 0.08, wake_s: 0.15, try_s: 0.7, pause_s: 3, grow: 1, tries: 6, force_Hz: 12, lowest: 0.38, ramp_s: 1.5,
			rate_Hz: 2000, hasSwitch: true, hasVoltage: true, diode: true,
			plan: plan{stop_pct: 2, start_pct: 30, duties: []float64{30, 50, 75, 100, 75, 50}, rest_s: 2, hold_s: 4, full_s: 5}},
		{name: "burn", power_W: 60, nominal_V: 12, full_radps: 500, polePairs: 3, law: holdsPower, sine: true, ripple: 0.008,
			start: 0.45, boot_s: 0.3, wake_s: 0.5, try_s: 1.6, pause_s: 2, grow: 1.4, force_Hz: 6, lowest: 0.3, ramp_s: 2.5,
			rate_Hz: 200, hasSwitch: true, hasVoltage: true,
			plan: plan{stop_pct: 5, start_pct: 22, duties: []float64{22, 40, 60, 80, 100, 80, 60, 40}, rest_s: 3, hold_s: 5, full_s: 8}},
		{name: "weir", power_W: 140, nominal_V: 12, full_radps: 420, polePairs: 4, law: setsVoltage, ripple: 0.1,
			start: 0.4, boot_s: 0.1, wake_s: 0.2, try_s: 1.1, pause_s: 4, grow: 1, tries: 4, force_Hz: 10, lowest: 0.4, ramp_s: 2,
			rate_Hz: 1000, hasSwitch: false, hasVoltage: true, diode: true,
			plan: plan{stop_pct: 0, start_pct: 35, duties: []float64{35, 50, 65, 80, 100, 80, 65, 50, 35}, rest_s: 2, hold_s: 4, full_s: 6}},
		{name: "sluice", power_W: 140, nominal_V: 24, full_radps: 560, polePairs: 3, law: holdsSpeed, sine: true, ripple: 0.007,
			start: 0.5, boot_s: 0.25, wake_s: 0.3, try_s: 1.4, pause_s: 1.8, grow: 1.6, tries: 6, force_Hz: 8, lowest: 0.36, ramp_s: 3,
			rate_Hz: 100, hasSwitch: true, hasVoltage: true,
			plan: plan{stop_pct: 3, start_pct: 28, duties: []float64{28, 45, 60, 80, 100, 80, 45}, rest_s: 3, hold_s: 6, full_s: 8}},
		{name: "ford", power_W: 60, nominal_V: 12, full_radps: 480, polePairs: 2, law: setsVoltage, ripple: 0.14,
			start: 0.6, boot_s: 0.15, wake_s: 0.2, try_s: 1, pause_s: 2.5, grow: 1, tries: 5, force_Hz: 8, lowest: 0.4, ramp_s: 1,
			rate_Hz: 400, hasSwitch: true, hasVoltage: false,
			plan: plan{stop_pct: 2, start_pct: 30, duties: []float64{30, 45, 60, 80, 100, 60, 30}, rest_s: 2, hold_s: 4, full_s: 6}},
	}
	for _, m := range list {
		m.rest_A = m.full_A() * 0.008 * about(rng, 0.1)
		m.awake_A = m.full_A() * 0.03 * about(rng, 0.1)
		m.noise_A, m.step_A, m.step_V = m.full_A()*0.004, m.full_A()/4000, 0.005
		m.source_Ohm = 0.02 * m.nominal_V / m.full_A() * about(rng, 0.1)
		m.full_radps *= about(rng, 0.04)
		m.start *= about(rng, 0.04)
		m.pause_s *= about(rng, 0.05)
		m.sd = m.spread(rng)
	}
	return list
}

// about is a factor around 1 with a relative standard deviation, cut at
// 2.5 of them: a unit beyond would not have left the works.
func about(rng *rand.Rand, sd float64) float64 {
	return 1 + sd*max(-2.5, min(2.5, rng.NormFloat64()))
}

// typical is the unit in the middle of its type.
func (m *Model) typical() *unit {
	emf := 0.66 // of the supply at full speed; the rest is the board's headroom
	drop := 0.2
	if m.law == setsVoltage {
		emf = 0.8
	}
	k := emf * m.nominal_V / m.full_radps
	i := (m.full_A() - m.awake_A) * efficiency / (emf + drop) // at full duty
	t := k * i
	return &unit{m: m, k: k, r_Ohm: drop * m.nominal_V / i, j: 0.3 * t / m.full_radps,
		c: 0.12 * t, b: 0.13 * t / m.full_radps, h: 0.75 * t / (m.full_radps * m.full_radps), u: 0.01 * t,
		gain: 1, clock: 1, rest_A: m.rest_A, awake_A: m.awake_A, try_A: m.start * m.full_A(),
		e_V: m.nominal_V * 1.01, source_Ohm: m.source_Ohm, limit_A: 2.5 * m.full_A(), cap_F: 3e-5 * m.power_W * 12 / m.nominal_V}
}

// draw is one good unit.
func (m *Model) draw(rng *rand.Rand) *unit {
	u := m.typical()
	for _, p := range []struct {
		at *float64
		sd float64
	}{{&u.k, 0.012}, {&u.r_Ohm, 0.02}, {&u.j, 0.03}, {&u.h, 0.025}, {&u.c, 0.13}, {&u.b, 0.1}, {&u.u, 0.3},
		{&u.rest_A, 0.04}, {&u.awake_A, 0.04}, {&u.try_A, 0.04}, {&u.clock, 0.03}, {&u.gain, 0.008},
		{&u.e_V, 0.002}, {&u.source_Ohm, 0.05}} {
		*p.at *= about(rng, p.sd)
	}
	u.phase = 2 * math.Pi * rng.Float64()
	u.offset_A = m.noise_A / 3 * rng.NormFloat64()
	return u
}
