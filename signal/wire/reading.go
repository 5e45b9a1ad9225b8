package wire

import (
	"fmt"
	"math"

	"dutybench/signal/stat"
)

// Reading is what is on the wire. A value of NaN was not measured.
type Reading struct {
	Kind Kind
	// Levels in volts; Mean_V is what a meter would show.
	Low_V, High_V, Mean_V stat.Quantity
	// Lowest_V and Highest_V are the ends of the samples, but for a hundredth
	// at each; where pulses are shorter than a sample, the levels lie beyond.
	Lowest_V, Highest_V float64
	// Frequency_Hz and Duty_pct (the share of a period at high level) of a
	// PWM signal.
	Frequency_Hz, Duty_pct stat.Quantity
	// DutyLow_pct and DutyHigh_pct are the ends of the duty where it changes,
	// but for a twentieth of the periods at each; a single duty, the jitter of
	// the high time and a mean level are then not stated. NaN where it stays.
	DutyLow_pct, DutyHigh_pct float64
	// Standard deviations of period and of high time, the timing resolution
	// of the input included, and that resolution as a standard deviation.
	PeriodJitter_s, HighJitter_s, TimingJitter_s float64
	Periods                                      int // whole ones that were used
	Cycles                                       int // whole ones that were heard
	Lost                                         int // edges
	Bit_s                                        float64
	Hum_V                                        float64 // amplitude at mains frequency
	Hum_Hz                                       float64
	Source_Ohm                                   stat.Quantity // of a steady wire, from the load test
	// Fastest_Hz is the highest PWM frequency that this input could have
	// shown.
	Fastest_Hz float64
	// Words say what that is, most important first, each a whole sentence.
	Words []string
	// Limits say what this input could not tell.
	Limits []string
}

func newReading() Reading {
	none := stat.Exact(math.NaN())
	return Reading{Low_V: none, High_V: none, Mean_V: none, Frequency_Hz: none, Duty_pct: none, Source_Ohm: none,
		DutyLow_pct: math.NaN(), DutyHigh_pct: math.NaN(), Lowest_V: math.NaN(), Highest_V: math.NaN(), PeriodJitter_s: math.NaN(), HighJitter_s: math.NaN(), TimingJitter_s: math.NaN(), Bit_s: math.NaN(), Hum_V: math.NaN(), Hum_Hz: math.NaN(), Fastest_Hz: math.NaN()}
}

// DutyChanges says that no single duty can be stated.
func (r *Reading) DutyChanges() bool { return finite(r.DutyLow_pct) }

func (r *Reading) say(format string, args ...any) {
	r.Words = append(r.Words, fmt.Sprintf(format, args...))
}
func (r *Reading) limit(format string, args ...any) {
	r.Limits = append(r.Limits, fmt.Sprintf(format, args...))
}

// samplesPerPeriod is how many samples a period must have for its duty to be
// read from levels. Chosen: at 10 a crossing is known to a tenth of a period,
// and a duty near the middle to 3 points from a single one.
const samplesPerPeriod = 10

// manyLost is the share of lost edges from which an input does not keep up.
// Chosen: below the share of odd cycles that a PWM may have.
const manyLost = 0.2

// Read says what is on the wire from edges, levels or both; either may be nil.
// Edges tell the timing where they were heard, levels the voltages.
func Read(e *Edges, l *Levels, s Surroundings) (Reading, error) {
	r := newReading()
	if e == nil && l == nil {
		return r, fmt.Errorf("wire: neither edges nor levels: name an input that hears one of them")
	}
	if err := e.check(); err != nil {
		return r, err
	}
	if err := l.check(); err != nil {
		return r, err
	}
	var two *twoLevels
	if l != nil {
		two = split(l)
		r.Mean_V = l.mean()
		r.Lowest_V, r.Highest_V = ends(l.V)
	}
	if e != nil {
		c := chainOf(e)
		r.Lost = c.lost
		if e.Resolution_s > 0 {
			r.Fastest_Hz = 1 / (samplesPerPeriod * e.Resolution_s)
		}
		// An input that heard nothing, on a wire whose samples change: its
		// threshold lies outside the two levels.
		if len(c.at) >= 3 || l == nil || two == nil {
			return fromEdges(r, e, c, l, two, s), nil
		}
		r.limit("The edge input heard next to nothing while the level changes: its threshold lies outside the two levels.")
	}
	return fromLevels(r, l, two, s), nil
}

// fromEdges reads the timing from edges.
func fromEdges(r Reading, e *Edges, c chain, l *Levels, two *twoLevels, s Surroundings) Reading {
	if len(c.at) < 3 {
		return still(r, l, e, s)
	}
	// A wire that is not two-valued to samples fast enough to see it is no
	// digital signal, whatever a comparator makes of it.
	if l != nil && two == nil && l.sharp(len(c.at), e.End_s-e.Start_s) {
		if moving(&r, l); r.Kind == Floating {
			return r
		}
	}
	r.levels(l, two, c)
	r = timing(r, c, e.Skew_s, e.Clock)
	return r.finish(l)
}

