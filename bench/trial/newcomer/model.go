package newcomer

import (
	"math/rand/v2"

	"dutybench/signal/trace"
)

// Model is one type of pump together with the bench that recorded it.
type Model struct {
	name   string
	made   machine
	board  board
	bench  bench
	usual  float64            // motor input at full, W
	atFive map[string]float64 // strengths at severity 0.5
}

// Name tells size, board and drive.
func (m *Model) Name() string { return m.name }

// SupplySampled tells whether the bench has supply_V.
func (m *Model) SupplySampled() bool { return m.bench.everyV > 0 }

// Good is the trace of a fresh good unit.
func (m *Model) Good(rng *rand.Rand) *trace.Trace { return m.draw(rng).record() }

// Faulty is the trace of another unit with a fault of severity 0 (hardly
// there) to 1. It panics on a fault that Faults does not list.
func (m *Model) Faulty(fault string, severity float64, rng *rand.Rand) *trace.Trace {
	return m.sick(fault, severity, rng).record()
}

func (m *Model) sick(fault string, severity float64, rng *rand.Rand) *unit {
	f := find(fault)
	u := m.draw(rng)
	f.inflict(u, m.strength(f, severity))
	u.refresh()
	return u
}

// size is a motor with its wheel.
type size struct {
	radius, width float64 // m
	full          float64 // rad/s
	inertia       float64 // kg·m²
	polePairs     float64
	quiet         float64 // current awake, A
	farad         float64
}

var (
	small  = size{0.0160, 0.0031, 515, 3.0e-6, 3, 0.030, 220e-6}
	middle = size{0.0193, 0.0048, 525, 1.1e-5, 4, 0.050, 680e-6}
	large  = size{0.0230, 0.0055, 530, 3.0e-5, 5, 0.090, 1500e-6}
)

// build makes motor, wheel and loop of a size: geometry first, then losses as
// shares of the wheel's torque, then a winding that suits the supply.
func (s size) build(volt float64, b board, rng *rand.Rand) (machine, board) {
	near := func(x float64) float64 { return x * uniform(rng, 0.95, 1.05) }
	b.full = near(s.full)
	m := machine{
		polePairs: s.polePairs, reach: 1, fade: pick(b.sine, 0.0012, 0.0019), swing: near(0.02),
		inertia: near(s.inertia), stribeck: near(0.7), slide: near(25),
		radius: s.radius, width: near(s.width), cot: near(2.1), slip: near(0.75), efficiency: near(0.72),
		wheelInertia: s.inertia / 6,
	}
	if b.sine {
		m.reach = 0.7071
	}
	// The loop passes the design flow, c = 0.1·u, when settled.
	m.design = 0.1 * m.radius * m.outlet()
	per := m.pressure(1, m.design) / (m.design * m.design)
	m.shock, m.loop = near(0.15)*per, 0
	m.loop = per - m.shock
	m.inertance = near(0.18) * 2 * per * m.design * b.full // settles in a fifth of a second

	q := m.design * b.full
	euler := m.wheel(b.full, q, 0)
	m.stir = near(0.42) * euler / (density * b.full * b.full)
	at := mu(25)
	water := m.wheel(b.full, q, m.discFactor(at))
	m.dry, m.hyst, m.eddy = near(0.06)*water, near(0.02)*water, near(0.04)*water/b.full
	m.gap = near(0.06) * water / (at * b.full)

	torque := water + m.friction(b.full, at, &ill{})
	head := pick(b.rule == setsVoltage, 0.98, 0.80) // of the voltage that there is
	lost := near(0.13)                              // in copper
	m.k = (1 - lost) * head * m.reach * volt / b.full
	i := torque / m.k
	m.ohm = lost * head * m.reach * volt / i
	m.henry = near(0.2) * m.k / (m.polePairs * i)

	b.watt = uniform(rng, 1.03, 1.08) * torque * b.full / (1 - lost)
	b.start, b.most = b.start*i, b.most*i
	b.hand *= b.full
	b.awakeA, b.bootA = near(s.quiet)*12/volt, near(0.4*s.quiet)*12/volt
	b.sleepA = near(0.12*s.quiet) * 12 / volt
	b.farad = near(s.farad) * 12 / volt
	b.up, b.down = 0.62*volt, 0.5*volt
	b.stiff = near(b.stiff)
	return m, b
}

func pick[T any](first bool, a, b T) T {
	if first {
		return a
	}
	return b
}
