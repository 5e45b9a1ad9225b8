package run

import (
	"math"
	"time"
)

// plugState is what hangs on the plug, as limited energy shows it.
type plugState int

// The states of a plug.
const (
	plugWhole       plugState = iota // a capacitor has charged to the supply
	plugOpen                         // it stood at the supply at once: nothing hangs on it
	plugShort                        // the voltage stays near nought while current flows
	plugReversed                     // it is clamped at a diode's drop
	plugCrossed                      // it is below nought: crossed before the sense wires
	plugHeavy                        // a resistance that would take more than the unit may
	plugDead                         // neither voltage nor current
	plugUnread                       // a current came and went, and the sense wires read nothing
	plugUnreadQuiet                  // a current stays that is none of a short, and the sense wires read nothing
	plugBlind                        // nobody samples the voltage, and current is gone
	plugBlindShort                   // nobody samples the voltage, and current stays
)

// Voltages that tell them apart. A silicon junction takes 0.5 to 1.2 V at an
// ampere, two in series twice that; what is shorted through a metre of lead
// and two contacts takes some 50 mΩ and so under 0.1 V (common practice, no
// source). The result depends on them only for a voltage between.
const (
	short_V   = 0.3
	clamp_V   = 2.0
	crossed_V = -0.2
)

// charging is what was measured while a plug charged through a resistance.
type charging struct {
	plug_V    float64 // settled, at the plug; NaN: not sampled
	current_A float64 // settled
	peak_A    float64
	charge_C  float64 // through the shunt, less what flows settled
	ohm       float64 // of the pre-charge resistor; 0: the main contacts
	way       way     // what lies between supply and plug, by voltage over current
	// What good units and the bench are.
	nominal_V, most_A float64
	nought_A          float64 // a current that is none
	least_C           float64 // a charge that is none
}

// source_V is the supply before the resistor and all that lies in series with
// it.
func (c *charging) source_V() float64 { return c.plug_V + c.current_A*c.way.ohm(c.ohm) }

// way is the sums of a straight line through voltage over current: while the
// plug charges, its voltage rises as the current falls.
type way struct{ n, i, v, ii, iv float64 }

func (w *way) add(amps, volts float64) {
	w.n++
	w.i += amps
	w.v += volts
	w.ii += amps * amps
	w.iv += amps * volts
}

// ohm is the resistance in the way; that of the resistor alone where the
// current hardly changed, or where the line says less than its tolerance.
func (w *way) ohm(resistor float64) float64 {
	spread := w.n*w.ii - w.i*w.i
	if w.n < 4 || !(spread > 0) {
		return resistor
	}
	r := (w.i*w.v - w.n*w.iv) / spread
	if !(r > 1.1*resistor) || r > 1e3*resistor {
		return resistor
	}
	return r
}

// farad is the capacitance that took the charge.
func (c *charging) farad() float64 { return c.charge_C / c.plug_V }

// plug tells what hangs on it.
func (c *charging) plug() plugState {
	flows := math.Abs(c.current_A) > c.nought_A
	switch v := c.plug_V; {
	case math.IsNaN(v) && math.Abs(c.current_A) > c.shorted_A():
		return plugBlindShort
	case math.IsNaN(v):
		return plugBlind
	case v < crossed_V:
		return plugCrossed
	case v < short_V && !flows && math.Abs(c.peak_A) > 5*c.nought_A:
		return plugUnread
	case v < deadShare*c.nominal_V && !flows:
		return plugDead
	case v < short_V && math.Abs(c.current_A) < c.leastShort_A():
		return plugUnreadQuiet
	case v < short_V:
		return plugShort
	case v < clamp_V:
		return plugReversed
	case flows && c.nominal_V*math.Abs(c.current_A) > c.most_A*v:
		return plugHeavy
	case !flows && c.charge_C < c.least_C:
		return plugOpen
	}
	return plugWhole
}

// shorted_A is the current from which on it tells of a short by itself: half of
// what the resistor lets through at nominal supply, or the unit's own limit.
func (c *charging) shorted_A() float64 {
	if c.ohm > 0 {
		return 0.5 * c.nominal_V / c.ohm
	}
	return c.most_A
}

// leastShort_A is what a short lets flow at least: half of what the resistor lets
// through at nominal supply, which every supply within a profile's range gives.
// Through the main contacts it is what a supply still gives when it folds back,
// a tenth of its limit or more (common practice, no source). One that can feed
// the unit has at least the unit's limit, and half of that tenth is left for
// one that is a little small. What a unit at rest takes, some tens of
// milliamperes, lies below. A supply whose limit was turned down further looks
// like open sense wires, so that its check stands with the next step.
func (c *charging) leastShort_A() float64 {
	if c.ohm > 0 {
		return c.shorted_A()
	}
	return 0.05 * c.most_A
}

// chargeTimes are how long the plug is given to charge through the resistor,
// and after how long a voltage near nought is no capacitor any more: eight and
// two time constants of the largest one that the profile allows for.
func chargeTimes(ohm, most_C, nominal_V float64) (longest, short time.Duration) {
	tau := time.Duration(ohm * most_C / nominal_V * float64(time.Second))
	return min(max(8*tau, 100*time.Millisecond), 3*time.Second), min(max(2*tau, 60*time.Millisecond), time.Second)
}

// tail is the mean of the last few of a stream of values.
type tail struct {
	x [8]float64
	n int
}

func (t *tail) add(x float64) {
	t.x[t.n%len(t.x)] = x
	t.n++
}

// mean is over the last k, or NaN when there is none.
func (t *tail) mean(k int) float64 {
	k = min(k, t.n, len(t.x))
	if k == 0 {
		return math.NaN()
	}
	sum := 0.0
	for i := range k {
		sum += t.x[(t.n-1-i)%len(t.x)]
	}
	return sum / float64(k)
}
