package latecomer

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"

	"dutybench/signal/trace"
)

// series is what happened, one value a tick.
type series struct {
	currentA, supplyV, radS []float64
	duty                    []float64
	onS, offS               float64 // when the bench switched the supply
	ended                   string
}

// Times of the bench, in seconds: from the first sample to the supply, from the
// supply's end to the last, and how long a current over the trip is suffered.
const (
	beforeS = 0.4
	afterS  = 0.4
	sufferS = 0.02
)

// riseVS is how fast a supply comes back from its current limit, in V/s of a
// supply of 12 V; chosen: some millifarads at its output.
const riseVS = 15

// happen runs a unit through the plan.
func (m *Model) happen(u *unit, rng *rand.Rand) *series {
	total := 0.0
	for _, h := range m.plan {
		total += h.seconds
	}
	n := int((beforeS + total + afterS) / tickS)
	s := &series{currentA: make([]float64, 0, n), supplyV: make([]float64, 0, n),
		radS: make([]float64, 0, n), duty: make([]float64, 0, n), onS: beforeS + rng.Float64()/m.bench.rateHz, offS: beforeS + total}
	r := newRotor(m, u, rng)
	volts, currentA, over := u.openV, 0.0, 0.0
	step, stepEnd := 0, beforeS+m.plan[0].seconds
	smooth := 1.0
	if u.inductor {
		smooth = 0.45
	}
	tripA := 3.5 * m.topA.mid
	for k := range n {
		t := float64(k) * tickS
		for t >= stepEnd && step < len(m.plan)-1 {
			step++
			stepEnd += m.plan[step].seconds
		}
		on := t >= s.onS && t < s.offS
		duty := m.plan[step].duty
		target := 0.0
		if on {
			target, volts = m.drawn(r, duty, volts)
		} else {
			duty, volts = 0, 0
			r.coast(0)
		}
		currentA += smooth * (target - currentA)
		if !on || target == 0 {
			currentA = target
		}
		s.currentA = append(s.currentA, currentA)
		s.supplyV = append(s.supplyV, volts)
		s.radS = append(s.radS, r.radS)
		s.duty = append(s.duty, duty)
		if on && currentA > tripA {
			over += tickS
		} else {
			over = 0
		}
		if over >= sufferS && s.ended == "" {
			s.ended = fmt.Sprintf("over-current: %.3g A above %.3g A for %.0f ms", currentA, tripA, 1000*over)
			s.offS = t + tickS
		}
		if t > s.offS+afterS {
			break
		}
	}
	return s
}

// drawn is the supply current and the terminal voltage of one tick.
func (m *Model) drawn(r *rotor, duty, before float64) (currentA, volts float64) {
	u := r.u
	if before <= 0 {
		before = u.openV
	}
	mostA := 6 * m.topA.mid // what the supply gives into a short
	switch {
	case u.path == pathShort:
		a := min(u.openV/(u.sourceOhm+0.03*m.volts/m.topA.mid), mostA)
		return a, a * 0.03 * m.volts / m.topA.mid
	case u.path == pathReversed:
		a := min((u.openV-0.75)/(u.sourceOhm+0.015), mostA)
		return a, 0.75 + 0.004*a // the bridge's body diodes
	case u.path == pathOpen || u.fault == boardDead:
		return 0, u.openV
	}
	if u.limitA > 0 {
		before = min(before+riseVS*tickS*m.volts/12, u.openV)
	}
	boardA := r.tick(duty, before)
	volts = u.terminal(boardA, r.powerW)
	if u.limitA > 0 {
		volts = min(volts, before)
	}
	currentA = boardA + r.powerW/volts
	if u.limitA == 0 || currentA <= u.limitA {
		return currentA, volts
	}
	// The motor's part of the power gives way with the voltage.
	k, ohm := u.magnet(r.windingC), u.copper(r.windingC)
	for volts > 0.4*m.volts {
		amp := min(r.motorA, max((reach*volts-k*r.radS)/ohm, 0))
		if m.law == byVoltage && r.state == running {
			amp = min(r.motorA, max((r.share*volts-k*r.radS)/ohm, 0))
		}
		currentA = boardA + (k*r.radS*amp+ohm*amp*amp+u.switching*volts*amp)/volts
		if currentA <= u.limitA {
			// What was given too much in this tick is taken back.
			r.radS = max(r.radS-k*(r.motorA-amp)/u.inertia*tickS, 0)
			return currentA, volts
		}
		volts -= 0.004 * m.volts
	}
	return u.limitA, volts
}

