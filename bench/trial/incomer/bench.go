package incomer

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"

	"dutybench/signal/trace"
)

const (
	dark_s  = 0.4  // with the supply off, before and after
	over    = 2.0  // of the full current: gross
	over_s  = 0.02 // for so long
	after_s = 0.3  // recorded after a cut
)

// leg is a stretch of the test with supply and duty as they are.
type leg struct {
	on       bool
	duty     float64
	length_s float64
}

func (m *Model) legs() []leg {
	p := m.plan
	var l []leg
	if m.hasSwitch {
		l = append(l, leg{false, p.stop_pct, dark_s})
	}
	l = append(l, leg{true, p.stop_pct, p.rest_s})
	for i, d := range p.duties {
		hold := p.hold_s
		switch {
		case i == 0:
			hold += m.wake_s + 1.5*m.try_s
		case d == 100:
			hold = p.full_s
		}
		l = append(l, leg{true, d, hold})
	}
	l = append(l, leg{true, p.stop_pct, p.rest_s})
	if m.hasSwitch {
		l = append(l, leg{false, p.stop_pct, dark_s})
	}
	return l
}

// recorder is the bench's instrument.
type recorder struct {
	m                 *Model
	rng               *rand.Rand
	shown_A           float64 // behind the filter
	offset_A          float64
	t, duty, on, a, v []float64
}

func step(x, by float64) float64 {
	// Rounded again to the decimals that a step can have.
	return math.Round(math.Round(x/by)*by*1e7) / 1e7
}

func (r *recorder) take(p *plant, l leg) {
	a := r.shown_A + r.offset_A + r.m.noise_A*r.rng.NormFloat64()
	on := 0.0
	if l.on {
		on = 1
	}
	r.t = append(r.t, float64(len(r.t))/r.m.rate_Hz)
	r.duty = append(r.duty, l.duty)
	r.on = append(r.on, on)
	r.a = append(r.a, step(a, r.m.step_A))
	r.v = append(r.v, step(p.volt+0.8*r.m.step_V*r.rng.NormFloat64(), r.m.step_V))
}

// test runs the plan on a unit and cuts the supply on gross over-current.
func (m *Model) test(u *unit, mark uint32, rng *rand.Rand) *trace.Trace {
	name := fmt.Sprintf("%s-%08X", m.name, rng.Uint32()^mark)
	p := newPlant(u)
	if !m.hasSwitch {
		p.volt, p.on_s = u.e_V, 1 // it was on before
		p.board.enter(resting)
	}
	r := &recorder{m: m, rng: rng, offset_A: u.offset_A}
	slices := int(math.Round(1 / (m.rate_Hz * slice_s)))
	smooth := 1 - math.Exp(-slice_s*m.rate_Hz/0.3)
	ended, hot_s := "", 0.0
	legs := m.legs()
	for i := 0; i < len(legs); i++ {
		l := legs[i]
		for range int(l.length_s * m.rate_Hz) {
			for range slices {
				p.advance(l.on, l.duty, slice_s)
				r.shown_A += smooth * (p.amp - r.shown_A)
			}
			p.wander(rng, 1/m.rate_Hz)
			r.take(p, l)
			hot_s += 1 / m.rate_Hz
			if r.shown_A < over*m.full_A() {
				hot_s = 0
			}
			if hot_s >= over_s && ended == "" {
				ended = fmt.Sprintf("over-current: %.2f A for %.0f ms, the supply was cut", r.shown_A, 1000*hot_s)
				legs = []leg{{}, {false, l.duty, after_s}}
				i = 0
				break
			}
		}
	}
	return r.trace(name, ended)
}

// wander moves the air in the water, some tenths of a second apart.
func (p *plant) wander(rng *rand.Rand, dt float64) {
	if a := p.wrong.air; a > 0 {
		const swing, tau = 0.15, 0.3
		p.air += (a-p.air)*dt/tau + swing*a*math.Sqrt(2*dt/tau)*rng.NormFloat64()
		p.air = max(0, min(0.97, p.air))
	}
}

func (r *recorder) trace(unit, ended string) *trace.Trace {
	number := func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
	t := &trace.Trace{Source: unit, Meta: []trace.Entry{
		{Key: trace.KeyTrace, Value: trace.Format},
		{Key: trace.KeyUnit, Value: unit},
		{Key: trace.KeyKind, Value: "pump"},
		{Key: trace.KeyNominal, Value: number(r.m.nominal_V)},
		{Key: trace.KeySampleRate, Value: number(r.m.rate_Hz)},
	}}
	if ended != "" {
		t.Meta = append(t.Meta, trace.Entry{Key: trace.KeyEnded, Value: ended})
	}
	t.Columns = []trace.Column{
		{Name: trace.ColTime, Values: r.t, Resolution: 1 / r.m.rate_Hz},
		{Name: trace.ColDuty, Values: r.duty},
		{Name: trace.ColCurrent, Values: r.a, Resolution: r.m.step_A},
	}
	if r.m.hasSwitch {
		t.Columns = append(t.Columns, trace.Column{Name: trace.ColSupplyOn, Values: r.on, Resolution: 1})
	}
	if r.m.hasVoltage {
		t.Columns = append(t.Columns, trace.Column{Name: trace.ColSupply, Values: r.v, Resolution: r.m.step_V})
	}
	return t
}
