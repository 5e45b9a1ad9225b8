package pump

import "dutybench/bench/sim"

// phase is what the board is doing.
type phase int

const (
	unpowered phase = iota
	boot
	asleep
	idle
	waking
	napping // a late starter fell asleep again
	align
	ramp
	verify
	closed
	coast // a drop-out
	rest
	latched
)

func (s phase) String() string {
	return [...]string{"unpowered", "boot", "asleep", "idle", "waking", "napping", "align", "ramp",
		"verify", "closed loop", "coast", "rest", "latched"}[s]
}

// forced says whether the board drives the rotor without watching it.
func (s phase) forced() bool { return s == align || s == ramp || s == verify }

// Chosen times of all boards, in seconds.
const (
	forgive_s = 2.0  // so long in closed loop clears the count of attempts
	reset_s   = 5.0  // so long without a wish to run clears a latch
	nap_s     = 0.02 // of a late starter between two wake-ups
)

// felt is how the board sees the line.
type felt int

const (
	feltDuty felt = iota
	feltOpen
	feltLow
	feltHigh
	feltWrong // frequency
)

// feel classifies the line; duty is the line duty as the board counts it.
func (c *Params) feel(line sim.Line) (what felt, duty float64) {
	seen := line.High_V >= c.Threshold_V
	switch line.State {
	case sim.LineReleased:
		return feltOpen, 0
	case sim.LineHigh:
		if seen {
			return feltHigh, 0
		}
		return feltLow, 0
	case sim.LinePWM:
		switch {
		case !(line.High > 0) || !seen:
			return feltLow, 0
		case line.High >= 1:
			return feltHigh, 0
		case !(line.Frequency_Hz >= c.MinHz && line.Frequency_Hz <= c.MaxHz):
			return feltWrong, 0
		case c.ActiveLow:
			return feltDuty, 1 - line.High
		}
		return feltDuty, line.High
	}
	return feltLow, 0
}

// behaviour without a command, for the way in which it is missing.
func (m Missing) behaviour(what felt) Behaviour {
	switch what {
	case feltOpen:
		return m.Open
	case feltLow:
		return m.Low
	case feltHigh:
		return m.High
	}
	return m.Frequency
}

// listen updates the board's wish to run from the line.
func (p *Pump) listen(dt float64, line sim.Line) {
	if line != p.line {
		p.line = line
		p.what, p.duty = p.params.feel(line)
		p.heard = false
	}
	switch {
	case p.defect.deafFull:
		p.run, p.share, p.silent_s = true, 1, 0
		return
	case p.defect.deafOff:
		p.run, p.silent_s = false, p.silent_s+dt
		return
	}
	if p.heard {
		return // the same command again
	}
	what := p.what
	if what == feltDuty {
		share, run, valid := p.params.Law.Command(p.duty, p.run)
		if valid {
			p.heard = run == p.run
			p.run, p.share, p.silent_s = run, share, 0
			return
		}
		what = feltWrong
	}
	p.silent_s += dt
	if p.silent_s >= p.params.Missing.After_s {
		p.run, p.share = p.params.Missing.behaviour(what) == RunsFull, 1
	}
}

// enter changes what the board is doing.
func (p *Pump) enter(s phase) {
	p.phase, p.since_s = s, 0
	switch s {
	case align:
		p.attempt++
		p.slipped = false
	case rest:
		if p.defect.loosens {
			p.stuck_Nm *= loosening
		}
	}
}

// think is the board's program for one step.
func (p *Pump) think(dt float64, line sim.Line) {
	c := &p.params
	if p.phase == unpowered {
		if p.net.plug_V < c.On_V || p.defect.dead {
			return
		}
		p.attempt, p.run, p.silent_s, p.wakeUps, p.heard = 0, false, 0, 0, false
		p.enter(boot)
	}
	if p.net.plug_V < c.Off_V {
		p.enter(unpowered)
		return
	}
	p.since_s += dt
	p.listen(dt, line)
	if p.phase > waking && p.phase != latched && !p.run {
		p.attempt, p.wakeUps = 0, 0
		p.enter(idle)
	}
	switch p.phase {
	case boot:
		if p.since_s >= c.Boot_s {
			p.enter(idle)
		}
	case asleep:
		switch {
		case p.run:
			p.enter(waking)
		case p.silent_s == 0:
			p.enter(idle)
		}
	case idle:
		switch {
		case p.run:
			p.enter(waking)
		case c.SleepAfter_s > 0 && p.silent_s > c.SleepAfter_s:
			p.enter(asleep)
		}
	case waking:
		switch {
		case !p.run:
			p.wakeUps = 0
			p.enter(idle)
		case p.since_s < c.Wake_s || p.defect.noStart:
		case p.wakeUps < p.defect.wakeUps:
			p.wakeUps++
			p.enter(napping)
		default:
			p.enter(align)
		}
	case napping:
		if p.since_s >= nap_s {
			p.enter(waking)
		}
	case align:
		if p.since_s >= c.Align_s {
			p.enter(ramp)
		}
	case ramp:
		if p.since_s >= c.Ramp_s {
			p.enter(verify)
		}
	case verify:
		if p.since_s >= c.Verify_s {
			p.judge()
		}
	case closed:
		p.watch(dt)
	case coast:
		if p.since_s >= p.drop_s {
			p.resume()
		}
	case rest:
		if p.since_s >= c.Rest_s {
			p.enter(align)
		}
	case latched:
		if p.run {
			p.calm_s = 0
		} else if p.calm_s += dt; p.calm_s >= reset_s {
			p.attempt = 0
			p.enter(idle)
		}
	}
}

// judge ends an attempt: a rotor that follows goes to closed loop.
func (p *Pump) judge() {
	if !p.slipped {
		p.low_s = 0
		p.regulator.engage(p, p.speed)
		p.enter(closed)
		return
	}
	p.failed()
}

// failed goes to the rest before the next attempt, or latches off.
func (p *Pump) failed() {
	if p.attempt >= p.params.Attempts {
		p.calm_s = 0
		p.enter(latched)
		return
	}
	p.enter(rest)
}

// watch is closed loop's supervision: stall, over-voltage, drop-outs.
func (p *Pump) watch(dt float64) {
	c := &p.params
	if p.since_s > forgive_s {
		p.attempt = 0
	}
	if p.net.plug_V > c.Over_V {
		p.drop_s = 0.5
		p.enter(coast)
		return
	}
	if p.speed >= 0.4*c.HandOver_rad_s {
		p.low_s = 0
	} else if p.low_s += dt; p.low_s >= c.Stall_s {
		p.failed()
		return
	}
	if p.defect.dropEvery_s > 0 {
		if p.nextDrop_s -= dt; p.nextDrop_s <= 0 {
			p.nextDrop_s = p.drawDrop()
			p.drop_s = dropLength_s * (0.5 + p.rng.Float64())
			p.enter(coast)
		}
	}
}

// resume takes a coasting rotor over again, or starts anew.
func (p *Pump) resume() {
	switch {
	case p.net.plug_V > p.params.Over_V:
		p.since_s = 0
	case p.speed >= 0.4*p.params.HandOver_rad_s:
		p.low_s = 0
		p.regulator.engage(p, p.speed)
		p.enter(closed)
	default:
		p.enter(align)
	}
}
