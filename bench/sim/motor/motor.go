package motor

import (
	"math"
	"math/rand/v2"
	"time"

	"dutybench/bench/sim"
)

// Motor is one motor in a socket.
type Motor struct {
	p       Params
	w       winding
	poles   []float64 // brake of turns shorted in themselves, N·m·s, over a turn
	spot_Nm float64   // a tight spot's torque
	stuck_s float64   // how long it sticks at each start before it lets go
	lifts   float64   // of a brush, a second at full speed
	blocked bool
	open    bool

	current_A, speed float64 // rad/s
	turns            float64
	across_V         float64 // with the current as it is
	celsius          float64
	pushed_s         float64 // for how long it has been pushed while it sticks
	free             bool
	contact          float64 // what the brushes' resistance is off now, relative
	lift_s           float64 // how long a lifted brush stays up
	rand             *rand.Rand
}

// New is a motor with a fault of a severity; seed draws where its rotor stands and
// how its brushes jump.
func New(p Params, fault string, severity float64, seed uint64) (*Motor, error) {
	m := &Motor{p: p, rand: rand.New(rand.NewPCG(seed, 0x6d6f746f72)), celsius: p.Ambient_C}
	m.turns = m.rand.Float64()
	ohms, share := even(p)
	for i := range p.Coils {
		ohms[i], share[i] = ohms[i]*(1+p.Coils[i].Ohm), share[i]*(1+p.Coils[i].Flux)
	}
	if err := m.inflict(fault, severity, ohms, share); err != nil {
		return nil, err
	}
	m.w = newWinding(m.p, ohms, share)
	return m, nil
}

const (
	copperPerK = 0.00393 // IEC 60028, at 20 °C
	magnetPerK = -0.002  // hard ferrite
	knee_A     = 0.25    // at which the brushes' drop is reached
	spot       = 0.04    // standard deviation of a tight spot's width, in turns
	contact_s  = 0.4e-3  // for which a brush's contact stays as it is, at speed
	lifted_s   = 0.25e-3 // mean time that a lifted brush stays up
)

// Step advances it through a circuit that stays as it is.
func (m *Motor) Step(dt time.Duration, c sim.Circuit) (mean_A, across_V float64) {
	whole := dt.Seconds()
	if !(whole > 0) {
		return m.current_A, c.EMF_V - m.current_A*c.Ohm
	}
	// A fifth of a ripple a step: two brushes on an odd number of segments make two
	// a segment.
	n := int(math.Ceil(whole * math.Abs(m.speed) / (2 * math.Pi) * float64(2*m.p.Segments) * 2.5))
	n = min(max(n, 1), 64)
	h := whole / float64(n)
	var charge float64
	for range n {
		charge += m.step(h, c) * h
	}
	mean_A = charge / whole
	if c.Limit_A > 0 && mean_A > c.Limit_A*(1-1e-9) {
		mean_A = c.Limit_A // all of it, whatever a sum of parts rounds to
	}
	m.warm(whole, mean_A)
	if !c.Closed {
		return mean_A, m.p.K_Vs * m.speed
	}
	across_V = c.EMF_V - m.current_A*c.Ohm
	if c.Limit_A > 0 && m.current_A >= c.Limit_A {
		across_V = min(across_V, m.across_V) // the supply gives way to it
	}
	if c.OneWay && m.current_A == 0 {
		across_V = m.emf() // no current: what it makes itself stands across it
	}
	return mean_A, across_V
}

// emf is the EMF between the brushes now.
func (m *Motor) emf() float64 {
	i, j, f := m.w.at(m.turns)
	return m.flux() * (m.w.k[i]*(1-f) + m.w.k[j]*f) * m.speed
}

// flux is what heat leaves of the magnet's.
func (m *Motor) flux() float64 { return 1 + magnetPerK*(m.celsius-20) }

