package motor

import (
	"math"

	"dutybench/bench/kind/weigh"
	"dutybench/profiles"
	"dutybench/signal/matter"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// supplyOhm is what the voltage at the plug falls by for each ampere, over all that
// was sampled of it at rest and running; a start, in which a supply may be at its
// limit, is left out. The samples of the two lie apart by a few at most, so the
// current is the mean of those round it. NaN below six voltages or where the current
// hardly changes.
func (d *detail) supplyOhm(tr *trace.Trace) (q stat.Quantity, open_V float64) {
	t, v, x := tr.Time(), tr.Values(trace.ColSupply), tr.Current()
	q.Value, open_V = math.NaN(), math.NaN()
	var amps, volts []float64
	for _, s := range d.stretches {
		if !s.supply || s.duty_pct > 0.5 && s.duty_pct < 99.5 {
			continue // without supply, or with a current that is not the supply's
		}
		from := s.from
		for _, st := range d.starts {
			if st.from != s.from {
				continue
			}
			for from < s.to && (st.held || t[from]-t[s.from] < 2*st.settle_s) {
				from++
			}
		}
		at, vs := sampled(v, from, s.to)
		for k, i := range at {
			if i < s.from+2 || i+2 >= s.to {
				continue
			}
			amps, volts = append(amps, (x[i-1]+x[i]+x[i+1])/3), append(volts, vs[k])
		}
	}
	if len(amps) < 6 || maxOf(amps)-minOf(amps) < 0.1 {
		return q, open_V
	}
	f, err := stat.Line(amps, volts, nil)
	if err != nil {
		return q, open_V
	}
	return stat.Quantity{Value: -f.Coef[1]}.With("scatter of the voltage", f.U(1), float64(len(amps)-2)), f.Coef[0]
}

// measureSupply reads what the supply gives way by, and whether it was at a limit.
func (d *detail) measureSupply(tr *trace.Trace, p *profiles.Profile, v taken, ohm stat.Quantity) {
	if math.IsNaN(ohm.Value) {
		v.miss("the voltage at the plug was sampled too little, or the current hardly changed", SupplyDrop)
	} else {
		v.add(SupplyDrop, ohm)
	}
	per := ohm.Value
	if math.IsNaN(per) && p != nil { // it never ran: what good units' leads took
		if good := weigh.Values(p, SupplyDrop); len(good) > 0 {
			per = stat.Mean(good)
		}
	}
	if math.IsNaN(per) {
		v.miss("it takes what the leads give way by, which was not measured", SupplyFold)
		return
	}
	volts := tr.Values(trace.ColSupply)
	least, seen, moved := math.Inf(1), false, 0.0
	for _, s := range d.starts {
		at, vs := sampled(volts, s.from, s.to)
		for k, i := range at {
			// What it lacks beside what the leads take of the current there was.
			if x := tr.Current(); vs[k]+max(0, per)*x[i] < least {
				least, seen = vs[k]+max(0, per)*x[i], true
				moved = math.Abs(x[min(i+2, len(x)-1)] - x[max(i-2, 0)])
			}
		}
	}
	if !seen || math.IsNaN(d.plug_V) {
		v.miss("the voltage at the plug was not sampled during a start", SupplyFold)
		return
	}
	v.add(SupplyFold, stat.Quantity{Value: d.plug_V - least}.With("samples of the voltage apart from those of the current", per*moved/math.Sqrt(3), 0).With("resolution", 0.001*d.plug_V, 0))
}

// resistance is the voltage at the plug over the current at the start's peak,
// brushes included, as at 20 °C.
func (d *detail) resistance(tr *trace.Trace, p *profiles.Profile, v taken, ohm stat.Quantity, open_V float64) {
	if len(d.starts) == 0 {
		v.miss("the trace shows no start from rest at full", Resistance)
		return
	}
	peak := v[StartPeak].Q
	var volt, u float64
	switch {
	case !math.IsNaN(ohm.Value) && !math.IsNaN(open_V):
		volt, u = open_V-max(0, ohm.Value)*peak.Value, ohm.U()*peak.Value
	case !math.IsNaN(d.plug_V):
		volt, u = d.plug_V, 0.02*d.plug_V // a bench's leads take some per cent at the peak
	default:
		nominal, ok := tr.Number(trace.KeyNominal)
		if !ok || !(nominal > 0) {
			v.miss("the voltage at the plug was not sampled, and the trace states none", Resistance)
			return
		}
		volt, u = nominal, 0.05*nominal
	}
	if !(peak.Value > 0) || !(volt > 0) {
		v.miss("no current flowed at the start", Resistance)
		return
	}
	q := stat.Quantity{Value: volt / peak.Value}
	q = q.With("current at the peak", q.Value*peak.U()/peak.Value, 0).With("voltage at the peak", u/peak.Value, 0)
	at, off := 20.0, 10.0 // a room, when nobody measured it
	if c := mid(tr.Values(trace.ColTemperature), 0, tr.Len()); !math.IsNaN(c) {
		at, off = c, 1.0
	}
	if ratio, err := matter.CopperRatio(at, 20); err == nil {
		q = q.Scale(ratio.Value).With("temperature", q.Value*math.Hypot(ratio.U(), 0.0039*off), 0)
	}
	v.add(Resistance, q)
}
