package guard

import (
	"fmt"
	"math"
	"time"
)

// burden is the heat that has gathered in a winding, as the square of its
// current over time beyond what it gives off: by R·(I² − Ic²) it warms, with Ic
// the current that holds it at its highest temperature without end. That gives
// off as much from the first moment on as a winding at that temperature does,
// so a cold one, which gives off less, has Heat_A2s to itself for the rise.
type burden struct {
	heat_A2s float64 // never below nought
}

func (b *burden) add(amps float64, step time.Duration, l Limits) {
	if l.Heat_A2s > 0 {
		b.heat_A2s = max(b.heat_A2s+(amps*amps-l.Continuous_A*l.Continuous_A)*step.Seconds(), 0)
	}
}

func (b *burden) trip(at time.Duration, l Limits) *Trip {
	if l.Heat_A2s == 0 || b.heat_A2s <= l.Heat_A2s {
		return nil
	}
	return &Trip{Rule: Heat, Met: at,
		Reason: fmt.Sprintf("The unit carried more than the %.3g A that it bears without end for too long: %.3g A²·s beyond, of %.3g A²·s.", l.Continuous_A, b.heat_A2s, l.Heat_A2s),
		Next:   "Let the unit cool without supply, and measure the resistance at its own pins before any further run: it may be hot."}
}

// standing is how long a unit has drawn much and come no further.
type standing struct {
	over  held
	below held // the dip within over
	place place
}

// look takes a sample. A dip of the current shorter than a tenth of the time
// does not start the count again; new ground that the unit gains and keeps does.
func (w *standing) look(s Sample, l Limits) *Trip {
	if l.Stall_A == 0 {
		return nil
	}
	above := s.carried() > l.Stall_A
	w.below.set(!above, s.At)
	switch {
	case above && !w.over.on:
		w.over.set(true, s.At)
		w.place.anchor()
	case w.over.on && !above && s.At-w.below.since >= l.StallTime/10:
		w.over.on = false
	}
	if since, moved := w.place.gained(s, l); moved && w.over.on {
		w.over.since = max(since, w.over.since)
	}
	if !above || s.At-w.over.since <= l.StallTime {
		return nil
	}
	still := ""
	if w.place.n > 0 {
		still = fmt.Sprintf(" while the unit stood still at %.3g %%", w.place.median())
	}
	return &Trip{Rule: Stalled, Met: w.over.since + l.StallTime,
		Reason: fmt.Sprintf("The current stayed above %.3g A for %v%s.", l.Stall_A, l.StallTime, still),
		Next:   "With the supply off, look what holds the unit there, an end stop or something caught in it; keep fingers out, as it may jump when it comes free."}
}

// place is where a unit has been since it drew much. A feedback that jumps to
// and fro, as a worn track's does, is no way: only ground outside all that was
// held before counts, and only when no reading falls back from it for a tenth of
// the time, with two readings at least. The middle one of three readings stands
// for them, so that one alone is noise.
type place struct {
	read      [3]float64
	n         int // readings so far
	low, high float64
	anchored  bool
	side      int // of the ground under way: above, below, or 0 for none
	from      time.Duration
	count     int
}

func (p *place) median() float64 {
	a, b, c := p.read[0], p.read[1], p.read[2]
	return max(min(a, b), min(max(a, b), c))
}

// anchor makes where the unit is all that it has held so far.
func (p *place) anchor() {
	p.side, p.anchored = 0, p.n > 0
	if p.anchored {
		p.low = p.median()
		p.high = p.low
	}
}

// gained takes a reading, if there is one, and says since when new ground is held.
func (p *place) gained(s Sample, l Limits) (since time.Duration, gained bool) {
	if math.IsNaN(s.Position_pct) || math.IsInf(s.Position_pct, 0) {
		return 0, false
	}
	copy(p.read[:], p.read[1:])
	p.read[len(p.read)-1] = s.Position_pct
	if p.n == 0 {
		p.read = [3]float64{s.Position_pct, s.Position_pct, s.Position_pct}
	}
	p.n++
	if !p.anchored {
		p.anchor()
		return 0, false
	}
	at, side := p.median(), 0
	switch {
	case at > p.high+l.Still_pct:
		side = 1
	case at < p.low-l.Still_pct:
		side = -1
	}
	if side != p.side {
		p.side, p.from, p.count = side, s.At, 0
	}
	if p.count++; side == 0 || p.count < 2 || s.At-p.from < l.StallTime/10 {
		return 0, false
	}
	p.low, p.high, p.side = min(p.low, at), max(p.high, at), 0
	return p.from, true
}
