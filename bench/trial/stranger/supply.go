package stranger

import "math"

// supply moves the rotor by one tick and returns the supply current; p.v
// becomes the voltage at the unit. r is the resistance up to there, limit
// the supply's current limit.
func (p *player) supply(on bool, t, duty, r, limit float64) float64 {
	m, u, a := &p.u.Model, p.u, p.a
	if !on {
		p.coast()
		p.v -= p.v * tickS / 0.4 // the capacitor and the voltmeter
		return 0
	}
	if m.FoldsBack && p.v < m.NominalV {
		limit *= math.Max(0.3, 0.4+0.6*p.v/m.NominalV)
	}
	if a.dead {
		p.coast()
		return p.node(t, a.leakA, r, limit)
	}

	load := u.quietA
	if t < p.dropEnd {
		load = 0.3 * u.quietA
	}
	switch p.st {
	case booting, latched:
		p.coast()
	case idle:
		p.coast()
		if p.wakeAt > 0 && !(a.blips > 0 && p.blips < a.blips && math.Mod(t, a.blipS) > 0.4*a.blipS) {
			load += u.awakeA
		}
	case resting:
		p.coast()
		load += u.awakeA
	case trying:
		height := 1.0
		if p.left == 0 && a.openPhase == 0 { // it turns, and answers with its own voltage
			x := (t-p.since)/u.timeGain - m.AlignS
			height -= 0.3 * math.Max(0, math.Min(1, x/m.ForcedS))
		}
		load += u.awakeA + u.attemptA*height
	case running:
		if t < p.dropEnd {
			p.coast()
			break
		}
		return p.run(t, duty, r, limit)
	}
	return p.node(t, load, r, limit)
}

// coast lets the water stop the rotor.
func (p *player) coast() {
	p.w -= p.w * tickS / 0.15
}

// node is the supply current for a load that takes its current whatever the
// voltage, beside a short, within the supply's limit.
func (p *player) node(t, load, r, limit float64) float64 {
	m, a := &p.u.Model, p.a
	amps, want := load, m.NominalV-r*load
	if a.shortOhm > 0 {
		want /= 1 + r/a.shortOhm
		amps += want / a.shortOhm
	}
	if amps > limit {
		if a.shortOhm > 0 {
			want = math.Max(0, (limit-load)*a.shortOhm)
		} else { // windings held still are a resistance to the chopper
			want = m.NominalV * (limit / load) * (limit / load)
		}
		amps = limit
	}
	p.v += 0.3 * (want - p.v)
	if p.v < m.ResetV && p.st != booting {
		p.enter(booting, t)
	}
	return amps
}

// run is a tick of a turning rotor under control.
func (p *player) run(t, duty, r, limit float64) float64 {
	m, u, a := &p.u.Model, p.u, p.a
	if duty != p.w0Duty || math.Abs(p.vSlow-p.w0V) > 0.002*p.vSlow || math.Abs(p.warm-p.w0Warm) > 0.02 {
		p.w0 = u.settled(duty, p.vSlow, a, p.warm)
		p.w0Duty, p.w0V, p.w0Warm = duty, p.vSlow, p.warm
		im := u.torque(p.w0, a, 1-a.hydLoss, 1-m.WarmShare*p.warm) / u.k
		p.w0Power = u.power(p.w0, im, u.ohm*(1+m.CopperRise*p.warm))
	}
	slew := m.SlewPerS * u.w0
	if age := t - p.since; age < m.SoftStartS {
		slew *= 0.4
	}
	dw := math.Max(-slew, math.Min(slew, (p.w0-p.w)/m.LagS))

	hyd := (1 - a.hydLoss) * (1 + m.Turbulence*p.unrest)
	if a.bubbles > 0 {
		hyd = math.Max(0, math.Min(1.05, hyd+a.bubbles*p.bubble))
	}
	torque := u.torque(p.w, a, hyd, 1-m.WarmShare*p.warm)
	ohm := u.ohm * (1 + m.CopperRise*p.warm)
	im := math.Max(0, (torque+u.inertia*dw)/u.k)
	if a.openPhase > 0 {
		ohm *= 1 + 1.5*a.openPhase // two phases carry it all
	}

	// What the board, the supply and the bridge allow.
	top := m.PowerLimitShare * m.RatedW
	if a.powerW > 0 {
		top = a.powerW
	}
	im = math.Min(im, u.motorCurrent(p.w, top-(u.quietA+u.awakeA)*p.v, ohm))
	extra := u.quietA + u.awakeA
	if a.shortOhm > 0 {
		extra += p.v / a.shortOhm
	}
	high := m.NominalV - r*limit // the lowest voltage of a supply not yet limiting
	// A board that cannot reach its speed opens its bridge fully and stays in
	// the limit until it is asked for less.
	now, settled := u.power(p.w, im, ohm), math.Min(p.w0Power, top)
	p.starving = now/high+extra > limit || p.starving && settled/high+extra > limit
	amps, want := limit, 0.0
	switch {
	case !p.starving:
		im = math.Min(im, math.Max(0, (modulation*p.v-u.k*p.w)/ohm))
		amps = math.Min(limit, u.power(p.w, im, ohm)/p.v+extra)
		want = m.NominalV - r*amps
	case a.shortOhm > 0:
		im, want = 0, math.Max(0, limit-u.quietA)*a.shortOhm
	default:
		share := modulation
		if m.Regulation == SetsVoltage {
			share *= u.reach(duty)
		}
		im, want = p.starved(limit-extra, share, high, ohm)
	}
	p.v += 0.3 * (want - p.v)
	if p.v < m.ResetV {
		p.enter(booting, t)
	}
	p.vSlow += (m.NominalV - r*amps - p.vSlow) * tickS / 0.03
	dw = math.Min(dw, (u.k*im-torque)/u.inertia)
	if im == 0 {
		dw = math.Max(dw, -slew)
	}
	p.w = math.Max(0, p.w+dw*tickS)
	return amps
}

// starved is the motor current and the voltage at which a bridge that passes
// on a share of the voltage takes amps from a limiting supply.
func (p *player) starved(amps, share, high, ohm float64) (im, v float64) {
	u := p.u
	lo, hi := 0.0, high
	for range 24 {
		v = (lo + hi) / 2
		im = math.Max(0, (share*v-u.k*p.w)/ohm)
		if u.power(p.w, im, ohm) > v*amps {
			hi = v
		} else {
			lo = v
		}
	}
	return im, v
}
