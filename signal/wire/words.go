package wire

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"dutybench/signal/stat"
)

// changes is how far a duty may go before it is said to change, in percent.
// Chosen: above the jitter of a badly timed PWM.
const changes = 5.0

// pwmWords say what was measured of a PWM.
func (r *Reading) pwmWords(g regularity) {
	f, d := r.Frequency_Hz, r.Duty_pct
	halfF, _ := f.Expanded(0.95)
	halfD, _ := d.Expanded(0.95)
	if m, ok := mains(f.Value, f.U()); ok {
		r.Kind = Unclear
		r.say("Edges come at %s Hz, the frequency of the mains: hum on an open wire, or a PWM of that very frequency. A known resistor from the wire to ground ends hum and leaves a driven PWM.", short(m))
		return
	}
	what := "PWM of"
	if g.changing {
		what = "PWM whose frequency changes, on average"
	}
	if r.DutyChanges() {
		r.say("%s %s Hz ± %s Hz, whose duty changes from %s to %s %%.", what, short(f.Value), uncertain(halfF), short3(r.DutyLow_pct), short3(r.DutyHigh_pct))
	} else {
		r.say("%s %s Hz ± %s Hz, high for %s %% ± %s %% of each period.", what, short(f.Value), uncertain(halfF), short(d.Value), uncertain(halfD))
	}
	if odd := r.Cycles - r.Periods; odd > 1 {
		r.say("%d of %d periods have another length: drop-outs, glitches, or a bad contact.", odd, r.Cycles)
	}
	if r.TimingJitter_s > 0 && r.PeriodJitter_s < 2*r.TimingJitter_s {
		r.limit("The jitter is not above what the timing of this input makes itself (%s).", seconds(r.TimingJitter_s))
	}
}

// levelWords say what the levels mean. Those of two open buses are from
// memory: ISO 11898-2, where both wires rest within 2 to 3 V and one rises,
// the other falls by about 1 V; ISO 17987-4, where a single wire goes from
// below 0.2 to above 0.8 of the supply, at 20 kbit/s at most.
func (r *Reading) levelWords() {
	low, high := r.Low_V.Value, r.High_V.Value
	both := finite(low) && finite(high)
	switch {
	case r.Kind == PWM && r.DutyChanges():
		if both {
			r.say("It goes from %s to %s; what a meter would show changes with the duty.", volts(low), volts(high))
		}
	case r.Kind == PWM && both:
		// Over whole periods, while a mean of samples begins and ends anywhere.
		share := r.Duty_pct.Value / 100
		r.Mean_V = stat.Exact(low+share*(high-low)).With("duty", (high-low)*r.Duty_pct.U()/100, 0).
			WithShared("levels", math.Hypot((1-share)*r.Low_V.U(), share*r.High_V.U()))
		r.say("It goes from %s to %s; a meter would show %s.", volts(low), volts(high), volts(r.Mean_V.Value))
	case r.Kind != Bus && r.Kind != TooFast:
	case both && (low >= 2 && low <= 3 && high <= 4.5 || high >= 2 && high <= 3 && low >= 0.5):
		r.say("Its levels, %s and %s, are those of one wire of a differential bus such as CAN (ISO 11898-2).", volts(low), volts(high))
	case both && r.Kind == Bus && r.Bit_s >= 45e-6 && high >= 7:
		r.say("Levels and speed fit a single-wire bus such as LIN (ISO 17987-4).")
	case !both && r.Lowest_V >= 1.3 && r.Highest_V <= 3.7 && r.Mean_V.Value >= 2 && r.Mean_V.Value <= 3:
		r.say("Its mean level, %s, and the %s to %s around it are those of one wire of a differential bus such as CAN (ISO 11898-2).", volts(r.Mean_V.Value), volts(r.Lowest_V), volts(r.Highest_V))
	case !both && finite(r.Lowest_V):
		r.say("Its level goes at least from %s to %s.", volts(r.Lowest_V), volts(r.Highest_V))
	}
	if r.Kind == PWM && both && low-2*r.Low_V.U() >= lowBelow_V {
		r.say("Its low level is above %s: an input may not take it as low.", volts(lowBelow_V))
	}
	if r.Kind == Bus {
		r.say("Leave a bus alone: load it with nothing, drive it with nothing.")
	}
}

// ends are the values that a hundredth of the samples lie below and above.
func ends(v []float64) (lowest, highest float64) {
	s := slices.Sorted(slices.Values(v))
	k := len(s) / 100
	return s[k], s[len(s)-1-k]
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func times(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}

// short is a number of four digits at most.
func short(x float64) string {
	if math.Abs(x) >= 1000 {
		return strconv.FormatFloat(math.Round(x), 'f', -1, 64)
	}
	return strconv.FormatFloat(x, 'g', 4, 64)
}

// uncertain is an uncertainty of two digits.
func uncertain(x float64) string {
	if !finite(x) {
		return "unknown"
	}
	if x >= 100 {
		return strconv.FormatFloat(math.Round(x), 'f', -1, 64)
	}
	return strconv.FormatFloat(x, 'g', 2, 64)
}

func volts(x float64) string {
	if !finite(x) {
		return "unknown V"
	}
	return strconv.FormatFloat(math.Round(x*100)/100+0, 'f', -1, 64) + " V"
}

func seconds(x float64) string {
	switch {
	case !finite(x):
		return "unknown s"
	case x >= 1:
		return short(x) + " s"
	case x >= 1e-3:
		return short(x*1e3) + " ms"
	}
	return short(x*1e6) + " µs"
}

func ohms(x float64) string {
	switch {
	case math.IsInf(x, 0):
		return "an endless resistance"
	case x >= 1e6:
		return short3(x/1e6) + " MΩ"
	case x >= 1e3:
		return short3(x/1e3) + " kΩ"
	}
	return short3(x) + " Ω"
}

func short3(x float64) string { return strconv.FormatFloat(x, 'g', 3, 64) }
