package fan

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/signal/spectrum"
	"dutybench/signal/stat"
	"dutybench/signal/step"
	"dutybench/signal/trace"
)

const (
	// Shafts of radiator fans and blowers turn between these at full: 600 to
	// 7,200 rpm (common practice, no source).
	shaftLow_Hz, shaftHigh_Hz = 10.0, 120.0
	// The speed goes with a power of the cube root of electrical power between
	// these: of the air n³, of friction alone n, with losses in the winding more
	// (0.69 to 1.39 between steps of the staircase in bldc-duty-sweep-f40).
	leastPower, greatestPower = 0.6, 3.0
	// longest_s of a plateau that is looked at, its end.
	longest_s = 2.0
	// clock is the relative standard uncertainty of the rig's clock: crystals
	// keep 50 millionths (common practice, no source).
	clock = 50e-6
)

// turning is a plateau with what its ripple tells.
type turning struct {
	plateau  step.Plateau
	block    spectrum.Block
	run_A    float64 // above rest
	power_W  float64 // above rest; over the nominal volt where that was not sampled
	shaft_Hz float64
	u_Hz     float64
}

// measureSpeed takes from the ripple of a six-step drive the speed, from that how
// power goes with it, and what comes once a turn.
func (d *detail) measureSpeed(tr *trace.Trace, sec Section, m *kind.Measured) {
	all, ts, why := d.track(tr, sec)
	if why != "" {
		miss(m, "rpm", why, ShaftSpeed)
		miss(m, "%", why, AirShare)
		miss(m, "A", why, TurnLine)
		return
	}
	d.speeds = ts
	top := ts[len(ts)-1]
	highest, _ := d.highestDuty()
	if full := m.Get(Full); full != nil && full.Missing != "" { // good units have theirs at full
		miss(m, "rpm", full.Missing, ShaftSpeed)
		miss(m, "%", full.Missing, AirShare)
	} else if top.plateau.Duty_pct < highest.Duty_pct-0.5 {
		const why = "at the highest duty the ripple does not stand out of the noise, or the sampling is too slow for it"
		miss(m, "rpm", why, ShaftSpeed)
		miss(m, "%", why, AirShare)
	} else {
		add(m, ShaftSpeed, "rpm", stat.Quantity{Value: 60 * top.shaft_Hz}.With("line frequency", 60*top.u_Hz, 0).With("clock of the samples", 60*top.shaft_Hz*clock, 0))
		if q, err := airShare(ts); err == nil {
			add(m, AirShare, "%", q)
		} else {
			miss(m, "%", err.Error(), AirShare)
		}
	}
	// What comes once a turn is largest at the lowest speeds, where
	// inertia smooths it least. In amperes: of a wheel that carries little air any swing
	// would be a large share.
	var swings, noises []float64
	for _, u := range all[:min(2, len(all))] {
		if s, err := spectrum.FitSine3(u.block.X, u.block.Rate_Hz, d.shaft(u)); err == nil {
			swings = append(swings, s.Amplitude())
			noises = append(noises, math.Hypot(s.ResidualSD*math.Sqrt(2/float64(len(u.block.X))), unrest(u, d.shaft(u))))
		}
	}
	if len(swings) == 0 {
		miss(m, "A", "the plateaus at low duty are too short", TurnLine)
		return
	}
	add(m, TurnLine, "A", stat.Quantity{Value: stat.Mean(swings)}.With("noise", stat.Mean(noises), 0).With("reading of the line", 0.02*stat.Mean(swings), 0))
}

// unrest is what the swing once a turn is unsure of by its own change over the
// plateau: the scatter of its amplitude between thirds, over √3; 0 where they hold
// too few turns to tell.
func unrest(u turning, shaft_Hz float64) float64 {
	const parts, turns = 3, 5
	n := len(u.block.X) / parts
	if float64(n)*shaft_Hz < turns*u.block.Rate_Hz {
		return 0
	}
	var each []float64
	for i := range parts {
		if s, err := spectrum.FitSine3(u.block.X[i*n:(i+1)*n], u.block.Rate_Hz, shaft_Hz); err == nil {
			each = append(each, s.Amplitude())
		}
	}
	if len(each) < parts {
		return 0
	}
	return stat.SD(each) / math.Sqrt(parts)
}

