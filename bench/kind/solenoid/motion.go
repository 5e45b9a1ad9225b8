package solenoid

import (
	"fmt"
	"math"

	"dutybench/bench/kind"
	"dutybench/signal/coil"
	"dutybench/signal/stat"
	"dutybench/signal/step"
	"dutybench/signal/trace"
)

// gaveWay is why motion is not read from a current that the supply held.
const gaveWay = "the supply gave way during the pulse, so the current's course is the supply's"

// strokes counts pulses with, without and of unknown motion.
func strokes(list []pulse, of func(p pulse) *coil.Edge) (moved, still, unsure int, why string) {
	for _, p := range list {
		e := of(p)
		switch {
		case e == nil:
			unsure++
		case e.Motion.Found == coil.Moved:
			moved++
		case e.Motion.Found == coil.Still:
			still++
		default:
			unsure++
			why = e.Motion.Why
		}
	}
	return moved, still, unsure, why
}

func rise(p pulse) *coil.Edge { return p.e }
func fall(p pulse) *coil.Edge { return p.f }

// measureMotion reads what the plunger did when the coil was switched on.
func (d *detail) measureMotion(m *kind.Measured) {
	_, still, unsure, why := strokes(d.pulses, rise)
	switch {
	case len(d.pulses) == unsure:
		if why == "" {
			why = d.noCurrent()
			if len(d.pulses) > 0 && d.flowed_A > 6*d.noise_A {
				why = d.noEdge(d.pulses[0])
			}
		}
		miss(m, Missed, "", why)
	case d.folded:
		miss(m, Missed, "", gaveWay)
	default:
		add(m, Missed, "", stat.Exact(float64(still)))
	}
	in := func(get func(e *coil.Edge) stat.Quantity) func(p pulse) (stat.Quantity, string) {
		return func(p pulse) (stat.Quantity, string) {
			switch {
			case d.folded:
				return none, gaveWay
			case p.e == nil:
				return none, d.noEdge(p)
			case p.e.Motion.Found == coil.NotMeasured:
				return none, p.e.Motion.Why
			case p.e.Motion.Found == coil.Still:
				return none, "the plunger was not seen to go in"
			}
			return get(p.e), "the fit does not tell"
		}
	}
	d.perPulse(m, PullInA, "A", rise, in(func(e *coil.Edge) stat.Quantity { return e.Motion.Begin_A }))
	d.perPulse(m, PullInTime, "s", rise, in(func(e *coil.Edge) stat.Quantity { return e.Motion.Begin_s }))
	d.perPulse(m, Stroke, "s", rise, in(length))
	d.perPulse(m, Switching, "s", rise, in(func(e *coil.Edge) stat.Quantity { return e.Motion.End_s }))
	d.perPulse(m, Dip, "%", rise, in(func(e *coil.Edge) stat.Quantity { return e.Motion.Depth_A.Scale(100 / e.Final_A.Value) }))
	d.scatter(m)
}

// length is from begin to end of a motion.
func length(e *coil.Edge) stat.Quantity {
	b, n := e.Motion.Begin_s, e.Motion.End_s
	return stat.Quantity{Value: n.Value - b.Value}.With("end of motion", n.U(), n.DoF()).With("begin of motion", b.U(), b.DoF())
}

// eddies is the first share of a return in which eddy currents of the iron, which
// decay then, look like a motion that begins: no begin is taken from there (chosen;
// a smaller one takes begins that are none, a larger one those of quick returns).
const eddies = 0.3

// beyondDoubt is how often the needed evidence a return wants to have: what hardly
// stands out of noise may be an eddy that dies out (chosen, as coil takes it).
const beyondDoubt = 2

// measureReturn reads what the plunger did when the coil was switched off.
func (d *detail) measureReturn(m *kind.Measured) {
	why := "the current that recirculates is not in the readings, or no pulse was seen to its end"
	if !(d.flowed_A > 6*d.noise_A) {
		why = d.noCurrent()
	}
	out := func(get func(e *coil.Edge) stat.Quantity) func(p pulse) (stat.Quantity, string) {
		return func(p pulse) (stat.Quantity, string) {
			switch {
			case p.f == nil:
				return none, why
			case p.f.Motion.Found == coil.NotMeasured:
				return none, p.f.Motion.Why
			case p.f.Motion.Found == coil.Still:
				return none, "the plunger was not seen to return while current flowed"
			}
			return get(p.f), "its begin does not stand out of the decay of eddy currents"
		}
	}
	plain := func(get func(e *coil.Edge) stat.Quantity) func(e *coil.Edge) stat.Quantity {
		return func(e *coil.Edge) stat.Quantity {
			if b := e.Motion.Begin_s; !(b.Value > eddies*e.Motion.End_s.Value && b.U() < vague*b.Value) {
				return none
			}
			return get(e)
		}
	}
	d.perPulse(m, DropOutA, "A", fall, out(plain(func(e *coil.Edge) stat.Quantity { return e.Motion.Begin_A })))
	d.perPulse(m, DropOutTime, "s", fall, out(plain(func(e *coil.Edge) stat.Quantity { return e.Motion.Begin_s })))
	d.perPulse(m, Return, "s", fall, out(plain(length)))
	d.perPulse(m, Releasing, "s", fall, out(func(e *coil.Edge) stat.Quantity {
		if e.Motion.Evidence < beyondDoubt*e.Motion.Needed {
			return none
		}
		return e.Motion.End_s
	}))
}

// measureLeakage is the current with the supply on and the switch open, before the
// first pulse, where nothing recirculates.
func measureLeakage(tr *trace.Trace, cuts []stretch, m *kind.Measured) {
	on := step.SupplyOf(tr)
	t, x := tr.Time(), tr.Current()
	for _, c := range cuts {
		if c.how != open {
			break
		}
		from := c.from
		for from < c.to && !on.On(from) {
			from++
		}
		start := from
		for from < c.to && t[from] < t[start]+0.05 { // wires charge
			from++
		}
		if c.to-from >= 10 {
			add(m, Leakage, "A", stat.MeanOver(t[from:c.to], x[from:c.to]).With("resolution", resolution(tr)/math.Sqrt(12), 0))
			return
		}
	}
	miss(m, Leakage, "A", "the trace has no rest with the supply on before the coil is switched")
}

// ordinal names a pulse.
func ordinal(i int) string { return fmt.Sprintf("pulse %d", i+1) }
