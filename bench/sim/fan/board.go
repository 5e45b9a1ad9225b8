package fan

import "dutybench/bench/sim"

// phase is what the board is doing.
type phase int

const (
	unpowered phase = iota
	boot
	idle
	waking
	align
	ramp
	verify
	closed
	rest
	latched
)

func (s phase) String() string {
	return [...]string{"unpowered", "boot", "idle", "waking", "align", "ramp", "verify", "closed loop", "rest", "latched"}[s]
}

// forced says whether the board drives the rotor without watching it.
func (s phase) forced() bool { return s == align || s == ramp || s == verify }

const (
	threshold_V = 2.5 // of the line's high level; chosen
	stalled     = 0.4 // of the hand-over speed, below which a run has ended; chosen
)

// hears is the line as the board sees it: the share of the way to full, whether
// to run, and whether there is a command at all; if not, whether it runs at full
// without.
func (p *Params) hears(line sim.Line, running bool) (share float64, run, valid, full bool) {
	high := line.High_V >= threshold_V
	switch {
	case line.State == sim.LineReleased:
		return 0, false, false, p.Missing.Open
	case line.State == sim.LineHigh && high, line.State == sim.LinePWM && high && line.High >= 1:
		return 0, false, false, p.Missing.High
	case line.State != sim.LinePWM || !high || !(line.High > 0):
		return 0, false, false, p.Missing.Low
	}
	d := line.High
	if p.Inverted {
		d = 1 - d
	}
	switch {
	case !(line.Frequency_Hz >= p.MinHz && line.Frequency_Hz <= p.MaxHz), d < p.Low, d > p.High:
		return 0, false, false, p.Missing.Wrong
	case d <= p.Stop, d <= p.Start && !running:
		return 0, false, true, false
	}
	return min(max((d-p.From)/(p.To-p.From), 0), 1), true, true, false
}

// listen updates the board's wish to run.
func (f *Fan) listen(dt float64, line sim.Line) {
	if f.defect.deafFull || f.defect.deafOff {
		f.run, f.share = f.defect.deafFull, 1
		return
	}
	share, run, valid, full := f.params.hears(line, f.run)
	if valid {
		f.run, f.share, f.silent_s = run, share, 0
		return
	}
	if f.silent_s += dt; f.silent_s >= f.params.Missing.After_s {
		f.run, f.share = full, 1
	}
}

func (f *Fan) enter(s phase) {
	f.phase, f.since_s = s, 0
	if s == align {
		f.attempt++
		f.slipped = false
	}
}

// think is the board's program for one step.
func (f *Fan) think(dt float64, line sim.Line) {
	p := &f.params
	if f.plug_V < p.Off_V || f.defect.dead {
		f.enter(unpowered)
	}
	if f.phase == unpowered {
		if f.plug_V < p.On_V || f.defect.dead {
			return
		}
		f.attempt, f.run, f.silent_s = 0, false, 0
		f.enter(boot)
	}
	f.since_s += dt
	if f.phase == boot {
		if f.since_s >= p.Boot_s {
			f.enter(idle)
		}
		return
	}
	f.listen(dt, line)
	if !f.run {
		f.attempt = 0
		f.enter(idle)
		return
	}
	next := func(after_s float64, to phase) {
		if f.since_s >= after_s {
			f.enter(to)
		}
	}
	switch f.phase {
	case idle:
		f.enter(waking)
	case waking:
		if !f.defect.noStart {
			next(p.Wake_s, align)
		}
	case align:
		next(p.Align_s, ramp)
	case ramp:
		next(p.Ramp_s, verify)
	case verify:
		if f.since_s >= p.Verify_s {
			f.judge()
		}
	case closed:
		if f.speed < stalled*p.HandOver_rad_s {
			f.failed()
		}
	case rest:
		next(p.Rest_s, align)
	}
}

// judge ends an attempt: a rotor that follows goes to closed loop.
func (f *Fan) judge() {
	if f.slipped {
		f.failed()
		return
	}
	p := &f.params
	f.goal, f.integral = f.speed, p.Start_A/3
	if p.ByVoltage {
		f.goal = (p.K_Vs*f.speed + p.Winding_Ohm*p.Start_A/3) / max(f.plug_V, 1)
	}
	f.enter(closed)
}

// failed goes to the rest before the next attempt, or latches off.
func (f *Fan) failed() {
	if f.attempt >= f.params.Attempts {
		f.enter(latched)
		return
	}
	f.enter(rest)
}
