package pump

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/signal/spectrum"
	"dutybench/signal/stat"
	"dutybench/signal/step"
	"dutybench/signal/trace"
)

// Names of what a pump's current tells of its rotation.
const (
	ShaftSpeed = "shaft_speed" // rpm at the highest duty
	Ripple     = "ripple"      // %, peak amplitude over the running current, at the highest duty
	TurnDepth  = "turn_depth"  // %, peak amplitude of what comes once a turn over the running current
)

// keyAntiAlias is the comment key in which a rig states the corner (−3 dB) of
// the filter before its converter, in Hz. Its order is not stated, so it counts
// as of the first, which dampens least.
const keyAntiAlias = "x-anti-alias-Hz"

const (
	// A shaft at full turns between these: 600 and 9,600 rpm (common
	// practice, no source; turnHigh_Hz of the same).
	shaftLow_Hz, shaftHigh_Hz = 10.0, turnHigh_Hz
	// The speed goes with a power of the cube root of electrical power: a
	// centrifugal load takes n³, friction alone n, losses in the winding at
	// the top n⁴ and a little more. On the staircase of bldc-duty-sweep-f40
	// the power is 0.69 to 1.39 between neighbouring steps, with the
	// controller's own current.
	leastPower, greatestPower = 0.6, 3.0
	// leastRun is the least running current over the highest at which a
	// plateau says anything of its speed.
	leastRun = 0.01
	// longest_s of a plateau that is looked at, its end: resolves 0.5 Hz, a
	// twentieth of the slowest turn, and a speed wanders more in longer.
	longest_s = 2.0
	// clock is the relative standard uncertainty of the rig's clock: crystals
	// keep 50 millionths (common practice, no source).
	clock = 50e-6
	// reading is how well the five bins of a window read the amplitude of a
	// line that wanders by a fraction of a bin (chosen; without wander 0.1 %).
	reading = 0.01
	// agree is how far the ripple and what comes once a turn may disagree on
	// the speed: three bins at the lowest.
	agree = 0.03
)

// turning is a plateau as the order tracker wants it.
type turning struct {
	plateau  step.Plateau
	block    spectrum.Block
	run      float64 // A, above rest
	damp     damping
	thin     spectrum.Block // thinned for what lies at shaft speed
	thinDamp damping
}

// measureRotation measures speed and ripple from the commutation of a six-step
// drive, and the depth of modulation at once a turn.
func (d *detail) measureRotation(tr *trace.Trace, sec Section, m *kind.Measured) {
	if !d.start.Ran {
		for _, n := range []string{ShaftSpeed, Ripple, TurnDepth} {
			miss(m, n, rotationUnit(n), "the unit did not run")
		}
		return
	}
	ts, why := d.turnings(tr)
	if why != "" {
		for _, n := range []string{ShaftSpeed, Ripple, TurnDepth} {
			miss(m, n, rotationUnit(n), why)
		}
		return
	}
	lines, slow := trackTurn(ts)
	var speed ripples
	if why = sec.commutes(); why == "" {
		why = d.fullRuns(ts)
	}
	if why == "" {
		speed, why = trackRipple(ts, sec, lines, tr)
	}
	if why == "" {
		add(m, ShaftSpeed, "rpm", speed.rpm)
		add(m, Ripple, "%", speed.share)
	} else {
		miss(m, ShaftSpeed, "rpm", why)
		miss(m, Ripple, "%", why)
		speed.turns = nil
	}
	if q, ok := turnDepth(ts, speed.turns, lines); ok {
		add(m, TurnDepth, "%", q)
		return
	}
	if slow == "" {
		slow = "fewer than two plateaus are long enough for what comes once a turn"
	}
	miss(m, TurnDepth, "%", slow)
}

func rotationUnit(name string) string {
	if name == ShaftSpeed {
		return "rpm"
	}
	return "%"
}

// commutes says why a motor's ripple does not tell its speed; empty when it does.
func (s Section) commutes() string {
	switch {
	case s.Drive == "sine":
		return "a sine drive leaves no ripple to count"
	case s.Drive != "six-step":
		return "the profile does not say that the drive is six-step"
	case s.PolePairs < 1:
		return "the profile does not state the pole pairs"
	}
	return ""
}

