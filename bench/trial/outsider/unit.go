package outsider

import (
	"fmt"
	"math/rand/v2"

	"dutybench/signal/trace"
)

// Good is the trace of a fresh good unit.
func (m Model) Good(rng *rand.Rand) *trace.Trace {
	u := m.draw(rng)
	return u.record(rng)
}

// Faulty is the trace of another unit with a fault of severity 0 (hardly
// there) to 1 (stark). It panics on a fault that Faults does not list.
func (m Model) Faulty(fault string, severity float64, rng *rand.Rand) *trace.Trace {
	for _, f := range Faults() {
		if f.Name == fault {
			u := m.draw(rng)
			f.apply(&m, u, min(max(severity, 0), 1), rng)
			return u.record(rng)
		}
	}
	panic(fmt.Sprintf("outsider: no fault %q; see Faults", fault))
}

// draw makes a unit of the model with the spread of production, on the bench
// of a given day.
func (m Model) draw(rng *rand.Rand) *state {
	u := &state{motor: m.motor, board: m.board, bench: m.bench, ill: ill{opening: 1}}
	u.serial = fmt.Sprintf("%s-%06d", m.name, rng.IntN(1_000_000))
	o := &u.motor
	o.k *= near(rng, 0.015)
	o.ohm *= near(rng, 0.035)
	o.loss *= near(rng, 0.005)
	o.inertia *= near(rng, 0.03)
	o.coulomb *= near(rng, 0.13)
	o.viscous *= near(rng, 0.08)
	o.hydraulic *= near(rng, 0.03)
	o.flowTau *= near(rng, 0.05)
	o.noise *= near(rng, 0.15)
	o.unbalance *= uniform(rng, 0.3, 1.6)
	b := &u.board
	if b.regulates {
		o.full *= near(rng, 0.006)
	} else {
		b.fullMod = min(1, b.fullMod*near(rng, 0.005))
	}
	for _, t := range []*float64{&b.wake, &b.ready, &b.align, &b.ramp, &b.rest, &b.boot} {
		*t *= near(rng, 0.03)
	}
	b.startA *= near(rng, 0.03)
	b.handOver *= near(rng, 0.01)
	b.ripple *= near(rng, 0.1)
	b.farad *= near(rng, 0.08)
	b.sleepA *= near(rng, 0.05)
	b.awakeA *= near(rng, 0.05)
	b.maxW *= near(rng, 0.02)
	n := &u.bench
	n.ohm *= near(rng, 0.1)
	n.nominalV *= near(rng, 0.004)
	u.nominal = m.bench.nominalV
	u.gain, u.offset = near(rng, 0.003), 0.3*n.stepA*rng.NormFloat64()+0.0003*rng.NormFloat64()
	u.gainV = near(rng, 0.001)
	u.onAt = uniform(rng, 0.5, 1)
	return u
}