// shaft is the speed of a plateau: told, or where its ripple was not, that at
// which friction and air take the power that it takes, a per cent or so off.
func (d *detail) shaft(u turning) float64 {
	var hz, watts []float64
	for _, s := range d.speeds {
		if s.plateau.Start == u.plateau.Start {
			return s.shaft_Hz
		}
		hz, watts = append(hz, s.shaft_Hz), append(watts, s.power_W)
	}
	friction, air, err := split(hz, watts)
	if err != nil || !(air > 0) {
		return math.NaN()
	}
	low, high := 0.0, 2*hz[len(hz)-1]
	for range 40 {
		if f := (low + high) / 2; friction*f+air*f*f*f < u.power_W {
			low = f
		} else {
			high = f
		}
	}
	return (low + high) / 2
}

// track finds the ripple over the plateaus, rising in duty: all of them, and
// those whose speed it tells; or why it tells none.
func (d *detail) track(tr *trace.Trace, sec Section) (all, told []turning, why string) {
	switch {
	case !d.start.Ran && !d.follows:
		return nil, nil, "the unit did not run"
	case sec.Drive == "sine":
		return nil, nil, "a sine drive leaves no ripple to count"
	case sec.Drive != "six-step":
		return nil, nil, "the profile does not say that the drive is six-step"
	case sec.PolePairs < 1:
		return nil, nil, "the profile does not state the pole pairs"
	}
	all = d.blocks(tr)
	if len(all) == 0 {
		return nil, nil, "no plateau runs steadily enough, or its sampling is too uneven"
	}
	perTurn := float64(spectrum.SixStep(sec.PolePairs))
	pwm, _ := tr.Number(trace.KeyPWM)
	o := spectrum.TrackOptions{Lo_Hz: perTurn * shaftLow_Hz, Hi_Hz: perTurn * shaftHigh_Hz, Highest_Hz: perTurn * shaftHigh_Hz,
		PWM_Hz: pwm, Least: leastPower, Greatest: greatestPower, Lower: []int{3, 6}} // unequal phases: twice and once an electrical turn
	if whole, _ := tr.Number(trace.KeyIntegrating); whole == 1 {
		o.Gain = func(f, rate float64) float64 { // of a mean over the interval
			x := math.Pi * f / rate
			return math.Abs(math.Sin(x) / x)
		}
	}
	var blocks []spectrum.Block
	rate := math.Inf(1)
	for _, u := range all {
		blocks = append(blocks, u.block)
		rate = min(rate, u.block.Rate_Hz)
	}
	got, err := spectrum.Track(blocks, o)
	const usable = 0.4 // of the rate, as spectrum has it
	switch enough := perTurn * shaftHigh_Hz / usable; {
	case errors.Is(err, spectrum.ErrAliased):
		return nil, nil, fmt.Sprintf("sampled at %.0f Hz the ripple is folded, or may be; %.0f Hz would do", rate, max(enough, got.Likely_Hz/usable))
	case errors.Is(err, spectrum.ErrNoOrder) && rate < enough:
		return nil, nil, fmt.Sprintf("no ripple that follows the duty stands out of the noise up to %.0f Hz; sampling at %.0f Hz would show it at any speed", usable*rate, enough)
	case errors.Is(err, spectrum.ErrNoOrder):
		return nil, nil, "no ripple that follows the duty stands out of the noise"
	case errors.Is(err, spectrum.ErrFewSpeeds):
		return nil, nil, "the plateaus do not run at three different speeds"
	case err != nil:
		return nil, nil, err.Error()
	}
	// The ripple of a motor is much the same share of its current at any speed. A
	// line far below the others is none of it: where a harmonic of the command's
	// PWM, folded or not, lies on the ripple, that cannot be told.
	const faint = 0.2
	var shares []float64
	for i, l := range got.Lines {
		if !math.IsNaN(l.Frequency_Hz) {
			shares = append(shares, l.Amplitude/all[i].run_A)
		}
	}
	for i, l := range got.Lines {
		if u := all[i]; !math.IsNaN(l.Frequency_Hz) && l.Amplitude/u.run_A > faint*stat.Median(shares) {
			u.shaft_Hz, u.u_Hz = l.Frequency_Hz/perTurn, l.U_Hz/perTurn
			told = append(told, u)
		}
	}
	if len(told) == 0 {
		return nil, nil, "the ripple does not stand out of the noise"
	}
	return all, told, ""
}

