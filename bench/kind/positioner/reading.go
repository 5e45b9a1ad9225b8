package positioner

import (
	"math"

	"dutybench/profiles"
	"dutybench/signal/trace"
)

// usual_V is what a position's voltage is taken to span where nobody says: such
// tracks are usually fed with 5 V (common practice, no source). Good units and
// the unit tested are then read alike, which is what their comparison needs.
const usual_V = 5.0

// reading is where the unit said that it was.
type reading struct {
	place []float64 // per sample of the trace, %; NaN: not read
	// step is the smallest difference that the reading tells, %.
	step float64
	// unscaled says that the voltage is read by usual_V.
	unscaled bool
}

// readPosition takes position_V by the profile's law, where it has one, else
// position_pct as it stands, else the voltage by a usual law. ok is false where
// the trace holds neither.
func readPosition(tr *trace.Trace, p *profiles.Profile) (r reading, ok bool) {
	volt, told := tr.Column(trace.ColPositionV), tr.Column(trace.ColPosition)
	known := p != nil && p.Position.By == profiles.ByVoltage && p.Position.At0 != p.Position.At100
	switch {
	case volt != nil && len(volt.Values) > 0 && (known || told == nil):
		r.place = make([]float64, len(volt.Values))
		nominal := 0.0
		law := profiles.Position{At0: 0, At100: usual_V}
		if known {
			law, nominal = p.Position, p.Supply.Nominal_V
		}
		r.unscaled = !known
		supply := math.NaN()
		plug := tr.Values(trace.ColSupply)
		for i, v := range volt.Values {
			if plug != nil && plug[i] > 1 {
				supply = plug[i]
			}
			r.place[i] = law.Of(v, supply, nominal)
		}
		r.step = math.Abs(100 * volt.Resolution / (law.At100 - law.At0))
	case told != nil && len(told.Values) > 0:
		r.place, r.step = told.Values, told.Resolution
	default:
		return r, false
	}
	if math.IsNaN(r.step) || math.IsInf(r.step, 0) {
		r.step = 0
	}
	return r, true
}
