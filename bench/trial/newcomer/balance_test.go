package newcomer

import (
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// models are drawn once for most tests.
var models = sync.OnceValue(func() []*Model { return Models(2) })

func source(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 21)) }

// still is a typical unit without unrest, whose temperatures stay.
func still(m *Model) *unit {
	u := m.typical()
	u.freeze, u.unrest = true, 0
	return u
}

// settle runs a unit at a duty and gives its mean over the last second.
func settle(u *unit, duty float64) (s settled) {
	h := u.bench.step
	n := int(1 / h)
	for u.now < 2 {
		u.advance(h, 0, true)
	}
	for u.now < 12 {
		u.advance(h, duty, true)
	}
	for range n {
		u.advance(h, duty, true)
		s.omega += u.omega / float64(n)
		s.amps += u.source / float64(n)
		s.volt += u.volt / float64(n)
	}
	return s
}

func TestSettlesAtTheBalance(t *testing.T) {
	ills := []struct {
		name    string
		inflict func(u *unit)
	}{
		{"good", func(u *unit) {}},
		{"drag and thick", func(u *unit) { u.sickM.drag, u.sickM.thick = 0.3*u.made.dry, 2*u.made.eddy }},
		{"slip", func(u *unit) { find("wheel-slips").inflict(u, 0.4) }},
		{"cap", func(u *unit) { find("power-limited").inflict(u, 0.3) }},
		{"lead and leak", func(u *unit) { u.sickM.lead, u.sickM.leak = 3*u.rs, 1e-3 }},
		{"dry", func(u *unit) { find("loop-dry").inflict(u, 0.8) }},
		{"shut", func(u *unit) { find("outlet-shut").inflict(u, 0.8) }},
	}
	for i, ill := range ills {
		for j, m := range models() {
			if i > 0 && (i+j)%5 != 0 { // a sample, for time
				continue
			}
			for _, duty := range []float64{m.bench.up[1], 100} {
				u := still(m)
				ill.inflict(u)
				u.refresh()
				got, want := settle(u, duty), u.balance(u.board.share(duty))
				what := []any{"%s, %s, duty %g", m.name, ill.name, duty}
				assert.InEpsilon(t, want.omega, got.omega, 0.01, what...)
				assert.InEpsilon(t, want.amps, got.amps, 0.015, what...)
				assert.InEpsilon(t, want.volt, got.volt, 0.002, what...)
			}
		}
	}
}

func TestBalanceHolds(t *testing.T) {
	for _, m := range models() {
		u := m.typical()
		d := &u.made
		omega := 0.8 * u.board.full
		q := omega * d.flowPerOmega()
		assert.InEpsilon(t, (d.loop+d.shock)*q*q, d.pressure(omega, q), 1e-9, m.name)
		assert.Greater(t, d.wheel(omega, q, u.disc), 1.5*d.wheel(omega, 0, u.disc), m.name)

		volt := 0.9 * d.reach * u.emf
		i := d.lid(omega, volt, u.k, u.ohm)
		got := math.Hypot(u.k*omega+u.ohm*i, d.polePairs*omega*d.henry*i)
		assert.InEpsilon(t, volt, got, 1e-9, m.name)
		assert.Zero(t, d.lid(2*volt/u.k, volt, u.k, u.ohm))

		i = lidPower(omega, 7, u.k, u.ohm)
		assert.InEpsilon(t, 7, i*(u.k*omega+u.ohm*i), 1e-9, m.name)

		// All that goes in is loss or shaft power.
		s := u.balance(1)
		i = u.torque(s.omega) / u.k
		shaft, loss := u.torque(s.omega)*s.omega, u.ohm*i*i+d.swing*s.volt*i+s.volt*u.board.awakeA
		assert.InEpsilon(t, s.volt*s.amps, shaft+loss, 1e-9, m.name)
		assert.InEpsilon(t, u.emf-u.rs*s.amps, s.volt, 1e-5, m.name)
		share := shaft / (s.volt * s.amps)
		assert.True(t, share > 0.7 && share < 0.93, "%s: efficiency %g", m.name, share)
	}
}

func TestCharge(t *testing.T) {
	for _, m := range models() {
		u := m.typical()
		q, i := u.charge(chargeTime)
		assert.InEpsilon(t, u.board.farad*u.emf, q, 0.01, m.name)
		assert.Less(t, math.Abs(i), 0.05, m.name)
		for _, at := range []float64{2e-5, 1e-4, 6e-4} {
			const h = 1e-8
			before, _ := u.charge(at - h)
			after, _ := u.charge(at + h)
			_, i := u.charge(at)
			assert.InDelta(t, (after-before)/(2*h), i, 1e-3*u.emf/u.rs, m.name)
		}
		const early = 1e-9
		_, i = u.charge(early) // the inductor alone counts
		assert.InEpsilon(t, u.emf/u.board.henry*early, i, 1e-2, m.name)
	}
}

func TestConstants(t *testing.T) {
	assert.InDelta(t, 4.0e-3, mu(20), 1e-12)
	assert.InDelta(t, 1.0e-3, mu(75), 0.05e-3)
	sum := 0.0
	const n = 6000
	for i := range n {
		sum += capRipple(2 * math.Pi * (float64(i) + 0.5) / n)
	}
	assert.InDelta(t, 0, sum/n, 1e-6)
	assert.InDelta(t, math.Pi/3-1, capRipple(math.Pi/6), 1e-12)
	assert.InDelta(t, math.Pi/3*math.Cos(math.Pi/6)-1, capRipple(1e-9), 1e-6)
}

// TestSizes holds the motor's input at full against what the sizes say.
func TestSizes(t *testing.T) {
	for seed := range uint64(3) {
		drawn := Models(seed)
		require.GreaterOrEqual(t, len(drawn), 8)
		for _, m := range drawn {
			want := map[float64]float64{small.radius: 15, middle.radius: 50, large.radius: 150}[m.made.radius]
			got := m.typical().balance(1)
			assert.InDelta(t, 1, got.amps*got.volt/want, 0.35, m.name)
		}
	}
}
