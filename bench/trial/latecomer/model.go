package latecomer

import (
	"math/rand/v2"

	"dutybench/signal/trace"
)

// law is what the duty sets.
type law int

const (
	bySpeed law = iota
	byVoltage
	byPower
)

// timing is the board's state machine, in seconds; a growth of 1 is a constant
// rest, and latch 0 never gives up.
type timing struct {
	bootS, wakeS   float64
	alignS, dragS  float64 // both 0: a hard start with sensors
	attemptS       float64 // how long a try lasts that fails
	restS, growth  float64
	restMostS      float64
	latch          int
	startShare     float64 // of the rated motor current
	slewS          float64 // from nothing to full by command
	lagS           float64 // of the speed loop
	lowest, fullAt float64 // shares of the range at onDuty and at 100 %
	onDuty         float64 // per cent from which the unit runs
}

// bench is how a model's traces were recorded.
type bench struct {
	rateHz       float64
	uneven       bool
	voltEvery    int // 0: the voltage is not sampled
	onColumn     bool
	sourceOhm    float64
	noiseA       float64
	stepA, stepV float64
	filterHz     float64 // before the converter
	gain         float64 // of the current channel, one for all units
	offsetA      float64
}

// hold is one step of a plan.
type hold struct{ duty, seconds float64 }

// Model is a type of unit with the bench that tests it.
type Model struct {
	name      string
	law       law
	sixStep   bool
	polePairs float64
	volts     float64
	fullRadS  float64 // speed at full command
	mid       unit    // the unit in the middle of the scatter
	board     timing
	bench     bench
	plan      []hold
	// Standard deviations of good units, and the middle's own values.
	lowA, topA, topV quantity
}

// Name is the model's name.
func (m *Model) Name() string { return m.name }

// Good is the trace of a good unit.
func (m *Model) Good(rng *rand.Rand) *trace.Trace {
	return m.record(m.draw(rng), rng)
}

// Faulty is the trace of a unit with a fault from Faults at a severity of 0
// to 1. An unknown name panics: it is a slip of the program that asks.
func (m *Model) Faulty(fault string, severity float64, rng *rand.Rand) *trace.Trace {
	u := m.draw(rng)
	m.afflict(u, fault, min(max(severity, 0), 1), rng)
	return m.record(u, rng)
}

// sketch is a row of the table of models.
type sketch struct {
	name         string
	law          law
	sixStep      bool
	polePairs    float64
	volts, watts float64
	radS         float64
	inductor     bool
	board        timing
	bench        bench
	lowDuty      float64
	steps        int
	holdS        float64
	noDown       bool
}