// step is one sub-step; it returns the mean current.
func (m *Motor) step(h float64, c sim.Circuit) (mean_A float64) {
	i, j, f := m.w.at(m.turns)
	flux := m.flux()
	k := flux * (m.w.k[i]*(1-f) + m.w.k[j]*f)
	r := max(m.w.r[i], m.w.r[j])
	if !math.IsInf(r, 0) {
		r = (m.w.r[i]*(1-f) + m.w.r[j]*f) * (1 + copperPerK*(m.celsius-20))
	}
	m.jump(h)
	r += m.p.Brush_Ohm*max(0.1, 1+m.contact) + m.p.Lead_Ohm + c.Ohm
	brake := (m.w.b[i]*(1-f) + m.w.b[j]*f) * flux * flux
	if m.poles != nil {
		brake += m.poles[i] * flux * flux
	}
	from := m.current_A
	if m.open || m.lift_s > 0 || !c.Closed || math.IsInf(r, 0) {
		// A lifted brush arcs for far less than a step of the rig.
		m.current_A = 0
		m.turn(h, 0, k, brake)
		return 0
	}
	drop := m.p.Brush_V * max(-1, min(1, from/knee_A))
	if math.Abs(from) < knee_A { // as a resistance, so that it does not jump
		r, drop = r+m.p.Brush_V/knee_A, 0
	}
	end := (c.EMF_V - drop - k*m.speed) / r
	tau := m.p.L_H / r
	switch span := h; {
	case c.OneWay && end < 0:
		if from <= 0 {
			m.current_A = 0
			break
		}
		span = min(h, tau*math.Log((from-end)/-end))
		fall := -math.Expm1(-span / tau)
		mean_A = (end*span + (from-end)*tau*fall) / h
		m.current_A = from + (end-from)*fall
		if span < h {
			m.current_A = 0
		}
	default:
		fall := -math.Expm1(-h / tau)
		m.current_A = from + (end-from)*fall
		mean_A = end + (from-end)*tau*fall/h
	}
	if c.Limit_A > 0 {
		m.current_A, mean_A = min(m.current_A, c.Limit_A), min(mean_A, c.Limit_A)
	}
	m.across_V = (r-c.Ohm)*m.current_A + drop + k*m.speed
	m.turn(h, mean_A, k, brake)
	return mean_A
}

// turn advances speed and angle under a mean current.
func (m *Motor) turn(h, current_A, k, brake float64) {
	p := &m.p
	load := p.Coulomb_Nm + p.Load_Nm
	load *= 1 + p.Runout*math.Cos(2*math.Pi*m.turns)
	if m.spot_Nm > 0 {
		d := m.turns - math.Floor(m.turns) - 0.5
		load += m.spot_Nm * math.Exp(-d*d/(2*spot*spot))
	}
	drive := k * current_A
	if m.speed == 0 {
		switch {
		case m.blocked, math.Abs(drive) <= load*(1+p.Stick):
			if math.Abs(drive) < 0.3*load {
				m.free, m.pushed_s = false, 0
			}
			return
		case !m.free:
			if m.pushed_s += h; m.pushed_s < m.stuck_s {
				return
			}
			m.free = true
		}
	}
	slope := func(w float64) float64 {
		return (drive - math.Copysign(load+p.Fan_Nms2*w*w, w) - (p.Viscous_Nms+brake)*w) / p.J_kgm2
	}
	was := m.speed
	if was == 0 {
		was = math.Copysign(1e-9, drive)
	}
	mid := was + slope(was)*h/2
	if mid*was < 0 {
		mid = 0
	}
	next := was + slope(math.Copysign(max(math.Abs(mid), 1e-9), was))*h
	if next*was <= 0 {
		next = 0 // it came to rest; whether it moves on is for the next step
		m.free = math.Abs(drive) > 0.3*load
	}
	m.turns += (m.speed + next) / 2 * h / (2 * math.Pi)
	m.speed = next
}

// jump lets the brushes' contact change, the faster the faster it turns.
func (m *Motor) jump(h float64) {
	if m.speed == 0 {
		return
	}
	rate := math.Abs(m.speed) * m.p.K_Vs / 10 // about one at full speed
	part := -math.Expm1(-h * rate / contact_s)
	m.contact += -m.contact*part + m.p.Chatter*math.Sqrt(part*(2-part))*m.rand.NormFloat64()
	if m.lift_s > 0 {
		m.lift_s -= h
	} else if m.lifts > 0 && m.rand.Float64() < m.lifts*rate*h {
		m.lift_s = lifted_s * m.rand.ExpFloat64()
	}
}

func (m *Motor) warm(h, current_A float64) {
	r := m.p.R_Ohm * (1 + copperPerK*(m.celsius-20))
	m.celsius += h * (current_A*current_A*r - m.p.Cool_WK*(m.celsius-m.p.Ambient_C)) / m.p.Heat_JK
}

// Temperature is that of the housing, where the rig's sensor lies.
func (m *Motor) Temperature() float64 { return m.p.Ambient_C }

// Speed is in rad/s, Turns the angle in turns, Winding the winding's temperature
// in °C.
func (m *Motor) Speed() float64   { return m.speed }
func (m *Motor) Turns() float64   { return m.turns }
func (m *Motor) Winding() float64 { return m.celsius }
