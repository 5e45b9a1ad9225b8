package motor

import (
	"fmt"
	"math"
	"strings"

	"dutybench/bench/kind"
	"dutybench/bench/kind/weigh"
	"dutybench/profiles"
	"dutybench/signal/commutator"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

const (
	// beyond is by what a unit may pass the speed that its type states without load:
	// a third of the flux lost makes it half as fast again (chosen; only where
	// sampling is slow does a wider bound refuse more).
	beyond = 1.5
	// within is how far off, as a ratio, the back-EMF's speed may be: a type's
	// tolerance, a magnet's weakness and an unknown resistance together (chosen).
	within = 1.6
	// clockU of a sampling clock, relative: crystals keep a ten-thousandth.
	clockU = 1e-4
	// gone is how weak a ripple counts as missing, beside the median one.
	gone = 0.4
)

// speed reads ripple, speed and one turn from the longest run at full.
func (d *detail) speed(tr *trace.Trace, p *profiles.Profile, m *kind.Measured, v taken) {
	byRipple := []string{ShaftSpeed, FullSpeed, EMF, Ripple, Once, Twice, Uneven, Missing, Unrest}
	defer v.miss("without a speed there is no turn to average", byRipple...)
	if d.run == nil {
		v.miss("the trace does not run it for long enough", append(byRipple, DropOuts, Scatter)...)
		return
	}
	t, x := tr.Time(), tr.Current()
	d.run_Hz = rate(t, *d.run)
	d.dropOuts(x[d.run.from:d.run.to], v)
	d.scatter(t[d.run.from:d.run.to], x[d.run.from:d.run.to], p, v)
	perTurn := sectionOf(p).perTurn()
	if perTurn == 0 {
		v.miss("the profile does not state brushes and segments", byRipple...)
		return
	}
	if averaged(tr) {
		v.miss("the samples are means over more than a ripple", byRipple...)
		return
	}
	grid, rate, err := commutator.Grid(t[d.run.from:d.run.to], x[d.run.from:d.run.to])
	if err != nil {
		v.miss(trimmed(err), byRipple...)
		return
	}
	d.rate = rate
	plug := mid(tr.Values(trace.ColSupply), d.run.from, d.run.to)
	known := !math.IsNaN(plug)
	if !known {
		if n, ok := tr.Number(trace.KeyNominal); ok && n > 0 {
			plug = n
		} else if p != nil {
			plug = p.Supply.Nominal_V
		}
	}
	// Under PWM the mean voltage is the duty's share of the supply, and while the
	// switch is open that of a diode against it (0.7 V, common practice).
	share := min(d.run.duty_pct/100, 1)
	if share < full_pct/100 {
		plug = share*plug - (1-share)*0.7
	}
	emf := plug - d.drop(v)
	o := d.options(tr, p, perTurn, plug, emf)
	r, err := commutator.Speed(grid, rate, o)
	if err != nil {
		v.miss(trimmed(err), byRipple...)
		return
	}
	speed := r.Speed_rpm.With("clock of the samples", clockU*r.Speed_rpm.Value, 0)
	v.add(ShaftSpeed, speed)
	if share < full_pct/100 {
		v.miss(v[Full].Missing, byRipple...)
		return
	}
	full := d.run_A
	if why := bandwidth(p, rate, speed.Value/60*float64(perTurn)); why != "" {
		v.miss(why, Ripple)
	} else {
		v.add(Ripple, stat.Quantity{Value: r.Amplitude}.With("noise", r.Amplitude*math.Pow(10, -r.SNR_dB/20), 0))
	}
	if good := learnedAt(p); rate < good*(1-likeRate) {
		m.Warnings = append(m.Warnings, fmt.Sprintf("sampled at %.4g Hz, the profile's good units at %.4g Hz: what is finer than that is not seen", rate, good))
	}
	switch {
	case !known:
		v.miss("the voltage at the plug was not sampled", EMF, FullSpeed)
	case v[Resistance].Missing != "" || !(emf > 0):
		v.miss("it takes the resistance, which was not measured", EMF, FullSpeed)
	default:
		u := math.Hypot(v[Resistance].Q.U()*full, v[Full].Q.U()*v[Resistance].Q.Value)
		k := 1000 * emf / speed.Value
		v.add(EMF, stat.Quantity{Value: k}.With("speed", k*speed.U()/speed.Value, 0).With("voltage that the winding takes", k*u/emf, 0))
		at := plug
		if p != nil {
			at = p.Supply.Nominal_V
		}
		f := (at - plug + emf) / emf
		v.add(FullSpeed, speed.Scale(f).With("voltage that the winding takes", speed.Value*math.Abs(f-1)*u/emf, 0))
	}
	turn, err := commutator.Average(grid, rate, perTurn, r)
	if err != nil {
		v.miss(trimmed(err), byRipple...)
		return
	}
	d.turn = &turn
	for _, n := range []struct {
		name  string
		order int
	}{{Once, 1}, {Twice, 2}} {
		a, u := turn.Order(n.order)
		v.add(n.name, stat.Quantity{Value: a}.With("noise of the mean turn", u, 0))
	}
	// What the converter adds was seen at rest.
	rest := math.Sqrt(max(0, turn.Rest*turn.Rest-d.noise*d.noise))
	if why := otherRate(p, rate); why != "" {
		v.miss(why, Unrest)
	} else {
		v.add(Unrest, stat.Quantity{Value: rest}.With("noise", d.noise/math.Sqrt(float64(len(grid))), 0))
	}
	uneven, u := turn.Unevenness()
	switch {
	case math.IsNaN(uneven) || turn.RippleU > gone/4*stat.Median(turn.Ripples):
		v.miss("single ripples do not stand out of the noise", Uneven, Missing)
	default:
		v.add(Uneven, stat.Quantity{Value: 100 * uneven}.With("noise of the mean turn", 100*u, 0))
		v.add(Missing, stat.Exact(float64(turn.Missing(gone))))
	}
}

// drop is what winding and brushes take of the voltage at full, by the resistance of
// the start; without one, a fifth of what a stalled motor would take is not known.
func (d *detail) drop(v taken) float64 {
	if r := v[Resistance]; r.Missing == "" && r.Q.Value > 0 {
		return r.Q.Value * d.run_A
	}
	return 0
}

// options is what is known of the speed beside the ripple.
func (d *detail) options(tr *trace.Trace, p *profiles.Profile, perTurn int, plug_V, emf_V float64) commutator.Options {
	o := commutator.Options{PerTurn: perTurn, PWM_U: clockU}
	if d.run.duty_pct < 99.5 {
		o.PWM_Hz, _ = tr.Number(trace.KeyPWM)
		seen, _ := tr.Get(trace.KeyRecirculation)
		o.Edges = seen != trace.RecirculationSeen
	}
	if p == nil {
		return o
	}
	noLoad := float64(sectionOf(p).NoLoad)
	if share := plug_V / p.Supply.Nominal_V; noLoad > 0 && share > 0 {
		o.Fastest_rpm = beyond * noLoad * share
	}
	if !(emf_V > 0) {
		return o
	}
	if good := weigh.Values(p, EMF); len(good) > 0 {
		o.Expected_rpm, o.Within = 1000*emf_V/stat.Mean(good), within
		if o.Fastest_rpm == 0 {
			o.Fastest_rpm = within * o.Expected_rpm
		}
	} else if noLoad > 0 {
		o.Expected_rpm, o.Within = noLoad*emf_V/p.Supply.Nominal_V, within
	}
	return o
}

// dropOuts is how often the current of a run goes away.
func (d *detail) dropOuts(x []float64, v taken) {
	mean := stat.Mean(x)
	if !(mean > 0) {
		v.miss("no current flowed", DropOuts)
		return
	}
	n := 0
	for i := 1; i < len(x); i++ {
		if x[i] < 0.3*mean && x[i-1] >= 0.3*mean {
			n++
		}
	}
	v.add(DropOuts, stat.Exact(float64(n)))
}

// trimmed is an error as a clause, without the package's word.
func trimmed(err error) string {
	_, clause, found := strings.Cut(err.Error(), ": ")
	if !found {
		return err.Error()
	}
	return clause
}