// sketches is the table of models; all values chosen, in the range of
// coolant pumps of cars, so that drives, boards and benches mix.
var sketches = []sketch{
	{"small-voltage-hard", byVoltage, true, 2, 12, 20, 420, false,
		timing{bootS: 0.12, wakeS: 0.03, attemptS: 0.8, restS: 1.4, growth: 1, startShare: 1.5, slewS: 0.8, lowest: 0.25, fullAt: 0.93, onDuty: 12},
		bench{rateHz: 500, voltEvery: 1, onColumn: true, sourceOhm: 0.02, noiseA: 0.008, stepA: 0.002, stepV: 0.005, filterHz: 400}, 25, 8, 2, false},
	{"small-speed-sine", bySpeed, false, 4, 12, 22, 460, true,
		timing{bootS: 0.2, wakeS: 0.05, alignS: 0.25, dragS: 0.5, attemptS: 1.1, restS: 1.6, growth: 1, latch: 5, startShare: 0.8, slewS: 1.5, lagS: 0.12, lowest: 0.28, fullAt: 1, onDuty: 10},
		bench{rateHz: 100, voltEvery: 1, onColumn: true, sourceOhm: 0.03, noiseA: 0.004, stepA: 0.001, stepV: 0.004, filterHz: 40}, 20, 9, 2.2, false},
	{"middle-speed-choke", bySpeed, true, 3, 12, 60, 500, true,
		timing{bootS: 0.15, wakeS: 0.04, alignS: 0.35, dragS: 0.6, attemptS: 1.3, restS: 0.8, growth: 1.6, restMostS: 6, startShare: 0.7, slewS: 1.8, lagS: 0.1, lowest: 0.22, fullAt: 1, onDuty: 15},
		bench{rateHz: 1000, voltEvery: 1, onColumn: true, sourceOhm: 0.015, noiseA: 0.02, stepA: 0.004, stepV: 0.006, filterHz: 600}, 30, 7, 2.4, false},
	{"middle-power-six", byPower, true, 2, 12, 62, 480, false,
		timing{bootS: 0.3, wakeS: 0.06, alignS: 0.2, dragS: 0.7, attemptS: 1.2, restS: 2.1, growth: 1, latch: 8, startShare: 0.75, slewS: 1.4, lagS: 0.1, lowest: 0.03, fullAt: 1, onDuty: 10},
		bench{rateHz: 400, voltEvery: 4, onColumn: true, sourceOhm: 0.025, noiseA: 0.015, stepA: 0.005, stepV: 0.01, filterHz: 300}, 20, 8, 2.6, false},
	{"middle-voltage-uneven", byVoltage, false, 4, 12, 58, 440, true,
		timing{bootS: 0.1, wakeS: 0.05, alignS: 0.3, dragS: 0.5, attemptS: 0.9, restS: 1, growth: 1, latch: 10, startShare: 0.8, slewS: 1.2, lowest: 0.3, fullAt: 0.92, onDuty: 14},
		bench{rateHz: 250, uneven: true, voltEvery: 1, onColumn: true, sourceOhm: 0.02, noiseA: 0.012, stepA: 0.003, stepV: 0.005, filterHz: 100}, 30, 10, 1.8, false},
	{"large-speed-hard", bySpeed, true, 3, 12, 140, 560, true,
		timing{bootS: 0.08, wakeS: 0.02, attemptS: 0.7, restS: 2.4, growth: 1, latch: 4, startShare: 1.1, slewS: 0.9, lagS: 0.07, lowest: 0.2, fullAt: 1, onDuty: 12},
		bench{rateHz: 2000, voltEvery: 1, onColumn: true, sourceOhm: 0.008, noiseA: 0.06, stepA: 0.01, stepV: 0.01, filterHz: 1500}, 25, 6, 1.8, false},
	{"large-power-sine", byPower, false, 5, 12, 135, 520, true,
		timing{bootS: 0.25, wakeS: 0.08, alignS: 0.4, dragS: 0.8, attemptS: 1.5, restS: 1, growth: 2, restMostS: 8, startShare: 0.65, slewS: 2, lagS: 0.15, lowest: 0.03, fullAt: 1, onDuty: 10},
		bench{rateHz: 200, voltEvery: 1, onColumn: true, sourceOhm: 0.01, noiseA: 0.03, stepA: 0.01, stepV: 0.008, filterHz: 80}, 22, 9, 2.5, false},
	{"lorry-speed-blind", bySpeed, true, 4, 24, 150, 480, false,
		timing{bootS: 0.18, wakeS: 0.05, alignS: 0.3, dragS: 0.6, attemptS: 1.2, restS: 1.9, growth: 1, startShare: 0.7, slewS: 1.5, lagS: 0.1, lowest: 0.25, fullAt: 1, onDuty: 12},
		bench{rateHz: 800, onColumn: true, sourceOhm: 0.02, noiseA: 0.03, stepA: 0.006, stepV: 0.01, filterHz: 500}, 28, 8, 2, false},
	{"middle-speed-upward", bySpeed, false, 4, 12, 66, 470, false,
		timing{bootS: 0.14, wakeS: 0.04, alignS: 0.25, dragS: 0.45, attemptS: 1, restS: 1.2, growth: 1.3, restMostS: 4, latch: 7, startShare: 0.75, slewS: 1, lagS: 0.09, lowest: 0.3, fullAt: 1, onDuty: 15},
		bench{rateHz: 125, voltEvery: 1, sourceOhm: 0.02, noiseA: 0.012, stepA: 0.004, stepV: 0.005, filterHz: 50}, 35, 12, 2.6, true},
	{"large-voltage-growing", byVoltage, true, 2, 12, 142, 450, true,
		timing{bootS: 0.11, wakeS: 0.03, alignS: 0.2, dragS: 0.6, attemptS: 1.1, restS: 0.9, growth: 1.5, restMostS: 7, latch: 6, startShare: 0.8, slewS: 1.6, lowest: 0.28, fullAt: 0.93, onDuty: 12},
		bench{rateHz: 1250, voltEvery: 1, onColumn: true, sourceOhm: 0.01, noiseA: 0.05, stepA: 0.008, stepV: 0.006, filterHz: 700}, 27, 7, 2.1, false},
}