// blocks are the ends of the plateaus, one a duty, rising, with the speed that
// their power lets expect.
func (d *detail) blocks(tr *trace.Trace) (ts []turning) {
	t, x := tr.Time(), tr.Current()
	volts := !slices.ContainsFunc(d.plateaus, func(q step.Plateau) bool { return math.IsNaN(q.Supply_V) })
	most := 0.0
	for _, q := range d.plateaus {
		run := q.Median_A - d.rest()
		steadier := slices.ContainsFunc(d.plateaus, func(o step.Plateau) bool {
			return math.Abs(o.Duty_pct-q.Duty_pct) < 0.5 && math.Abs(o.Drift_A) < math.Abs(q.Drift_A)
		})
		if steadier || !(run > 5*q.Current.U()) { // a wheel that still slows down smears its line
			continue
		}
		from := q.Start
		for from < q.End && t[from] < t[q.End-1]-longest_s {
			from++
		}
		grid, rate, err := spectrum.Even(nil, t[from:q.End], x[from:q.End])
		if err != nil {
			continue
		}
		u := turning{plateau: q, run_A: run, power_W: run, block: spectrum.Block{X: grid, Rate_Hz: rate, Most: run}}
		if volts {
			u.power_W *= q.Supply_V
		}
		most = max(most, u.power_W)
		ts = append(ts, u)
	}
	for i := range ts {
		ts[i].block.Share = math.Cbrt(ts[i].power_W / most)
	}
	slices.SortFunc(ts, func(a, b turning) int {
		if a.plateau.Duty_pct < b.plateau.Duty_pct {
			return -1
		}
		return 1
	})
	return ts
}

// airShare is the part of the running power at the highest speed that goes with
// its cube, in per cent.
func airShare(ts []turning) (q stat.Quantity, err error) {
	if len(ts) < 3 || ts[len(ts)-1].shaft_Hz < 1.5*ts[0].shaft_Hz {
		return q, errors.New("it takes three speeds, the highest half as high again as the lowest")
	}
	var hz, watts []float64
	for _, s := range ts {
		hz, watts = append(hz, s.shaft_Hz), append(watts, s.power_W)
	}
	share := func() float64 {
		var friction, air float64
		if friction, air, err = split(hz, watts); err != nil {
			return math.NaN()
		}
		top := hz[len(hz)-1]
		return 100 * air * top * top * top / (friction*top + air*top*top*top)
	}
	q.Value = share()
	var u float64
	for i, s := range ts { // what each plateau is unsure of, one at a time (JCGM 100:2008, 5.1.3)
		was := watts[i]
		watts[i] *= 1 + math.Hypot(s.plateau.Current.U()/s.run_A, 3*s.u_Hz/s.shaft_Hz)
		u = math.Hypot(u, share()-q.Value)
		watts[i] = was
	}
	return q.With("noise and settling of the plateaus", u, 0), err
}

// split is running power as friction, with the speed, and air, with its cube:
// factors in W·s and W·s³ by least squares of the relative error.
func split(shaft_Hz, power_W []float64) (friction, air float64, err error) {
	rows := make([][]float64, len(shaft_Hz))
	for i, f := range shaft_Hz {
		rows[i] = []float64{f, f * f * f}
	}
	fit, err := stat.WeightedLeastSquares(rows, power_W, power_W)
	if err != nil {
		return 0, 0, fmt.Errorf("fan: friction and air: %w", err)
	}
	return fit.Coef[0], fit.Coef[1], nil
}

// views is the picture of power over speed, where the speed is told.
func (d *detail) views() []result.View {
	var hz, watts, rpm []float64
	for _, u := range d.speeds {
		hz, watts, rpm = append(hz, u.shaft_Hz), append(watts, u.power_W), append(rpm, 60*u.shaft_Hz)
	}
	friction, air, err := split(hz, watts)
	if len(hz) < 3 || err != nil || !d.volts {
		return nil
	}
	v := result.View{Name: "load", Title: "Running power over the speed that the ripple tells", X: result.Axis{Label: "speed", Unit: "rpm"}, Y: result.Axis{Label: "power above rest", Unit: "W"},
		Lines: []result.ViewLine{{Name: "measured", X: rpm, Y: watts}, {Name: "of it with the speed: friction"}, {Name: "of it with the cube of the speed: air"}}}
	for i := range 31 {
		f := hz[0] + (hz[len(hz)-1]-hz[0])*float64(i)/30
		for j, y := range []float64{friction * f, air * f * f * f} {
			l := &v.Lines[j+1]
			l.X, l.Y = append(l.X, 60*f), append(l.Y, y)
		}
	}
	return []result.View{v}
}
