package pump

import (
	"math"

	"dutybench/bench/sim"
)

// Bounds that keep hostile sources finite.
const (
	leastOhm  = 1e-3 // of a source
	mostOhm   = 1e9
	mostVolts = 200.0
)

// feed is a source made safe to compute with.
type feed struct {
	open, ohm, limit, leak float64 // limit 0: none
	short_A, siemens       float64 // open/ohm and 1/ohm
	on                     bool
}

// cross turns the source round.
func (f *feed) cross() { f.open, f.short_A = -f.open, -f.short_A }

// newFeed holds the values of a source within bounds; NaN counts as 0.
func newFeed(s sim.Source) feed {
	f := feed{on: s.On, open: bound(s.Open_V, -mostVolts, mostVolts), ohm: bound(s.Ohm, leastOhm, mostOhm),
		limit: bound(s.Limit_A, 0, 1e6), leak: bound(s.Leak_A, 0, 1)}
	if !f.on {
		f.open = max(f.open, 0)
	}
	f.short_A, f.siemens = f.open/f.ohm, 1/f.ohm
	return f
}

func bound(x, low, high float64) float64 {
	if math.IsNaN(x) {
		x = 0
	}
	return min(max(x, low), high)
}

// load is what hangs on the plug beside the capacitor: a + g·V.
type load struct{ a, g float64 }

// net is the input capacitor between the source and the board.
type net struct {
	farad, esr float64
	cap_V      float64 // across the capacitor, without its series resistance
	plug_V     float64

	d, dt, gone, ease float64 // of the last step with a conductance d, see decay
}

// decay returns what an exponential approach through the conductance d loses
// of its distance within dt, and the mean distance over dt. Most steps are
// like the last one.
func (n *net) decay(d, dt float64) (gone, ease float64) {
	if d == n.d && dt == n.dt {
		return n.gone, n.ease
	}
	x := dt / (n.farad * (n.esr + 1/d))
	gone, ease = -math.Expm1(-x), 1
	if x > 0 {
		ease = gone / x
	}
	n.d, n.dt, n.gone, n.ease = d, dt, gone, ease
	return gone, ease
}

// advance moves the net by dt seconds. It returns the means over dt of the
// source's current and of the plug voltage.
func (n *net) advance(dt float64, f feed, l load) (mean_A, mean_V float64) {
	if !f.on {
		leak := f.leak
		if n.plug_V >= f.open {
			leak = 0
		}
		return n.evolve(dt, leak, 0, l)
	}
	if f.limit == 0 {
		return n.evolve(dt, f.short_A, f.siemens, l)
	}
	if edge, low := n.edge(f, l); !low && f.short_A-l.a >= edge*(f.siemens+l.g) {
		return n.evolve(dt, f.short_A, f.siemens, l) // far from the limit
	}
	var charge, flux float64
	left := dt
	for range 4 { // a monotone current crosses the limit once; the rest is for rounding
		j0, gs, at := f.short_A, f.siemens, left
		edge, low := n.edge(f, l)
		if low {
			j0, gs = f.limit, 0
		}
		if low || (j0-l.a) < edge*(gs+l.g) { // it heads for the edge
			at = min(n.untilCap(edge, j0, gs, l), left)
		}
		i, v := n.evolve(at, j0, gs, l)
		charge, flux = charge+i*at, flux+v*at
		if left -= at; left <= 0 {
			break
		}
		n.cap_V = edge
	}
	return charge / (dt - left), flux / (dt - left)
}

// edge is the capacitor's voltage at which a limited source just reaches its
// limit, and whether the source is at its limit now.
func (n *net) edge(f feed, l load) (edge_V float64, limited bool) {
	plug := f.open - f.limit*f.ohm
	spare := f.limit - l.a - l.g*plug // what the limit leaves for the capacitor
	edge_V = plug - n.esr*spare
	return edge_V, n.cap_V < edge_V || (n.cap_V == edge_V && spare < 0)
}

// untilCap is the time until the capacitor reaches the voltage; infinite when
// it never does.
func (n *net) untilCap(target, j0, gs float64, l load) float64 {
	d := gs + l.g
	if d < 1e-9 {
		if t := (target - n.cap_V) * n.farad / (j0 - l.a); t > 0 {
			return t
		}
		return math.Inf(1)
	}
	end := (j0 - l.a) / d
	ratio := (end - n.cap_V) / (end - target)
	if !(ratio > 1) {
		return math.Inf(1)
	}
	return n.farad * (n.esr + 1/d) * math.Log(ratio)
}

// evolve solves the linear net for a source of j0 - gs·V over dt.
func (n *net) evolve(dt, j0, gs float64, l load) (mean_A, mean_V float64) {
	before := n.cap_V
	d, in := gs+l.g, j0-l.a
	var mean float64 // of the capacitor's voltage
	if d < 1e-9 {
		n.cap_V += in / n.farad * dt
		mean = (before + n.cap_V) / 2
	} else {
		end := in / d
		gone, ease := n.decay(d, dt)
		n.cap_V += (end - before) * gone
		mean = end + (before-end)*ease
	}
	if n.cap_V < 0 { // the bridge's diodes hold it
		n.cap_V = 0
		if mean < 0 {
			mean = 0
		}
	}
	inner := 1 / n.esr
	sum := 1 / (gs + l.g + inner)
	if n.plug_V = (in + n.cap_V*inner) * sum; n.plug_V < 0 {
		n.plug_V = 0
	}
	if mean_V = (in + mean*inner) * sum; mean_V < 0 {
		mean_V = 0
	}
	return j0 - gs*mean_V, mean_V
}

// Two diodes in series make one path through the bridge backwards.
const (
	diodes_V   = 1.5  // two drops; chosen
	diodes_Ohm = 0.03 // chosen
)

// reverse is the current and the plug voltage with the source the wrong way
// round: the bridge's diodes conduct. Both are magnitudes.
func reverse(f feed, ohm float64) (current_A, plug_V float64) {
	over := -f.open - diodes_V
	if over <= 0 {
		return 0, -f.open
	}
	i := over / (f.ohm + ohm)
	if f.limit > 0 {
		i = min(i, f.limit)
	}
	return i, diodes_V + i*ohm
}
