package wire

import (
	"math"
	"slices"

	"dutybench/signal/stat"
)

// What a steady level is called.
const (
	// VDMA sheet 24224 as pump makers' manuals print it: the input of a unit
	// takes less than 1 V as low.
	lowBelow_V = 1.0
	// Analogue commands end at 5 or 10 V (common practice).
	analogueEnd_V = 10.5
	nearShare     = 0.10 // of a known level; chosen: resistors and supplies together
	steady_V      = 0.3  // spread of a steady level; chosen: well below the least swing of a signal
	steadyShare   = 0.02 // and of the level
	humShare      = 0.5  // of the variance at mains frequency: it is what moves the wire
	humLeast_V    = 0.02 // chosen: above a converter's noise
	driven_Ohm    = 500  // chosen: between a driver with its protection and the smallest usual pull-up, 1 kΩ (ISO 17987-4, from memory)
	held_Ohm      = 1e6  // chosen: above the largest usual pull-up, 100 kΩ
)

// still reads a wire without edges.
func still(r Reading, l *Levels, e *Edges, s Surroundings) Reading {
	if l == nil {
		high := e.StartHigh
		if n := len(e.High); n > 0 {
			high = e.High[n-1]
		}
		if r.Kind = Low; high {
			r.Kind = High
		}
		if n := len(e.At_s); n > 0 {
			r.say("The wire changed %s and stays %s.", times(n), r.Kind)
		} else {
			r.say("The wire stays %s.", r.Kind)
		}
		r.limit("Edges only: the level's voltage is not known, and an open wire may read as either level.")
		return r
	}
	v := stat.Median(l.V)
	r.hum(l)
	if !l.steady(v) {
		return moving(&r, l)
	}
	level := l.known(stat.Quantity{Value: v}.With("noise", 1.25*stat.RobustSD(l.V)/math.Sqrt(float64(len(l.V))), float64(max(len(l.V)-1, 1))))
	hums := !math.IsNaN(r.Hum_V) && r.Hum_V >= max(humLeast_V, 3*l.Step_V)
	isOpen := s.Open && math.Abs(v-s.Open_V) <= max(steady_V, nearShare*math.Abs(s.Open_V))
	isPulled := s.PullUp_V > 0 && math.Abs(v-s.PullUp_V) <= nearShare*s.PullUp_V
	isSupply := s.Supply_V > 0 && v >= (1-nearShare)*s.Supply_V
	blurred := e == nil && l.slow() > 0

	switch {
	case s.Load != nil && v >= lowBelow_V:
		r.High_V = level
		r.loaded(*s.Load)
	case v < lowBelow_V:
		r.Kind, r.Low_V = Low, level
		r.say("The wire stays low, at %s: stuck low, held low, or nothing that pulls it up.", volts(v))
		if isOpen || !s.Open {
			r.say("An open wire may read the same here: this input's own resistance brings it to ground.")
		}
	case isOpen && !isPulled && !isSupply:
		r.Kind = Floating
		r.say("The wire is at %s, the level of this input with nothing connected: nobody drives the wire, or it is open.", volts(v))
	case hums && !isPulled && !isSupply:
		r.Kind = Floating
		r.say("The wire is at %s with hum of %s at %g Hz on it: nobody holds it.", volts(v), volts(r.Hum_V), r.Hum_Hz)
	case isPulled, isSupply, v > analogueEnd_V:
		r.Kind, r.High_V = High, level
		r.highWords(v, isPulled)
	case blurred:
		r.Kind = MeanOnly
		r.say("A meter would show %s, and this input sees no more than that: PWM, an analogue level and a divided pull-up read the same. Listen with an edge input or faster samples.", volts(v))
	default:
		r.Kind, r.High_V = Analogue, level
		r.say("The wire stays at %s, neither low nor at the supply: an analogue level, or a pull-up that something divides. No PWM is on it.", volts(v))
		if v > 2 && v < 3 {
			r.say("A differential bus idles at this level too (ISO 11898-2): leave such a wire alone.")
		}
	}
	if blurred && r.Kind != MeanOnly {
		r.limit("This input shows means over %s: a PWM faster than %s Hz, low or high nearly all the time, would look steady.", seconds(l.slow()), short(1/(2*l.slow())))
	} else if e == nil && l.slow() == 0 {
		r.limit("Samples every %s: pulses shorter than that can be missed.", seconds(l.interval()))
	}
	return r
}

// highWords say what a steady high may be.
func (r *Reading) highWords(v float64, pulled bool) {
	r.say("The wire stays high, at %s: no PWM is on it.", volts(v))
	if pulled {
		r.say("That is the level of the wire's own pull-up: most likely nobody drives it.")
	}
	r.say("Driven high, pulled up by a resistor, and an idle bus read the same: a load test, with a known resistor from the wire to ground, separates driven from pulled up.")
}