// record samples what happened as the model's bench does.
func (m *Model) record(u *unit, rng *rand.Rand) *trace.Trace {
	s := m.happen(u, rng)
	b := m.bench
	end := float64(len(s.currentA)-1) * tickS
	n := int(end*b.rateHz) + 1
	t, duty, amp := make([]float64, 0, n), make([]float64, 0, n), make([]float64, 0, n)
	on, volt := make([]float64, 0, n), make([]float64, 0, n)
	pick := m.ripple(u, s)
	now, last := 0.0, 0.0
	for k := 0; now < end; k++ {
		at := now / tickS
		j := min(int(at), len(s.currentA)-2)
		x := at - float64(j)
		i := s.currentA[j] + x*(s.currentA[j+1]-s.currentA[j])
		v := s.supplyV[j]
		if i > 0 {
			i += i * pick(now, now-last)
		}
		isOn := now >= s.onS && now < s.offS
		if isOn {
			i += u.charge(now-s.onS, 1/b.rateHz)
		} else if now >= s.offS {
			i, v = 0, 0
		}
		i = b.gain*i + b.offsetA + b.noiseA*rng.NormFloat64()
		t = append(t, math.Round(now*1e6)/1e6)
		duty = append(duty, s.duty[j])
		amp = append(amp, math.Round(i/b.stepA)*b.stepA)
		if b.onColumn {
			bit := 0.0
			if isOn {
				bit = 1
			}
			on = append(on, bit)
		}
		if b.voltEvery > 0 {
			value := trace.NotSampled()
			if k%b.voltEvery == 0 {
				value = math.Round((v+0.6*b.stepV*rng.NormFloat64())/b.stepV) * b.stepV
			}
			volt = append(volt, value)
		}
		last = now
		if b.uneven {
			now += (0.7 + 0.6*rng.Float64()) / b.rateHz
			if rng.IntN(900) == 0 {
				now += 6 / b.rateHz
			}
		} else {
			now = float64(k+1) / b.rateHz
		}
	}
	return m.entitle(s, rng, []trace.Column{
		{Name: trace.ColTime, Values: t}, {Name: trace.ColDuty, Values: duty},
		{Name: trace.ColCurrent, Values: amp, Resolution: b.stepA},
		{Name: trace.ColSupplyOn, Values: on}, {Name: trace.ColSupply, Values: volt, Resolution: b.stepV},
	})
}

// entitle makes the trace of the columns that were sampled.
func (m *Model) entitle(s *series, rng *rand.Rand, columns []trace.Column) *trace.Trace {
	number := func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
	tr := &trace.Trace{Source: m.name, Meta: []trace.Entry{
		{Key: trace.KeyTrace, Value: trace.Format},
		{Key: trace.KeyUnit, Value: fmt.Sprintf("%s-%012x", m.name, rng.Uint64()>>16)},
		{Key: trace.KeyKind, Value: "pump"},
		{Key: trace.KeyNominal, Value: number(m.volts)},
		{Key: trace.KeySampleRate, Value: number(m.bench.rateHz)},
	}}
	if s.ended != "" {
		tr.Meta = append(tr.Meta, trace.Entry{Key: trace.KeyEnded, Value: s.ended})
	}
	for _, c := range columns {
		if len(c.Values) == 0 {
			continue
		}
		for _, v := range c.Values {
			if math.IsNaN(v) {
				c.Missing++
			}
		}
		tr.Columns = append(tr.Columns, c)
	}
	return tr
}

// charge is what the input capacitor takes, as the mean over an aperture
// before the time since switch-on: through a resistance at once, through an
// inductor rising and falling.
func (u *unit) charge(sinceS, apertureS float64) float64 {
	coulomb, tau := u.capF*u.openV, 4e-4
	if u.inductor {
		tau = 9e-4
	}
	given := func(t float64) float64 { // share of the charge up to a time
		if t <= 0 {
			return 0
		}
		if x := t / tau; u.inductor {
			return 1 - (1+x)*math.Exp(-x)
		}
		return 1 - math.Exp(-t/tau)
	}
	if sinceS > 30*tau+apertureS || u.path != pathSound || u.fault == boardDead {
		return 0
	}
	return coulomb * (given(sinceS) - given(sinceS-apertureS)) / apertureS
}

// ripple is the relative ripple of the current at an instant: commutation, and
// what rubs once a turn. It is asked in order of time. The rotor's inertia
// weakens a torque at shaft frequency by its own time constant.
func (m *Model) ripple(u *unit, s *series) func(now, stepS float64) float64 {
	lag := u.inertia * u.rOhm / (u.kVs * u.kVs)
	filterHz := 2500.0
	if u.inductor {
		filterHz = 350
	}
	weak := func(f, corner float64) float64 { return 1 / math.Sqrt(1+(f/corner)*(f/corner)) }
	var turn, commute, rub float64
	tick := -1
	return func(now, stepS float64) float64 {
		j := min(int(now/tickS), len(s.radS)-1)
		w := s.radS[j]
		turn = math.Mod(turn+w*stepS, 2*math.Pi)
		if w < 5 {
			return 0
		}
		if j != tick {
			tick = j
			f := w / (2 * math.Pi)
			six := 6 * m.polePairs * f
			commute = u.rippleShare * weak(six, filterHz) * weak(six, m.bench.filterHz)
			rub = 0
			if u.rubNm > 0 {
				whole := u.dryNm + u.rubNm + u.shearNms*w + u.load*w*w
				rub = u.rubNm / whole / math.Hypot(1, w*lag) * weak(f, filterHz) * weak(f, m.bench.filterHz)
			}
		}
		sin, cos := math.Sincos(6 * m.polePairs * turn)
		value := commute * (sin + 0.5*sin*cos)
		if rub > 0 {
			value += rub * math.Cos(turn)
		}
		return value
	}
}
