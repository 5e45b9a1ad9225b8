package outsider

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// retry is what a board does after a failed attempt.
type retry int

const (
	constantRests retry = iota // tries for ever, the same rest each time
	growingRests               // tries for ever, each rest longer than the last
	latchOff                   // gives up after some attempts
)

// Model is one type of pump together with the bench that recorded it.
type Model struct {
	name string
	// Rating: power in W and current in A at full command and nominal supply.
	powerW, fullA float64
	motor         motor
	board         board
	bench         bench
}

// motor is rotor, winding and what loads the shaft.
type motor struct {
	k         float64 // V·s/rad and N·m/A
	ohm       float64 // both phases and the bridge
	loss      float64 // bridge: supply power over motor power, above 1
	inertia   float64 // kg·m²
	poles     float64 // pole pairs
	full      float64 // rad/s at full command
	coulomb   float64 // N·m
	viscous   float64 // N·m at full speed
	hydraulic float64 // N·m at full speed and full flow
	shutoff   float64 // share of hydraulic that remains with the outlet shut
	flowTau   float64 // s
	warmTau   float64 // s
	noise     float64 // relative, of the hydraulic torque
	noiseTau  float64 // s
	unbalance float64 // once a turn, relative, of the current
}

// board is the electronics of the unit.
type board struct {
	regulates bool // speed; else duty sets voltage
	sine      bool // else six-step
	ripple    float64
	farad     float64 // input capacitor
	inrushOhm float64 // in series with it
	sleepA    float64
	awakeA    float64
	boot      float64 // s awake after switch-on, before it sleeps
	wake      float64 // s from command to awake
	ready     float64 // s from awake to the first attempt
	align     float64 // s
	ramp      float64 // s, open loop
	startA    float64 // motor current of alignment and ramp
	handOver  float64 // rad/s
	fullMod   float64 // modulation at full command and nominal supply
	runDuty   float64 // % below which it stops
	lowDuty   float64 // % at which the curve begins to rise
	topDuty   float64 // % from which it runs at full
	lowest    float64 // speed or modulation at lowDuty, part of full
	slew      float64 // part of full per second
	maxA      float64 // motor current limit
	maxW      float64 // supply power limit
	minV      float64 // undervoltage reset
	retry     retry
	rest      float64 // s
	growth    float64
	attempts  int // before it latches
	latchWake bool
	bandwidth float64 // rad/s of the speed loop
}

// bench is the source, the plan and the converters.
type bench struct {
	nominalV   float64
	ohm        float64 // source and leads
	limitA     float64
	rise       float64 // s, of a source that is enabled rather than switched
	rangeA     float64 // converter clips above
	stepA      float64 // resolution
	noiseA     float64
	stepV      float64
	noiseV     float64
	everyV     int // supply voltage is sampled every so many samples
	switchSeen bool
	pickupHz   float64 // input filter
	stopDuty   float64
	startDuty  float64
	restS      float64
	startS     float64
	up         []float64
	upS        float64
	fullS      float64
	downS      float64
	stopS      float64
	offS       float64
}

// Models draws the constants of all models from a seed: three sizes, each
// with a board that regulates speed and one where duty sets voltage, and two
// more that mix drive and retry in another way.
func Models(seed uint64) []Model {
	rng := rand.New(rand.NewPCG(seed, 0x6f757473696465))
	kinds := []struct {
		size            string
		powerW          float64
		regulates, sine bool
		retry           retry
		change          func(*Model)
	}{
		{"small", 25, true, false, constantRests, nil},
		{"small", 25, false, false, latchOff, func(m *Model) { m.board.farad = 30e-6; m.board.boot = 0 }},
		{"middle", 70, true, true, growingRests, nil},
		{"middle", 70, false, false, constantRests, func(m *Model) { m.bench.rise = uniform(rng, 0.006, 0.02) }},
		{"large", 120, true, false, latchOff, func(m *Model) { m.bench.everyV = 10 }},
		{"large", 120, false, true, growingRests, nil},
		{"middle", 70, true, false, latchOff, func(m *Model) { m.board.inrushOhm = uniform(rng, 1.5, 3) }},
		{"small", 25, false, true, growingRests, func(m *Model) { m.board.latchWake = true }},
	}
	var models []Model
	for i, k := range kinds {
		m := Model{powerW: k.powerW * uniform(rng, 0.9, 1.12)}
		m.bench.nominalV = []float64{12, 13, 13.5, 12.5}[rng.IntN(4)]
		m.board.regulates, m.board.sine, m.board.retry = k.regulates, k.sine, k.retry
		m.fullA = m.powerW / m.bench.nominalV
		m.drawBench(rng)
		m.drawBoard(rng)
		m.drawMotor(rng)
		if k.change != nil {
			k.change(&m)
		}
		m.name = fmt.Sprintf("%s-%s-%s-%d", k.size, pick(k.regulates, "speed", "voltage"),
			pick(k.sine, "sine", "six"), i+1)
		models = append(models, m)
	}
	return models
}

// Name tells size, board and drive.
func (m Model) Name() string { return m.name }