// levels takes those that the samples show. A pulse shorter than what one
// sample blurs never shows its level.
func (r *Reading) levels(l *Levels, two *twoLevels, c chain) {
	if two == nil {
		return
	}
	r.Low_V, r.High_V = two.low, two.high
	if b := l.slow(); b > 0 {
		if p := c.pulses(false); len(p) > 0 && tenth(p) < 2*b {
			r.Low_V = stat.Exact(math.NaN())
		}
		if p := c.pulses(true); len(p) > 0 && tenth(p) < 2*b {
			r.High_V = stat.Exact(math.NaN())
		}
	}
}

// finish finds the levels that samples blur, and says what is known of them.
func (r Reading) finish(l *Levels) Reading {
	if r.Kind == PWM && l != nil && !(finite(r.Low_V.Value) && finite(r.High_V.Value)) {
		if r.DutyChanges() {
			r.limit("One sample is the mean over %s, longer than a pulse, and the duty changes, so the levels are not known; the means lie between %s and %s.", seconds(l.slow()), volts(r.Lowest_V), volts(r.Highest_V))
		} else if low, high, ok := unblur(l, r.Frequency_Hz, r.Duty_pct); ok {
			r.Low_V, r.High_V = low, high
			r.limit("One sample is the mean over %s, longer than a pulse: the levels were found by fitting the signal to the samples.", seconds(l.Aperture_s))
		} else {
			r.limit("One sample is the mean over %s, longer than a pulse, so the levels are not known; the means lie between %s and %s.", seconds(l.slow()), volts(r.Lowest_V), volts(r.Highest_V))
		}
	}
	r.levelWords()
	return r
}

// fromLevels reads everything from samples.
func fromLevels(r Reading, l *Levels, two *twoLevels, s Surroundings) Reading {
	interval := l.interval()
	if interval > 0 {
		r.Fastest_Hz = 1 / (samplesPerPeriod * interval)
		if b := l.slow(); b > 0 {
			r.Fastest_Hz = min(r.Fastest_Hz, 1/(2*b))
		}
	}
	if two == nil {
		return still(r, l, nil, s)
	}
	r.Low_V, r.High_V = two.low, two.high
	e := crossings(l, two)
	c := chainOf(&e)
	r.Lost = c.lost
	if len(c.at) < 3 {
		return step(r, c)
	}
	if l.even() && l.slow() < 2*interval {
		r.limit("The samples are evenly spaced with no low-pass before them: a PWM near a multiple of %s Hz would look slow.", short(1/interval))
	}
	if period := l.span() / (float64(len(c.at)) / 2); period < samplesPerPeriod*interval {
		return tooFast(r, l)
	}
	r.levels(l, two, c)
	r = timing(r, c, 0, l.Clock)
	return r.finish(l)
}

// timing tells PWM from a bus by the times of edges.
func timing(r Reading, c chain, skew_s, clock float64) Reading {
	r.Cycles = len(c.cycles(true))
	if float64(c.lost) > manyLost*float64(len(c.at)) {
		r.Kind = TooFast
		r.say("Edges come faster than this input follows (%d of %d were lost), so nothing is said of frequency and duty.", c.lost, c.lost+len(c.at))
		return r
	}
	switch g := regular(c); {
	case g.pwm && g.period() < samplesPerPeriod*c.resolution:
		r.Kind = TooFast
		r.say("Edges come every %s, faster than this input can time them (%d of its steps of %s are needed in a period), so nothing is said of frequency and duty.",
			seconds(g.period()/2), samplesPerPeriod, seconds(c.resolution))
	case g.pwm:
		r.pwm(c, g, skew_s, clock)
	default:
		b := quantum(c)
		if b.found && g.share < oddShare {
			r.Kind, r.Bit_s = Bus, b.bit_s
			r.say("No PWM: pulses of many lengths, all multiples of %s, as frames of a bus at about %s bit/s make them.", seconds(r.Bit_s), short(1/r.Bit_s))
			return r
		}
		r.Kind = Unclear
		switch {
		case g.few:
			r.say("Only %s were heard, too few to tell PWM from a bus or a disturbance: listen for longer.", count(len(c.at), "edge"))
		case b.blurred:
			r.Kind = TooFast
			r.say("Pulses are about as short as this input's timing (%s), so nothing is said of frequency and duty.", seconds(c.resolution))
		case g.share >= oddShare:
			r.say("Most periods have one length, but %.0f %% have not: a PWM with drop-outs or disturbances, too many to measure it. Look at contacts and ground.", 100*(1-g.share))
		default:
			r.say("Edges come without a period or a common bit time: a disturbance on an open wire, a bad contact, or a signal that this input does not see whole.")
		}
	}
	return r
}
