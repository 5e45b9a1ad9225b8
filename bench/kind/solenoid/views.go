package solenoid

import (
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/bench/kind/weigh"
	"dutybench/bench/result"
	"dutybench/signal/coil"
)

// views are what a bench hand looks at: the current at switching on and off, with
// the plunger's motion marked, and a sweep's inductance over current.
func (d *detail) views(m *kind.Measured, t *weigh.Table) (out []result.View) {
	if v := d.edgeView(m, t, [2]string{PullInTime, Switching}, "switch-on", "Current at switching on", rise, func(p pulse) edge { return p.on }); v != nil {
		out = append(out, *v)
	}
	if v := d.edgeView(m, t, [2]string{DropOutTime, Releasing}, "switch-off", "Current at switching off", fall, func(p pulse) edge { return *p.off }); v != nil {
		out = append(out, *v)
	}
	if v := d.sweepView(); v != nil {
		out = append(out, *v)
	}
	return out
}

// edgeView shows the first edge with motion and the first without; nil where there
// is none of either.
func (d *detail) edgeView(m *kind.Measured, t *weigh.Table, times [2]string, name, title string, of func(p pulse) *coil.Edge, at func(p pulse) edge) *result.View {
	v := &result.View{Name: name, Title: title, X: result.Axis{Label: "time", Unit: "ms"}, Y: result.Axis{Label: "current", Unit: "A"}}
	span := 0.0
	for _, p := range d.pulses {
		if e := of(p); e != nil {
			for _, s := range []float64{6 * e.Tau_s.Value, 1.5 * e.Motion.End_s.Value} {
				if s > span {
					span = s
				}
			}
		}
	}
	shown := map[coil.Found]bool{}
	for i, p := range d.pulses {
		e := of(p)
		if e == nil || shown[e.Motion.Found] {
			continue
		}
		shown[e.Motion.Found] = true
		label := ordinal(i)
		if e.Motion.Found == coil.Still {
			label += ", no motion seen"
		}
		w := at(p)
		line := drawn(m, w, min(span, w.long_s))
		line.Name = label
		v.Lines = append(v.Lines, line)
		if e.Motion.Found != coil.Moved {
			continue
		}
		// The marks are the findings, and none where those are not known.
		for n, label := range []string{"motion begins", "motion ends"} {
			if k := t.Get(times[n]); k.Measured() {
				v.Marks = append(v.Marks, result.ViewMark{X: 1e3 * (e.Onset_s.Value + t.Value(times[n])), Label: label})
			}
		}
	}
	if len(v.Lines) == 0 {
		return nil
	}
	return v
}

// drawn is the current around an edge, at most so many points as a view may have.
func drawn(m *kind.Measured, e edge, span_s float64) (line result.ViewLine) {
	t, x := m.Trace.Time(), m.Trace.Current()
	to := e.at
	for to < e.to && t[to] <= e.at_s+span_s {
		to++
	}
	from := e.at
	for from > e.from && t[from-1] >= e.at_s-span_s/10 {
		from--
	}
	stride := max(1, (to-from+result.MostViewPoints-1)/result.MostViewPoints)
	for i := from; i < to; i += stride {
		line.X, line.Y = append(line.X, math.Round(1e6*(t[i]-e.at_s))/1e3), append(line.Y, x[i])
	}
	return line
}

// sweepView is inductance by ripple over mean current, up and down.
func (d *detail) sweepView() *result.View {
	v := &result.View{Name: "sweep", Title: "Inductance by the ripple, over current", X: result.Axis{Label: "current", Unit: "A"}, Y: result.Axis{Label: "inductance", Unit: "mH"}}
	for _, up := range []bool{true, false} {
		line := result.ViewLine{Name: "rising"}
		if !up {
			line.Name = "falling"
		}
		for _, s := range d.points {
			if s.up == up && !math.IsNaN(s.henry.Value) && len(line.X) < result.MostViewPoints {
				line.X, line.Y = append(line.X, s.amp.Value), append(line.Y, 1e3*s.henry.Value)
			}
		}
		if len(line.X) > 1 {
			if !up { // lines run left to right
				slices.Reverse(line.X)
				slices.Reverse(line.Y)
			}
			v.Lines = append(v.Lines, line)
		}
	}
	if len(v.Lines) == 0 {
		return nil
	}
	return v
}