func (m *Model) drawBoard(rng *rand.Rand) {
	b := &m.board
	b.farad = uniform(rng, 0.3e-3, 0.6e-3) + m.powerW*uniform(rng, 4e-6, 9e-6)
	b.inrushOhm = uniform(rng, 0.02, 0.06)
	b.sleepA = uniform(rng, 0.006, 0.014)
	b.awakeA = uniform(rng, 0.035, 0.07) + m.powerW*uniform(rng, 0.0001, 0.0005)
	b.boot = uniform(rng, 0.05, 0.35)
	b.wake = uniform(rng, 0.02, 0.12)
	b.ready = uniform(rng, 0.1, 0.45)
	b.align = uniform(rng, 0.15, 0.4)
	b.ramp = uniform(rng, 0.35, 0.8)
	b.fullMod = pick(b.regulates, uniform(rng, 0.78, 0.88), uniform(rng, 0.95, 1))
	b.ripple = pick(b.sine, uniform(rng, 0.002, 0.006), uniform(rng, 0.04, 0.1))
	b.runDuty = uniform(rng, 8, 12)
	b.lowDuty = uniform(rng, 12, 18)
	b.topDuty = uniform(rng, 93, 100)
	b.lowest = pick(b.regulates, uniform(rng, 0.27, 0.36), uniform(rng, 0.24, 0.32))
	b.slew = uniform(rng, 0.5, 1.1)
	b.minV = uniform(rng, 5.5, 6.8)
	b.growth = 1
	switch b.retry {
	case constantRests:
		b.rest = uniform(rng, 1, 2.2)
	case growingRests:
		b.rest, b.growth = uniform(rng, 0.6, 1.1), uniform(rng, 1.4, 1.9)
	case latchOff:
		b.rest, b.attempts = uniform(rng, 0.6, 1.4), 4+rng.IntN(4)
	}
	b.bandwidth = 2 * math.Pi * uniform(rng, 1.2, 3)
}

func (m *Model) drawMotor(rng *rand.Rand) {
	o, b := &m.motor, &m.board
	v := m.bench.nominalV - m.fullA*(m.bench.ohm+b.inrushOhm) // at the capacitor
	o.loss = uniform(rng, 1.02, 1.06)
	o.poles = float64(2 + rng.IntN(4))
	o.full = (uniform(rng, 4200, 5200) + 6*m.powerW) * math.Pi / 30
	u := b.fullMod * v
	amps := (m.fullA*v - v*b.awakeA) / o.loss / u
	o.ohm = uniform(rng, 0.13, 0.22) * u / amps // warm
	o.k = (u - amps*o.ohm) / o.full
	torque := o.k * amps
	o.ohm /= 1.04
	fc, fv := uniform(rng, 0.05, 0.09), uniform(rng, 0.09, 0.17)
	o.coulomb, o.viscous = fc*torque, fv*torque
	o.hydraulic = torque - o.coulomb - o.viscous
	o.inertia = uniform(rng, 0.12, 0.3) * torque / o.full
	o.shutoff = uniform(rng, 0.35, 0.52)
	o.flowTau = uniform(rng, 0.15, 0.5)
	o.warmTau = uniform(rng, 20, 70)
	o.noise = uniform(rng, 0.005, 0.013)
	o.noiseTau = uniform(rng, 0.04, 0.2)
	o.unbalance = uniform(rng, 0.001, 0.004)
	b.startA = uniform(rng, 0.5, 0.85) * amps
	b.handOver = uniform(rng, 0.12, 0.18) * o.full
	b.maxA = uniform(rng, 1.5, 1.9) * amps
	b.maxW = uniform(rng, 1.25, 1.45) * m.powerW
}

func (m *Model) drawBench(rng *rand.Rand) {
	n := &m.bench
	n.ohm = uniform(rng, 0.02, 0.05)
	n.limitA = max(10, m.fullA*uniform(rng, 2.2, 3.2))
	n.rangeA = []float64{10, 16, 20}[rng.IntN(3)] * pick(m.powerW > 50, 2.0, 1)
	n.stepA = n.rangeA / math.Exp2(float64(14+rng.IntN(3)))
	n.noiseA = uniform(rng, 0.001, 0.0025)*m.fullA + 0.5*n.stepA
	n.stepV = []float64{0.001, 0.004, 0.01}[rng.IntN(3)]
	n.noiseV = uniform(rng, 0.003, 0.012)
	n.everyV = 1
	n.switchSeen = rng.IntN(3) == 0
	n.pickupHz = uniform(rng, 400, 1500)
	n.stopDuty = float64(5 * rng.IntN(2))
	n.startDuty = float64(25 + 5*rng.IntN(5))
	n.restS = uniform(rng, 1.6, 2.6)
	n.startS = uniform(rng, 5, 7)
	steps := 8 + rng.IntN(5)
	for i := range steps {
		n.up = append(n.up, 20+math.Round(80*float64(i)/float64(steps)))
	}
	n.upS = uniform(rng, 18, 22) / float64(steps)
	n.fullS = uniform(rng, 4, 6)
	n.downS = n.upS * uniform(rng, 0.7, 0.9)
	n.stopS = uniform(rng, 1, 2)
	if n.switchSeen || rng.IntN(3) == 0 {
		n.offS = uniform(rng, 0.4, 0.8)
	}
}

func uniform(rng *rand.Rand, low, high float64) float64 { return low + (high-low)*rng.Float64() }

// near draws a factor around 1 with the relative deviation given. What lies
// beyond 2.5 deviations did not leave the factory.
func near(rng *rand.Rand, deviation float64) float64 {
	for {
		if x := rng.NormFloat64(); math.Abs(x) <= 2.5 {
			return 1 + deviation*x
		}
	}
}

func pick[T any](first bool, a, b T) T {
	if first {
		return a
	}
	return b
}
