package motor

import (
	"fmt"
	"math"

	"dutybench/bench/kind"
	"dutybench/bench/kind/weigh"
	"dutybench/profiles"
	"dutybench/signal/commutator"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// Names of a motor's measurements.
const (
	Quiet       = "quiet_current"
	StartPeak   = "start_peak"
	Resistance  = "start_resistance"
	StartSpread = "start_spread"
	LetGo       = "start_release"
	StartTime   = "start_time"
	Full        = "full_current"
	ShaftSpeed  = "shaft_speed"
	FullSpeed   = "speed_at_nominal"
	EMF         = "emf_constant"
	Ripple      = "ripple"
	Once        = "once_a_turn"
	Twice       = "twice_a_turn"
	Uneven      = "uneven_ripple"
	Missing     = "missing_ripples"
	Unrest      = "unrest"
	DropOuts    = "drop_outs"
	Scatter     = "run_scatter"
	Friction    = "current_exponent"
	SupplyDrop  = "supply_drop"
	SupplyFold  = "supply_fold"
	Starts      = "failed_starts"
)

// units of the measurements, in the order in which a person should read them.
var units = []struct{ name, unit string }{
	{Quiet, "A"}, {Starts, ""}, {StartPeak, "A"}, {Resistance, "ohm"}, {StartSpread, "%"}, {LetGo, "ms"}, {StartTime, "ms"}, {Full, "A"},
	{ShaftSpeed, "rpm"}, {FullSpeed, "rpm"}, {EMF, "V/krpm"}, {Ripple, "A"}, {Once, "A"}, {Twice, "A"}, {Uneven, "%"}, {Missing, ""},
	{Unrest, "A"}, {DropOuts, ""}, {Scatter, "A"}, {Friction, ""}, {SupplyDrop, "ohm"}, {SupplyFold, "V"},
}

// detail is what Assess needs beyond named values.
type detail struct {
	stretches []stretch
	starts    []start
	run       *stretch // the longest at the highest duty
	run_A     float64  // its current
	run_Hz    float64  // its sampling rate
	noise     float64  // of a sample at rest, A
	quiet     float64  // A; NaN
	plug_V    float64  // at the plug with the supply on and no current asked for; NaN
	most_A    float64  // the most it ever drew for a few samples
	turn      *commutator.Turn
	rate      float64
	commanded bool
}

// taken gathers values by name, so that they come out in their order.
type taken map[string]kind.Value

func (v taken) add(name string, q stat.Quantity) { v[name] = kind.Value{Q: q} }
func (v taken) miss(why string, names ...string) {
	for _, n := range names {
		if _, done := v[n]; !done {
			v[n] = kind.Value{Missing: why}
		}
	}
}

// Measure takes from a trace what a motor shows.
func (Kind) Measure(tr *trace.Trace, p *profiles.Profile) (*kind.Measured, error) {
	if tr.Len() == 0 {
		return nil, fmt.Errorf("motor: %s holds no sample: record the test again", tr.Source)
	}
	m := &kind.Measured{Trace: tr}
	d := &detail{stretches: stretches(tr), quiet: math.NaN(), plug_V: math.NaN()}
	m.Detail = d
	v := taken{}
	d.rest(tr, v)
	d.measureStarts(tr, v)
	ohm, open_V := d.supplyOhm(tr)
	d.measureSupply(tr, p, v, ohm)
	d.resistance(tr, p, v, ohm, open_V)
	d.plateaus(tr, p, m, v)
	d.speed(tr, p, m, v)
	d.exponent(m, v)
	for _, u := range units {
		if u.name == Scatter && sectionOf(p).perTurn() > 0 {
			continue
		}
		x, ok := v[u.name]
		if !ok {
			x.Missing = "the trace does not show it"
		}
		x.Name, x.Unit = u.name, u.unit
		m.Values = append(m.Values, x)
	}
	weigh.Gains(tr, m)
	return m, nil
}

// full_pct is the duty from which a motor counts as at full: a bench's switch may
// need a few per cent of a period.
const full_pct = 95.0

// stop is the duty at which a motor that the bench switches stands still.
const stop = 0.0

// rest reads the switch's leakage before the first start.
func (d *detail) rest(tr *trace.Trace, v taken) {
	t, x := tr.Time(), tr.Current()
	for _, s := range d.stretches {
		if s.driven(stop) {
			d.commanded = true
			break
		}
		skip := s.from
		for skip < s.to && t[skip] < t[s.from]+0.05 {
			skip++
		}
		if s.to-skip < 10 {
			continue
		}
		d.noise = stat.SD(x[skip:s.to]) // a robust one is nought where steps are coarse
		if s.supply {
			q := stat.MeanOf(x[skip:s.to])
			if c := tr.Column(trace.ColCurrent); c != nil && c.Resolution > 0 {
				q = q.With("resolution", c.Resolution/math.Sqrt(12), 0)
			}
			d.quiet, d.plug_V = q.Value, mid(tr.Values(trace.ColSupply), skip, s.to)
			v.add(Quiet, q)
		}
	}
	v.miss("the trace has no rest with the supply on before the first start", Quiet)
	w := max(1, min(len(x)/10, 3))
	for i := w - 1; i < len(x); i++ {
		least := x[i]
		for k := 1; k < w; k++ {
			least = min(least, x[i-k])
		}
		d.most_A = max(d.most_A, least)
	}
}

// fromRest says that a driven stretch begins where the unit stood still: nothing
// came before, or a rest in which its current had gone to nought.
func (d *detail) fromRest(tr *trace.Trace, i int) bool {
	if i == 0 {
		return false // it may have been running when the trace began
	}
	b := d.stretches[i-1]
	return !b.driven(stop) && b.seconds(tr.Time()) >= 0.1
}

func (d *detail) measureStarts(tr *trace.Trace, v taken) {
	t := tr.Time()
	names := []string{Starts, StartPeak, StartSpread, LetGo, StartTime}
	for i, s := range d.stretches {
		if s.driven(stop) && s.duty_pct >= full_pct && d.fromRest(tr, i) && s.to-s.from >= 20 && s.seconds(t) >= shortestStart {
			d.starts = append(d.starts, measureStart(tr, s, d.noise))
		}
	}
	if len(d.starts) == 0 {
		v.miss("the trace shows no start from rest at full", names...)
		return
	}
	failed := 0
	var peaks, lets, settles []float64
	u := 0.0
	for _, s := range d.starts {
		if s.held && s.seconds(t) >= wholeStart {
			failed++
		}
		peaks, u = append(peaks, s.peak.Value), max(u, s.peak.U())
		if !math.IsNaN(s.settle_s) && !math.IsNaN(s.let_s) {
			lets, settles = append(lets, 1000*s.let_s), append(settles, 1000*s.settle_s)
		}
	}
	n := float64(len(peaks))
	v.add(Starts, stat.Exact(float64(failed)))
	mean, sd := stat.MeanSD(peaks)
	q := stat.Quantity{Value: mean}.With("sampling of the peak", u, 0)
	if n >= 2 {
		q = q.With("where the rotor stood", sd/math.Sqrt(n), n-1)
		v.add(StartSpread, stat.Quantity{Value: 100 * (maxOf(peaks) - minOf(peaks)) / mean}.With("sampling of the peak", 100*u/mean*math.Sqrt2, 0))
	}
	v.miss("a single start has no spread", StartSpread)
	v.add(StartPeak, q)
	if tr.Rate() < 500 {
		v.miss("starts take hundredths of a second, and the sampling is slower than 500 Hz", LetGo, StartTime)
		return
	}
	if len(settles) == 0 {
		v.miss("no start came to its end: the current stayed up", LetGo, StartTime)
		return
	}
	w := 1000 * max(smooth_s, 2/tr.Rate()) / math.Sqrt(12)
	// The slowest says most: a rotor that sticks does not at every start.
	v.add(LetGo, stat.Quantity{Value: maxOf(lets)}.With("averaging", w, 0))
	v.add(StartTime, stat.Quantity{Value: maxOf(settles)}.With("averaging", w, 0))
}
