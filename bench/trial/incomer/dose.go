package incomer

import (
	"math"
	"math/rand/v2"
)

// quantity is what a graded fault moves.
type quantity int

const (
	lowA     quantity = iota // current at the start duty
	lowSwing                 // its standard deviation, noise and ripple apart
	fullA                    // current at full duty
	fullV                    // voltage at full duty
)

const (
	goodUnits = 40  // enough for a standard deviation to 11 %
	settle_s  = 1.2 // of which the last half second counts
	counted_s = 0.5
)

// spread is the standard deviation of good units in each quantity. The noise
// and the steps of the bench are a floor under it.
func (m *Model) spread(rng *rand.Rand) map[quantity]float64 {
	sum, squares := map[quantity]float64{}, map[quantity]float64{}
	for range goodUnits {
		for q, v := range m.draw(rng).settled() {
			sum[q] += v
			squares[q] += v * v
		}
	}
	sd := map[quantity]float64{}
	for q, s := range sum {
		floor := m.noise_A / 3
		if q == fullV {
			floor = m.step_V
		}
		variance := (squares[q] - s*s/goodUnits) / (goodUnits - 1)
		sd[q] = math.Sqrt(max(0, variance) + floor*floor)
	}
	return sd
}

// settled are the quantities of a unit that has run long enough.
func (u *unit) settled() map[quantity]float64 {
	low, swing, _ := u.plateau(u.m.plan.start_pct)
	full, _, volt := u.plateau(100)
	return map[quantity]float64{lowA: low, lowSwing: swing, fullA: full, fullV: volt}
}

// plateau is the mean and the standard deviation of the current and the mean
// voltage at one duty, without the bench.
func (u *unit) plateau(duty float64) (mean_A, sd_A, mean_V float64) {
	p := newPlant(u)
	p.volt, p.on_s = u.e_V, 1
	p.board.state = running
	p.board.demand = p.board.wanted(duty)
	p.omega = 0.9 * p.board.demand * u.m.full_radps
	p.air = u.wrong.air
	p.board.sum = (u.c + u.b*p.omega + u.h*p.omega*p.omega) / u.k
	n, squares, plain := 0.0, 0.0, 0.0
	for t := 0.0; t < settle_s; t += slice_s {
		p.advance(true, duty, slice_s)
		if t < settle_s-counted_s {
			continue
		}
		n++
		mean_A += p.amp
		mean_V += p.volt
		plain += p.plain_A
		squares += p.plain_A * p.plain_A
	}
	return mean_A / n, math.Sqrt(max(0, squares/n-plain*plain/n/n)), mean_V / n
}

// dose is the turn of the fault's dial that moves its quantity in the typical
// unit as far as the severity says, or all of the dial.
func (m *Model) dose(f Fault, severity float64) float64 {
	goal := 15 * math.Pow(severity, 1.585) * m.sd[f.at]
	before := m.typical().settled()[f.at]
	low, high := 0.0, 1.0
	for range 12 {
		x := (low + high) / 2
		u := m.typical()
		f.dial(u, x)
		if math.Abs(u.settled()[f.at]-before) < goal {
			low = x
		} else {
			high = x
		}
	}
	return high
}
