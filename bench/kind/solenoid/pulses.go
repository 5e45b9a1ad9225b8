package solenoid

import (
	"errors"
	"fmt"
	"math"

	"dutybench/bench/kind"
	"dutybench/signal/coil"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// pulse is one time that the coil was switched on, and off again.
type pulse struct {
	on  edge
	off *edge      // nil: the trace ends before
	e   *coil.Edge // of switching on, of all pulses like this; nil: none could be read
	f   *coil.Edge // of switching off, likewise
	err error      // why there is no e
	// The settled part: its samples, current, voltage (not sampled: a nominal
	// one), and their quotient.
	from, to        int
	amp, volt, ohms stat.Quantity
}

// settledShare is the last part of a pulse, over which resistance is read, and
// shortest_s how long a pulse has to be for that.
const (
	settledShare = 0.5
	shortest_s   = 0.03
	// nominalU is how far a supply that nobody sampled may lie from what was asked
	// for, relative and standard (chosen: a bench supply's knob).
	nominalU = 0.02
)

// findPulses reads every edge of the trace.
func (d *detail) findPulses(tr *trace.Trace, cuts []stretch) {
	list := edges(tr, cuts)
	for i, e := range list {
		if !e.on {
			continue
		}
		p := pulse{on: e}
		if i+1 < len(list) && !list[i+1].on && list[i+1].at == e.to {
			p.off = &list[i+1]
		}
		d.read(tr, &p)
		d.pulses = append(d.pulses, p)
	}
	d.readEdges(tr)
}

func (d *detail) read(tr *trace.Trace, p *pulse) {
	t, x := tr.Time(), tr.Current()
	d.on_s += p.on.long_s
	p.from = p.on.at
	for p.from < p.on.to && t[p.from] < p.on.at_s+(1-settledShare)*p.on.long_s {
		p.from++
	}
	p.to = p.on.to
	p.amp, p.volt, p.ohms = none, none, none
	if p.on.long_s >= shortest_s && p.to-p.from >= 8 {
		p.amp = stat.MeanOver(t[p.from:p.to], x[p.from:p.to]).With("resolution", resolution(tr)/math.Sqrt(12), 0)
		d.flowed_A = max(d.flowed_A, p.amp.Value)
		p.volt = voltage(tr, p.from, p.to)
		if i := p.amp.Value; i > 6*d.noise_A && i > 0 {
			p.ohms = stat.Quantity{Value: p.volt.Value / i}.With("current", p.volt.Value/(i*i)*p.amp.U(), p.amp.DoF())
			p.ohms = p.ohms.With("voltage", p.volt.U()/i, 0)
		}
	}
}

// readEdges reads the pulses' edges: those whose currents do not differ beyond
// noise as one, averaged, since their plungers did the same. Five pulses that
// repeat so have less than half the noise.
func (d *detail) readEdges(tr *trace.Trace) {
	var ons, offs []int
	for i, p := range d.pulses {
		ons = append(ons, i)
		if p.off != nil && recirculates(tr, *p.off) {
			offs = append(offs, i)
		}
	}
	d.readAlike(tr, ons, coil.Rise, func(p *pulse) edge { return p.on }, func(p *pulse, e *coil.Edge, err error) { p.e, p.err = e, err })
	d.readAlike(tr, offs, coil.Fall, func(p *pulse) edge { return *p.off }, func(p *pulse, e *coil.Edge, _ error) { p.f = e })
}

func (d *detail) readAlike(tr *trace.Trace, which []int, read func(coil.Samples, coil.Known) (*coil.Edge, error), of func(p *pulse) edge, put func(p *pulse, e *coil.Edge, err error)) {
	var list []coil.Samples
	var at []float64
	for _, i := range which {
		e := of(&d.pulses[i])
		list, at = append(list, samples(tr, e.from, e.to)), append(at, e.at_s)
	}
	for _, group := range coil.Alike(list, at) {
		var same []coil.Samples
		var when []float64
		for _, k := range group {
			same, when = append(same, list[k]), append(when, at[k])
		}
		known := coil.Known{Switched: true, Resolution_A: resolution(tr) / float64(len(group))}
		if r := d.pulses[which[group[len(group)/2]]].ohms; !math.IsNaN(r.Value) {
			known.Resistance_ohm = r
		}
		if top, ok := tr.Number("x-current-range-A"); ok {
			known.Ceiling_A = top
		}
		e, err := read(coil.Average(same, when), known)
		for _, k := range group {
			put(&d.pulses[which[k]], e, err)
		}
	}
}

var none = stat.Quantity{Value: math.NaN()}

func samples(tr *trace.Trace, from, to int) coil.Samples {
	s := coil.Samples{Time_s: tr.Time()[from:to], Current_A: tr.Current()[from:to]}
	if v := tr.Values(trace.ColSupply); v != nil {
		s.Supply_V = v[from:to]
	}
	return s
}

func resolution(tr *trace.Trace) float64 {
	if c := tr.Column(trace.ColCurrent); c != nil {
		return c.Resolution
	}
	return 0
}

// voltage at the plug over samples; the nominal one where it was not sampled.
func voltage(tr *trace.Trace, from, to int) stat.Quantity {
	var seen []float64
	if v := tr.Values(trace.ColSupply); v != nil {
		for _, u := range v[from:to] {
			if !math.IsNaN(u) {
				seen = append(seen, u)
			}
		}
	}
	if len(seen) >= 2 {
		q := stat.MeanOf(seen)
		if c := tr.Column(trace.ColSupply); c != nil {
			// A steady voltage stands on one step: its place within it is not known.
			q = q.With("resolution", c.Resolution/math.Sqrt(12), 0)
		}
		return q
	}
	if v, ok := tr.Number(trace.KeyNominal); ok && v > 0 {
		return stat.Exact(v).With("supply not sampled: the nominal one", nominalU*v, 0)
	}
	return none
}

// recirculates says that the current of the free-wheel path is in the readings: by
// what the bench states, else by current that goes on after the switch opened.
func recirculates(tr *trace.Trace, off edge) bool {
	switch seen, _ := tr.Get(trace.KeyRecirculation); seen {
	case trace.RecirculationSeen:
		return true
	case trace.RecirculationUnseen:
		return false
	}
	x := tr.Current()
	return off.at > 1 && off.at+2 < off.to && x[off.at+2] > 0.2*x[off.at-2]
}

// measureCoil reads resistance and inductances.
func (d *detail) measureCoil(m *kind.Measured) {
	why := d.noCurrent()
	var ohms []float64
	first := none
	for _, p := range d.pulses {
		if !math.IsNaN(p.ohms.Value) {
			if len(ohms) == 0 {
				first = p.ohms
			}
			ohms = append(ohms, p.ohms.Value)
		}
	}
	if len(ohms) == 0 {
		for _, n := range []string{Resistance, Resistance20} {
			miss(m, n, "ohm", why)
		}
		miss(m, Warming, "%", why)
	} else {
		add(m, Resistance, "ohm", first)
		if q, err := to20(first, m.Get(Temperature).Q); err != nil {
			miss(m, Resistance20, "ohm", err.Error())
		} else {
			add(m, Resistance20, "ohm", q)
		}
		if n := len(ohms); n >= 2 {
			last := d.lastOhms()
			add(m, Warming, "%", stat.Quantity{Value: 100 * (last.Value/first.Value - 1)}.
				With("first and last pulse", 100*math.Hypot(first.U(), last.U())/first.Value, 0))
		} else {
			miss(m, Warming, "%", "the trace holds one pulse only")
		}
		p := d.settledPulse()
		t := m.Trace.Time()
		m.Curve = append(m.Curve, kind.Point{Duty_pct: 100, Up: true, Current: p.amp, Supply_V: p.volt.Value, Start_s: t[p.from], End_s: t[p.to-1]})
	}
	d.perPulse(m, InductanceOut, "H", rise, func(p pulse) (stat.Quantity, string) {
		if p.e == nil {
			return none, d.noEdge(p)
		}
		return p.e.Inductance_H, "the rise of the current does not show it"
	})
	d.perPulse(m, InductanceIn, "H", rise, func(p pulse) (stat.Quantity, string) {
		switch {
		case p.e == nil:
			return none, d.noEdge(p)
		case p.e.Motion.Found != coil.Moved:
			return none, "the plunger was not seen to go in"
		}
		return p.e.InductanceAfter_H, "the rise of the current does not show it"
	})
}

// settledPulse is the first whose settled part could be read; lastOhms is of the
// last one.
func (d *detail) settledPulse() pulse {
	for _, p := range d.pulses {
		if !math.IsNaN(p.ohms.Value) {
			return p
		}
	}
	return pulse{}
}

func (d *detail) lastOhms() (q stat.Quantity) {
	for _, p := range d.pulses {
		if !math.IsNaN(p.ohms.Value) {
			q = p.ohms
		}
	}
	return q
}

// noCurrent is why nothing of the coil could be measured.
func (d *detail) noCurrent() string {
	switch {
	case len(d.pulses) == 0:
		return "the trace does not show the coil being switched on to the whole supply"
	case !(d.flowed_A > 6*d.noise_A):
		return "no current flowed"
	}
	return "no pulse was long enough for the current to settle"
}

func (d *detail) noEdge(p pulse) string {
	if p.err == nil || errors.Is(p.err, coil.ErrNoEdge) {
		return d.noCurrent()
	}
	return fmt.Sprint(p.err)
}
