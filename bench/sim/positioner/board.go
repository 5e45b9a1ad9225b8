package positioner

import (
	"math"

	"dutybench/bench/sim"
)

type phase int

const (
	unpowered phase = iota
	booting
	standing
	driving
	resting // after an attempt without motion
	latched
)

func (p phase) String() string {
	return [...]string{"unpowered", "booting", "standing", "driving", "resting", "latched"}[p]
}

// tick_s is how often the board looks at its inputs.
const tick_s = 1e-3

// board is the control loop.
type board struct {
	phase    phase
	since_s  float64 // in the phase
	silent_s float64 // since the last valid command
	asked    float64 // place, filtered
	raw      float64 // place, as last heard
	heard    bool    // a valid command was heard since boot
	settled  float64 // the command for which attempts are counted
	tries    int
	still_s  float64 // driven without motion
	stillAt  float64
	sum      float64 // of the integral
	last     float64 // place at the last tick
	u        float64 // drive share
}

// hear is the place that a line asks for; ok is false without a valid command.
func (u *Unit) hear(line sim.Line) (place float64, ok bool) {
	p := &u.params
	if u.defect.deaf || line.State != sim.LinePWM || line.Frequency_Hz < p.MinHz || line.Frequency_Hz > p.MaxHz || line.High_V < p.Threshold_V {
		return 0, false
	}
	d := line.High
	if p.ActiveLow {
		d = 1 - d
	}
	if p.Resolution > 0 {
		d = math.Round(d/p.Resolution) * p.Resolution
	}
	if d < 0.03 || d > 0.97 { // as good as a static level
		return 0, false
	}
	x := (d - p.At0) / (p.At1 - p.At0)
	return min(max(x, -p.Beyond), 1+p.Beyond), true
}

// think is one tick.
func (u *Unit) think(line sim.Line) {
	b, p := &u.board, &u.params
	v := u.net.plug_V
	b.since_s += tick_s
	switch {
	case u.defect.dead || v < p.Off_V && b.phase != unpowered:
		*b = board{}
		return
	case b.phase == unpowered:
		if v > p.On_V {
			b.enter(booting)
		}
		return
	case b.phase == booting:
		if b.since_s >= p.Boot_s {
			u.read()
			b.raw, b.asked, b.settled, b.last = u.place(), u.place(), u.place(), u.place()
			b.enter(standing)
		}
		return
	}
	u.read()
	x := u.place()
	u.listen(line, x)
	b.asked += (b.raw - b.asked) * min(1, tick_s/p.Filter_s)
	if math.Abs(b.asked-b.settled) > 0.003 { // another command: attempts count anew
		b.settled, b.tries = b.asked, 0
		if b.phase == latched || b.phase == resting {
			b.enter(standing)
		}
	}
	if !b.heard && u.defect.deaf {
		b.u = 0
		b.last = x
		return
	}
	e := b.asked - x
	speed := (x - b.last) / tick_s
	b.last = x
	if p.SpringAt0_Nm > 0 {
		u.hold(e, speed)
	} else {
		u.aim(e)
	}
	u.watch(x)
}

// listen takes the command, or what stands for it when there is none.
func (u *Unit) listen(line sim.Line, x float64) {
	b, p := &u.board, &u.params
	if place, ok := u.hear(line); ok {
		b.raw, b.heard, b.silent_s = place, true, 0
		return
	}
	if b.silent_s += tick_s; b.silent_s < p.Missing.After_s || u.defect.deaf {
		return
	}
	does := p.Missing.Open
	switch line.State {
	case sim.LineLow:
		does = p.Missing.Low
	case sim.LineHigh:
		does = p.Missing.High
	}
	switch does {
	case GoesLow:
		b.raw = 0
	case GoesHigh:
		b.raw = 1
	}
}

// aim is the law without a spring.
func (u *Unit) aim(e float64) {
	b, p := &u.board, &u.params
	switch b.phase {
	case standing:
		if math.Abs(e) > p.DeadBand {
			b.enter(driving)
		}
	case driving:
		if math.Abs(e) < p.Inner || b.u != 0 && e*b.u < 0 {
			b.enter(standing)
		}
	}
	if b.u = 0; b.phase == driving {
		b.u = math.Copysign(min(max(p.Gain*math.Abs(e), p.Least), p.Most), e)
	}
}

// hold is the law with a spring.
func (u *Unit) hold(e, speed float64) {
	b, p := &u.board, &u.params
	if b.phase == standing {
		b.enter(driving)
	}
	if b.phase != driving {
		b.u, b.sum = 0, 0
		return
	}
	// The speed term is filtered: a reading's noise over a millisecond is no speed.
	u.slope += (speed - u.slope) * 0.1
	want := p.Gain*e + b.sum - p.Damping*u.slope
	b.u = min(max(want, -p.Most), p.Most)
	if want == b.u {
		b.sum = min(max(b.sum+p.Integral*e*tick_s, -p.Most), p.Most)
	}
}

// watch ends an attempt that does not move.
func (u *Unit) watch(x float64) {
	b, p := &u.board, &u.params
	switch b.phase {
	case driving:
		const motion = 0.004 // of the travel: four times what a reading scatters
		if p.SpringAt0_Nm > 0 && math.Abs(b.asked-x) < 0.02 {
			b.still_s = 0 // it holds
		}
		if b.since_s <= tick_s || math.Abs(x-b.stillAt) > motion {
			b.stillAt, b.still_s = x, 0
		}
		if b.still_s += tick_s; b.still_s < p.Stall_s {
			return
		}
		b.still_s, b.u = 0, 0
		if b.tries++; b.tries > p.Retries {
			b.enter(latched)
			return
		}
		b.enter(resting)
	case resting:
		if b.since_s >= p.Rest_s {
			b.enter(standing)
		}
	}
}

func (b *board) enter(p phase) {
	b.phase, b.since_s, b.still_s = p, 0, 0
}