// loaded tells by a known resistor to ground who holds a wire high. Its own
// source is taken as a voltage behind a resistance (Thévenin).
func (r *Reading) loaded(d Load) {
	if !(d.Ohm > 0) || !(d.Without > 0) || !(d.U_V >= 0) || !finite(d.With) {
		r.Kind = High
		r.say("The load test cannot be used: it needs a resistance and a level above zero without it.")
		return
	}
	// Behind the input's own resistance the source looks smaller than it is.
	source := func(with float64) float64 {
		seen := max(d.Ohm*(d.Without/max(with, 1e-6)-1), 0)
		if d.InputOhm > 0 {
			return 1 / max(1/seen-1/d.InputOhm, 0)
		}
		return seen
	}
	u := d.U_V * math.Hypot(1, d.With/d.Without) // that of their ratio, on the level under load
	low, ohm, high := source(d.With+2*u), source(d.With), source(d.With-2*u)
	switch {
	case low > held_Ohm:
		r.Kind = Floating
		r.say("With %s to ground the wire falls from %s to %s: nobody holds it.", ohms(d.Ohm), volts(d.Without), volts(d.With))
		return
	case high < driven_Ohm:
		r.Kind = DrivenHigh
		r.say("The wire stays high at %s under %s to ground: driven high, through %s.", volts(d.With), ohms(d.Ohm), ohms(ohm))
	case low > driven_Ohm:
		r.Kind = PullUp
		r.say("With %s to ground the wire falls from %s to %s: a pull-up of %s holds it and nobody drives it.", ohms(d.Ohm), volts(d.Without), volts(d.With), ohms(ohm))
	default:
		r.Kind = High
		r.say("With %s to ground the wire falls from %s to %s, as through %s (%s to %s): a weak driver or a pull-up. A resistor of another size would tell.",
			ohms(d.Ohm), volts(d.Without), volts(d.With), ohms(ohm), ohms(low), ohms(high))
	}
	r.Source_Ohm = stat.Quantity{Value: ohm}.With("levels", max(high-ohm, ohm-low)/2, 0)
}

// steady says that a level does not move.
func (l *Levels) steady(v float64) bool {
	s := slices.Sorted(slices.Values(l.V))
	n := len(s)
	spread := s[n-1-n/20] - s[n/20]
	allowed := max(steady_V, steadyShare*math.Abs(v))
	// Slow drift hides in no spread: the ends' means count too.
	k := max(n/10, 1)
	return spread <= allowed && math.Abs(stat.Mean(l.V[:k])-stat.Mean(l.V[n-k:])) <= allowed
}

// moving reads a wire that changes without two levels.
func moving(r *Reading, l *Levels) Reading {
	if math.IsNaN(r.Hum_V) {
		r.hum(l)
	}
	switch {
	case !math.IsNaN(r.Hum_V):
		r.Kind = Floating
		r.say("The level hums with %s at %g Hz and has no two levels: nobody holds the wire, or it is open.", volts(r.Hum_V), r.Hum_Hz)
	case l.slow() > 0:
		r.Kind = MeanOnly
		r.say("The mean level moves, around %s, and this input is too slow to show what makes it move. Listen with an edge input or faster samples.", volts(r.Mean_V.Value))
	default:
		r.Kind = Floating
		r.say("The level drifts around %s and has no two levels: nobody holds the wire, it is open, or it carries an analogue level that changes.", volts(r.Mean_V.Value))
	}
	return *r
}

// hum fits a sine at 50 and at 60 Hz and keeps the larger, where that is what
// moves the wire.
func (r *Reading) hum(l *Levels) {
	if l.span() < 0.04 { // two periods
		return
	}
	_, sd := stat.MeanSD(l.V)
	for _, f := range []float64{50, 60} {
		a, left := sine(l, f)
		if sd > 0 && left*left <= (1-humShare)*sd*sd && !(r.Hum_V >= a) {
			r.Hum_V, r.Hum_Hz = a, f
		}
	}
}

// sine is the amplitude of the best sine of a frequency, and the standard
// deviation that it leaves (least squares with a constant).
func sine(l *Levels, f_Hz float64) (amplitude, left float64) {
	n := float64(len(l.V))
	if n < 8 {
		return math.NaN(), math.Inf(1)
	}
	m := stat.Mean(l.V)
	var c, s, cc, ss, cs, cv, sv, vv float64
	for i, t := range l.At_s {
		sin, cos := math.Sincos(2 * math.Pi * f_Hz * (t - l.At_s[0]))
		v := l.V[i] - m
		c, s, cc, ss, cs = c+cos, s+sin, cc+cos*cos, ss+sin*sin, cs+cos*sin
		cv, sv, vv = cv+cos*v, sv+sin*v, vv+v*v
	}
	cc, ss, cs = cc-c*c/n, ss-s*s/n, cs-c*s/n
	det := cc*ss - cs*cs
	if det < 1e-6*n*n { // samples that do not see this frequency
		return math.NaN(), math.Inf(1)
	}
	a, b := (cv*ss-sv*cs)/det, (sv*cc-cv*cs)/det
	return math.Hypot(a, b), math.Sqrt(max(vv-a*cv-b*sv, 0) / (n - 3))
}

// step reads a wire that changed once or twice.
func step(r Reading, c chain) Reading {
	r.Kind = Unclear
	r.say("The level changed %s between %s and %s: a contact, a switch, or a signal slower than this look at it. Listen for longer.",
		times(max(len(c.at), 1)), volts(r.Low_V.Value), volts(r.High_V.Value))
	return r
}

// tooFast refuses samples that are too few in a period.
func tooFast(r Reading, l *Levels) Reading {
	r.Kind = TooFast
	r.say("The wire changes between %s and %s faster than samples every %s can follow (%d are needed in a period), so nothing is said of frequency and duty.",
		volts(r.Low_V.Value), volts(r.High_V.Value), seconds(l.interval()), samplesPerPeriod)
	r.levelWords()
	return r
}
