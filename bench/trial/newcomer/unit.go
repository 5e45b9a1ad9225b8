package newcomer

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// unit is one pump on its bench, on one day.
type unit struct {
	serial string
	made   machine
	board  board
	bench  *bench
	sickM  ill
	sick   boardIll
	sticky float64 // breakaway torque that a deposit adds until it gives, N·m
	short  float64 // Ω across the input; 0 is none
	away   bool    // nothing is plugged in
	usual  float64 // motor input of the model's typical unit at full, W
	rng    *rand.Rand

	// The day and the bench.
	day          weather
	emf, rs      float64 // of the source with its leads
	limit        float64 // of the source, A
	gain, gainV  float64
	offset       float64
	unrest       float64 // of the flow, relative
	fieldAt      float64 // electrical angle of alignment, rad
	resetAt      float64 // into an attempt, s
	eccentricity float64

	// The state.
	now, sinceOn           float64
	fed, cut, choked       bool
	volt, source, loadA    float64
	phase                  phase
	clock, askedS, holdS   float64
	fails                  int
	lost                   bool
	want, share, aim       float64
	integral, stuckS, amps float64
	field                  float64
	omega, angle, load     float64
	flow, wheel            float64 // m³/s; speed of the wheel, rad/s
	surge, void            float64
	slug                   bool
	temp                   weather
	k, ohm, mu, disc       float64
	warmS, overS           float64
	chargeA, chargedQ      float64
	freeze                 bool // temperatures stay, for tests
	ended                  string
}

// draw is a fresh good unit with its day.
func (m *Model) draw(rng *rand.Rand) *unit {
	u := &unit{made: m.made, board: m.board, bench: &m.bench, usual: m.usual, rng: rng}
	u.serial = fmt.Sprintf("N%016X", rng.Uint64())
	vary := func(relative float64, values ...*float64) {
		for _, v := range values {
			*v *= 1 + relative*normal(rng)
		}
	}
	d, b := &u.made, &u.board
	vary(0.02, &d.k, &d.radius, &d.design)
	d.radius = m.made.radius + (d.radius-m.made.radius)/4 // moulded: 0.5 %
	vary(0.03, &d.ohm, &d.width, &d.stir, &d.loop, &d.inertance, &d.shock)
	vary(0.02, &d.slip)
	vary(0.04, &d.henry, &d.inertia, &d.swing)
	vary(0.15, &d.dry)
	vary(0.10, &d.gap, &d.stribeck, &d.hyst, &d.eddy)
	vary(0.04, &b.awakeA, &b.sleepA, &b.bootA, &b.farad, &b.start, &b.most, &b.restS)
	vary(0.02, &b.watt, &b.alignS, &b.fieldS, &b.lookS)
	vary(0.004, &b.full, &b.least) // trimmed against a clock
	vary(0.06, &b.bootS, &b.wakeS, &b.henry, &b.esr, &b.ripple)

	n := u.bench
	u.day.water = n.celsius + 2*normal(rng)
	u.day.winding = u.day.water + uniform(rng, 0, 3)
	u.temp = u.day
	u.emf = n.volt * (1 + 0.003*normal(rng))
	u.rs = n.ohm * (1 + 0.1*normal(rng))
	u.limit = n.limit
	u.gain, u.gainV = 1+0.002*normal(rng), 1+0.001*normal(rng)
	u.offset = 0.7 * n.stepA * normal(rng)
	u.unrest = uniform(rng, 0.003, 0.008)
	u.fieldAt = 0.6 + uniform(rng, 0, 0.1)
	if b.sensors {
		u.fieldAt = uniform(rng, 0, 2*math.Pi)
	}
	u.angle = u.fieldAt / d.polePairs
	u.eccentricity = cogging * uniform(rng, 0.5, 1.5)
	u.refresh()
	return u
}

// refresh works out what hangs on temperature.
func (u *unit) refresh() {
	u.k, u.ohm = u.made.hot(u.temp)
	u.mu = mu(u.temp.water)
	u.disc = u.made.discFactor(u.mu) * (1 - u.sickM.noDisc)
}

// warm heats winding and water, every fiftieth of a second.
func (u *unit) warm(h float64) {
	u.warmS += h
	if u.warmS < 0.02 || u.freeze {
		return
	}
	n := u.bench
	loss := u.ohm * u.amps * u.amps
	u.temp.winding += u.warmS * (loss - (u.temp.winding-u.temp.water)/n.kelvinPerW) / n.windingJ
	u.temp.water += u.warmS * u.volt * u.loadA / n.waterJ
	u.warmS = 0
	u.refresh()
}

func uniform(rng *rand.Rand, low, high float64) float64 { return low + (high-low)*rng.Float64() }

// normal is a standard normal deviate, cut at three.
func normal(rng *rand.Rand) float64 {
	for {
		if x := rng.NormFloat64(); math.Abs(x) < 3 {
			return x
		}
	}
}

func clamp(x, low, high float64) float64 { return max(low, min(high, x)) }