// Models is the models that a seed gives: the rows of the table, their sizes
// and timings moved by a few per cent.
func Models(seed uint64) []*Model {
	models := make([]*Model, 0, len(sketches))
	for k, s := range sketches {
		rng := rand.New(rand.NewPCG(seed, uint64(k)+0x1a7e))
		m := s.size(rng)
		m.calibrate(rng)
		models = append(models, m)
	}
	return models
}

// size makes a model of a row. The rated input splits into shares for copper,
// dry friction, shear and water; K leaves the reach that boards keep for a
// low supply.
func (s sketch) size(rng *rand.Rand) *Model {
	about := func(v, part float64) float64 { return v * (1 + part*(2*rng.Float64()-1)) }
	watts, radS := about(s.watts, 0.06), about(s.radS, 0.06)
	shaft := watts * 0.84
	spare := 0.71
	if s.law == byVoltage {
		spare = 0.88 // its full speed is that at the full voltage
	}
	kVs := about(spare, 0.03) * s.volts / radS
	ratedA := shaft / radS / kVs
	dry, shear := about(0.055, 0.2), about(0.075, 0.2)
	u := unit{
		kVs: kVs, rOhm: about(0.115, 0.1) * watts / (ratedA * ratedA), switching: about(0.015, 0.2),
		dryNm: dry * shaft / radS, shearNms: shear * shaft / (radS * radS),
		loop: about(1.3, 0.3), speedGain: 1, water: 1,
		sleepA: about(0.012, 0.3), awakeA: about(0.05, 0.3) * 12 / s.volts * max(1, watts/70),
		openV: about(s.volts*1.08, 0.02), sourceOhm: s.bench.sourceOhm,
		ambientC: 22, startA: s.board.startShare * ratedA, pace: 1,
		rippleShare: about(0.05, 0.3), capF: watts * about(30e-6, 0.2), inductor: s.inductor,
	}
	if !s.sixStep {
		u.rippleShare *= 0.04
	}
	u.waterNms2 = (1 - dry - shear) * shaft / (radS * radS * radS) / loaded(u.loop)
	// The rotor alone would follow its voltage within about 20 ms; chosen.
	u.inertia = about(0.022, 0.2) * u.kVs * u.kVs / u.rOhm
	if s.law == byPower {
		u.speedGain = watts - ratedA*0.4 // what the bridge may take at 100 %
	}
	b := s.board
	for _, v := range []*float64{&b.bootS, &b.alignS, &b.dragS, &b.attemptS, &b.restS, &b.slewS} {
		*v = about(*v, 0.08)
	}
	rec := s.bench
	rec.gain, rec.offsetA = 1+0.003*rng.NormFloat64(), rec.stepA*rng.NormFloat64()
	return &Model{name: s.name, law: s.law, sixStep: s.sixStep, polePairs: s.polePairs,
		volts: s.volts, fullRadS: radS, mid: u, board: b, bench: rec, plan: s.schedule()}
}

// schedule is the plan: rest, the start, a staircase up and down, rest.
func (s sketch) schedule() []hold {
	plan := []hold{{0, 1.2}, {s.lowDuty, s.holdS + 3}}
	duty := func(k int) float64 {
		return float64(int(s.lowDuty + (100-s.lowDuty)*float64(k)/float64(s.steps-1) + 0.5))
	}
	for k := 1; k < s.steps; k++ {
		plan = append(plan, hold{duty(k), s.holdS})
	}
	for k := s.steps - 2; k >= 0 && !s.noDown; k-- {
		plan = append(plan, hold{duty(k), s.holdS})
	}
	return append(plan, hold{0, 1.5})
}