// fullRuns says when the highest duty is not among the plateaus looked at.
func (d *detail) fullRuns(ts []turning) string {
	var all, seen float64
	for _, p := range d.plateaus {
		all = max(all, p.Duty_pct)
	}
	for _, u := range ts {
		seen = max(seen, u.plateau.Duty_pct)
	}
	if seen < all-0.5 {
		return "at the highest duty the current has gaps, or its sampling is too uneven"
	}
	return ""
}

// turnings are the plateaus without gaps, with the speed that their power lets
// expect; or why there are none.
func (d *detail) turnings(tr *trace.Trace) (ts []turning, why string) {
	rest := d.rest()
	t, x := tr.Time(), tr.Current()
	damp := dampingOf(tr)
	for i, p := range d.plateaus {
		run := p.Median_A - rest
		if slices.ContainsFunc(d.plateaus[i+1:], func(q step.Plateau) bool { return math.Abs(q.Duty_pct-p.Duty_pct) < 0.5 }) {
			continue // one plateau a duty, the last and warmest, says as much of the speed as two
		}
		if run < leastRun*(d.highest-rest) || run < 3*p.Current.U() || d.gaps[i] > 0 {
			continue
		}
		from := p.Start
		for from < p.End && t[from] < t[p.End-1]-longest_s {
			from++
		}
		grid, rate, err := spectrum.Even(nil, t[from:p.End], x[from:p.End])
		if err != nil {
			why = "the sampling of the plateaus is too uneven, or they are too short"
			continue
		}
		u := turning{plateau: p, run: run, block: spectrum.Block{X: grid, Rate_Hz: rate, Most: run}, damp: damp}
		u.thinned()
		ts = append(ts, u)
	}
	if len(ts) == 0 {
		if why == "" {
			why = "no plateau runs steadily enough"
		}
		return nil, why
	}
	share(ts)
	return ts, ""
}

// share fills in the expected speeds: the cube root of the power above rest,
// one for all plateaus of a duty.
func share(ts []turning) {
	volts := true
	for _, u := range ts {
		volts = volts && u.plateau.Supply_V > 0
	}
	power := make([]float64, len(ts))
	top := 0.0
	for i, u := range ts {
		n := 0
		for _, v := range ts {
			if math.Abs(u.plateau.Duty_pct-v.plateau.Duty_pct) <= 0.5 {
				p := v.run
				if volts {
					p *= v.plateau.Supply_V
				}
				power[i] += p
				n++
			}
		}
		power[i] /= float64(n)
		top = max(top, power[i])
	}
	for i := range ts {
		s := math.Cbrt(power[i] / top)
		ts[i].block.Share, ts[i].thin.Share = s, s
	}
}

// thinned makes the block of means for what lies up to turnHigh: at six times
// that or the rate there is, the means dampen it by 5 % at most.
func (u *turning) thinned() {
	b := u.block
	k := max(1, int(b.Rate_Hz/(6*turnHigh_Hz)))
	u.thin, u.thinDamp = b, u.damp
	if k == 1 {
		return
	}
	n := len(b.X) / k
	from := len(b.X) - n*k
	y := make([]float64, n)
	for i := range y {
		y[i] = stat.Mean(b.X[from+i*k : from+(i+1)*k])
	}
	u.thin.X, u.thin.Rate_Hz = y, b.Rate_Hz/float64(k)
	u.thinDamp.integrating, u.thinDamp.stated = true, true
}

// fewSpeeds is why a line that follows the duty cannot be told.
const fewSpeeds = "the plateaus do not run at three different speeds"

