package newcomer

import (
	"math"
	"math/rand/v2"
)

// settled is a plateau by the closed balance: no time, no noise.
type settled struct{ omega, amps, volt float64 }

// balance solves the settled state at a share of command, at the day's
// temperatures: torque against torque, and the voltage at the terminals.
func (u *unit) balance(share float64) settled {
	b, m := &u.board, &u.made
	s := settled{volt: u.emf}
	for range 25 {
		limit := math.Inf(1)
		if u.sickM.cap > 0 {
			limit = u.sickM.cap
		}
		reach := m.reach * s.volt
		switch b.rule {
		case keepsSpeed:
			s.omega = u.meet(share*b.full, reach, limit)
		case setsVoltage:
			s.omega = u.meet(share*reach/u.k, share*reach, limit)
		case keepsPower:
			s.omega = max(u.meet(b.full, reach, min(limit, share*b.watt)), u.meet(b.floor*b.full, reach, limit))
		}
		i := u.torque(s.omega) / u.k
		s.amps = b.awakeA + i*((u.k*s.omega+u.ohm*i)/s.volt+m.swing) + s.volt*u.sickM.leak
		next := u.emf - (u.rs+u.sickM.lead)*s.amps
		if next = max(next, 0.3*u.emf); math.Abs(next-s.volt) < 1e-5 {
			return s
		}
		s.volt = next
	}
	return s
}

// torque is the settled load at a speed, N·m.
func (u *unit) torque(omega float64) float64 {
	water := (1 - u.sickM.void) * (1 - u.sickM.empty) * u.made.wheel(omega, omega*u.made.flowPerOmega(), u.disc)
	if u.sickM.slipAt > 0 {
		water = min(water, u.sickM.slipAt)
	}
	return u.made.friction(omega, u.mu, &u.sickM) + water
}

// meet is the speed, at most top, where the current that the limits allow just
// carries the load.
func (u *unit) meet(top, reach, watt float64) float64 {
	spare := func(omega float64) float64 {
		i := min(u.board.most, u.made.lid(omega, reach, u.k, u.ohm))
		if !math.IsInf(watt, 1) {
			i = min(i, lidPower(omega, watt, u.k, u.ohm))
		}
		return u.k*i - u.torque(omega)
	}
	if spare(top) >= 0 {
		return top
	}
	low := 0.0
	for range 30 {
		if middle := (low + top) / 2; spare(middle) > 0 {
			low = middle
		} else {
			top = middle
		}
	}
	return low
}

// view is what a bench can see of a unit when all is settled: the current at
// some duties, the quiet current, and the voltage at full command.
func (m *Model) view(u *unit) []float64 {
	u.refresh()
	var out []float64
	for _, d := range m.probes() {
		s := u.balance(u.board.share(d))
		out = append(out, u.gain*s.amps)
		if d == 100 && m.bench.everyV > 0 {
			out = append(out, u.gainV*s.volt)
		}
	}
	return append(out, u.board.sleepA+u.emf*u.sickM.leak)
}

// probes are the lowest, some middle and the highest duty of the plan.
func (m *Model) probes() []float64 {
	up := m.bench.up
	return []float64{up[0], up[len(up)/3], up[2*len(up)/3], 100}
}

// spread is mean and standard deviation of the view over good units, with what
// the converter's offset adds to a current.
func (m *Model) spread(rng *rand.Rand) (mean, deviation []float64) {
	const draws = 400
	var sum, square []float64
	for range draws {
		v := m.view(m.draw(rng))
		if sum == nil {
			sum, square = make([]float64, len(v)), make([]float64, len(v))
		}
		for i := range v {
			sum[i] += v[i]
			square[i] += v[i] * v[i]
		}
	}
	for i := range sum {
		mu := sum[i] / draws
		mean = append(mean, mu)
		deviation = append(deviation, math.Hypot(math.Sqrt(max(0, square[i]/draws-mu*mu)), 0.7*m.bench.stepA))
	}
	return mean, deviation
}

// typical is the unit with the model's own constants on a mean day.
func (m *Model) typical() *unit {
	u := m.draw(rand.New(rand.NewPCG(1, 1)))
	n := u.bench
	u.made, u.board = m.made, m.board
	u.day = weather{n.celsius + 1.5, n.celsius}
	u.temp = u.day
	u.emf, u.rs, u.gain, u.gainV, u.offset = n.volt, n.ohm, 1, 1, 0
	u.refresh()
	return u
}

// calibrate finds for each fault that moves a plateau the strength at which
// what shows it best lies five standard deviations off.
func (m *Model) calibrate(rng *rand.Rand) {
	_, deviation := m.spread(rng)
	good := m.view(m.typical())
	m.atFive = map[string]float64{}
	for _, f := range faults {
		if f.scale == nil {
			continue
		}
		off := func(x float64) (most float64) {
			u := m.typical()
			f.inflict(u, x)
			for i, v := range m.view(u) {
				most = max(most, math.Abs(v-good[i])/deviation[i])
			}
			return most
		}
		low, high := 0.0, f.scale(m)/100
		for off(high) < 5 && (!f.share || high < 0.85) {
			low, high = high, high*1.3
		}
		for range 14 {
			if middle := (low + high) / 2; off(middle) < 5 {
				low = middle
			} else {
				high = middle
			}
		}
		m.atFive[f.Name] = high
	}
}

// strength is what a severity means for a fault of this model.
func (m *Model) strength(f *Fault, severity float64) float64 {
	x, ok := m.atFive[f.Name]
	times := 4 * severity * severity
	switch {
	case !ok:
		return severity
	case f.share:
		return 1 - math.Pow(1-x, times)
	}
	return x * times
}
