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

// standing is how long a unit has drawn much and not moved.
type standing struct {
	over  held
	below held // the dip within over
	where float64
	known bool // where is
	away  bool // the last reading lay elsewhere: one alone is noise
}

// look takes a sample. A dip of the current shorter than a tenth of the time
// does not start the count again; a motion does. A reading that lies elsewhere
// is a motion when the next one does too.
func (w *standing) look(s Sample, l Limits) *Trip {
	if l.Stall_A == 0 {
		return nil
	}
	if p := s.Position_pct; !math.IsNaN(p) {
		switch far := math.Abs(p-w.where) > l.Still_pct; {
		case !w.known, far && w.away:
			w.where, w.known, w.away = p, true, false
			w.over.on = false
		default:
			w.away = far
		}
	}
	above := s.carried() > l.Stall_A
	w.below.set(!above, s.At)
	if above {
		w.over.set(true, s.At)
	} else if w.over.on && s.At-w.below.since >= l.StallTime/10 {
		w.over.on = false
	}
	if !above || s.At-w.over.since <= l.StallTime {
		return nil
	}
	still := ""
	if w.known {
		still = fmt.Sprintf(" while the unit stood still at %.3g %%", w.where)
	}
	return &Trip{Rule: Stalled, Met: w.over.since + l.StallTime,
		Reason: fmt.Sprintf("The current stayed above %.3g A for %v%s.", l.Stall_A, l.StallTime, still),
		Next:   "With the supply off, look what holds the unit there, an end stop or something caught in it; keep fingers out, as it may jump when it comes free."}
}