// trackTurn looks for what follows the duty where once a turn may lie: a line
// for each plateau, its frequency NaN where there is none and its amplitude
// then what could be hidden there, NaN when that is not known, with the reason.
func trackTurn(ts []turning) (lines []spectrum.Line, why string) {
	rate := math.Inf(1)
	var blocks []spectrum.Block
	for _, u := range ts {
		rate = min(rate, u.thin.Rate_Hz)
		blocks = append(blocks, u.thin)
		lines = append(lines, spectrum.Line{Frequency_Hz: math.NaN(), Amplitude: math.NaN()})
	}
	// A ripple folded round the rate climbs by rate/f+1 or more times the
	// speed's power: up to a quarter of the rate, beyond greatestPower.
	const steeper = greatestPower/leastPower - 1
	hi := min(turnHigh_Hz, rate/steeper)
	if hi < 4*shaftLow_Hz {
		return lines, fmt.Sprintf("sampled at %.0f Hz, what comes once a turn cannot be told; %.0f Hz would do", rate, turnHigh_Hz*steeper)
	}
	got, err := spectrum.Track(blocks, spectrum.TrackOptions{Lo_Hz: shaftLow_Hz, Hi_Hz: hi, Highest_Hz: hi, Least: leastPower, Greatest: greatestPower, Gain: ts[0].thinDamp.gain})
	switch {
	case err == nil:
		return got.Lines, ""
	case errors.Is(err, spectrum.ErrNoOrder), errors.Is(err, spectrum.ErrAliased):
		for i, most := range got.Hidden {
			lines[i].Amplitude = most
		}
		return lines, ""
	case errors.Is(err, spectrum.ErrFewSpeeds):
		return lines, fewSpeeds
	}
	return lines, err.Error()
}

// turnDepth is the depth at once a turn, the median over the plateaus: where
// the ripple tells the shaft's speed, there; else along the line that follows
// the duty. Without one it says how large one could be and not be seen.
func turnDepth(ts []turning, turns []float64, lines []spectrum.Line) (stat.Quantity, bool) {
	an := analyzers.Get().(*spectrum.Analyzer)
	defer analyzers.Put(an)
	read := func(at func(i int) float64) (depths, noises []float64) {
		for i, u := range ts {
			if a, noise, ok := u.modulation(an, at(i)); ok {
				depths, noises = append(depths, a), append(noises, noise)
			}
		}
		return depths, noises
	}
	var depths, noises []float64
	if turns != nil {
		depths, noises = read(func(i int) float64 { return turns[i] })
	}
	if len(depths) < 2 {
		depths, noises = read(func(i int) float64 { return lines[i].Frequency_Hz })
	}
	rate := ts[0].thin.Rate_Hz
	if n := len(depths); n >= 2 {
		q := stat.Quantity{Value: 100 * stat.Median(depths)}
		// A median knows √(π/2) times less than a mean.
		root := math.Sqrt(math.Pi / 2 / float64(n))
		q = q.With("scatter over plateaus", 100*root*max(stat.RobustSD(depths), stat.Median(noises)), float64(n-1))
		q = q.With("reading of the line", reading*q.Value/math.Sqrt(3), 0)
		return ts[0].thinDamp.unsaid(q, shaftHigh_Hz/2, rate), true
	}
	var most []float64
	for i, u := range ts {
		if !(lines[i].Amplitude > 0) || !math.IsNaN(lines[i].Frequency_Hz) {
			continue
		}
		most = append(most, 100*lines[i].Amplitude/u.run)
	}
	if len(most) < 2 {
		return stat.Quantity{}, false
	}
	// Anything from nothing to that.
	half := stat.Median(most) / 2
	return stat.Quantity{Value: half}.With("hidden in the noise", half/math.Sqrt(3), 0), true
}

// modulation is the amplitude of a line at f over the running current, with the
// noise round it taken off, and what that noise makes of it.
func (u *turning) modulation(an *spectrum.Analyzer, f_Hz float64) (depth, noise float64, ok bool) {
	if math.IsNaN(f_Hz) {
		return 0, 0, false
	}
	s, err := an.Spectrum(u.thin.X, u.thin.Rate_Hz)
	if err != nil {
		return 0, 0, false
	}
	const reach, clear, ring = 2, 4, 12 // bins: the lobe, and where the noise is looked at
	c := int(math.Round(f_Hz / s.Step_Hz))
	if c < clear || c+ring >= len(s.Amplitude)-1 {
		return 0, 0, false
	}
	var round []float64
	for k := clear; k <= ring; k++ {
		round = append(round, square(s.Amplitude[c+k]))
		if c-k > 1 {
			round = append(round, square(s.Amplitude[c-k]))
		}
	}
	floor := stat.Median(round) / math.Ln2
	var sum float64
	for k := c - reach; k <= c+reach; k++ {
		sum += square(s.Amplitude[k]) - floor
	}
	scale := u.thinDamp.gain(f_Hz, u.thin.Rate_Hz) * u.run
	return math.Sqrt(max(0, sum)/an.Window.ENBW()) / scale, math.Sqrt(floor/2) / scale, true
}
