package wire

import (
	"fmt"
	"math"
	"slices"
)

// Range is from Low to High, ends included.
type Range struct{ Low, High float64 }

func (r *Range) holds(x float64) bool { return r == nil || x >= r.Low && x <= r.High }

// Code is one thing that a unit says of itself, by what lies within all of the
// ranges that are not nil.
type Code struct {
	Name    string // one word, such as "blocked"
	Meaning string // for people
	// Hint is the cause that the maker's table names with it, in words. It is
	// the unit's own word and no measurement: it decides nothing.
	Hint         string
	Duty_pct     *Range
	Frequency_Hz *Range
	Length_s     *Range // of a pull-down of the command line
}

// SpeedPoint is one point of a law of speed.
type SpeedPoint struct{ X, Speed_per_min float64 }

// Table says what a unit's return signal means. Which duty means what differs
// from maker to maker, so it is data.
type Table struct {
	// Line says that the unit pulls the command line down for some time, else
	// it has a wire of its own. Command_Hz is then the command's frequency.
	Line       bool
	Command_Hz float64
	Codes      []Code
	// The law of speed, over "duty" in percent or "frequency" in hertz, rising
	// in X, straight between the points; outside them there is none.
	SpeedBy string
	Speed   []SpeedPoint
}

// Told is what a unit said for some time.
type Told struct {
	From_s, To_s float64
	Code         int // in the table; NoCode: none fits
	// Means over that time; NaN where there is none.
	Duty_pct, Frequency_Hz, Length_s, Speed_per_min float64
}

// NoCode is a signal that the table does not know.
const NoCode = -1

const (
	// A code counts from so many periods in a row. Chosen: the period in which
	// it changes is of neither, and a disturbed one stands alone.
	tellingPeriods = 3
	// A wire without edges for so many of the longest periods that the table
	// knows stays at its level. Chosen.
	silentPeriods = 4
	silentElse_s  = 0.5 // chosen: where the table states no frequency
)

// Decode reads a unit's return signal. What it says is evidence of its own
// kind: shown as the unit's word, never a measurement.
func (t *Table) Decode(e *Edges) ([]Told, error) {
	if err := e.check(); err != nil {
		return nil, err
	}
	if len(t.Codes) == 0 && len(t.Speed) == 0 {
		return nil, fmt.Errorf("wire: the table of the return signal is empty: give it a code or a law of speed")
	}
	c := chainOf(e)
	if t.Line {
		if !(t.Command_Hz > 0) {
			return nil, fmt.Errorf("wire: pull-downs of the command line need the command's frequency, to be told from its own lows")
		}
		return t.pullDowns(c), nil
	}
	return t.merged(t.periods(c, e)), nil
}

// pullDowns are lows that are too long for the command's own.
func (t *Table) pullDowns(c chain) []Told {
	var out []Told
	for i := 1; i < len(c.at); i++ {
		length := c.at[i] - c.at[i-1]
		if c.high[i-1] || c.broken[i] || length <= 1.5/t.Command_Hz {
			continue
		}
		out = append(out, Told{From_s: c.at[i-1], To_s: c.at[i], Code: t.code(math.NaN(), math.NaN(), length),
			Duty_pct: math.NaN(), Frequency_Hz: math.NaN(), Length_s: length, Speed_per_min: math.NaN()})
	}
	return out
}

// periods is what each whole period says, and each silence.
func (t *Table) periods(c chain, e *Edges) []Told {
	longest := 0.0
	for _, k := range t.Codes {
		if k.Frequency_Hz != nil && k.Frequency_Hz.Low > 0 {
			longest = max(longest, 1/k.Frequency_Hz.Low)
		}
	}
	if t.SpeedBy == "frequency" && len(t.Speed) > 0 && t.Speed[0].X > 0 {
		longest = max(longest, 1/t.Speed[0].X)
	}
	silence := silentPeriods * longest
	if silence == 0 {
		silence = silentElse_s
	}
	var out []Told
	quiet := func(from, to float64, high bool) {
		if to-from >= silence {
			d := 0.0
			if high {
				d = 100
			}
			out = append(out, t.told(from, to, d, 0))
		}
	}
	last, high := e.Start_s, e.StartHigh
	for i, at := range c.at {
		quiet(last, at, high)
		last, high = at, c.high[i]
		if c.high[i] && i+2 < len(c.at) && !c.broken[i+1] && !c.broken[i+2] {
			if whole := c.at[i+2] - at; whole > 0 && whole < silence {
				out = append(out, t.told(at, c.at[i+2], 100*(c.at[i+1]-at)/whole, 1/whole))
			}
		}
	}
	quiet(last, e.End_s, high)
	slices.SortStableFunc(out, func(a, b Told) int {
		switch {
		case a.From_s < b.From_s:
			return -1
		case a.From_s > b.From_s:
			return 1
		}
		return 0
	})
	return out
}

func (t *Table) told(from, to, duty, f float64) Told {
	return Told{From_s: from, To_s: to, Code: t.code(duty, f, math.NaN()), Duty_pct: duty, Frequency_Hz: f, Length_s: math.NaN(), Speed_per_min: t.speed(duty, f)}
}

// code is the first that fits. A length fits codes of lengths only, and the
// frequency of a silent wire, which has none, is held against nothing.
func (t *Table) code(duty, f, length float64) int {
	return slices.IndexFunc(t.Codes, func(k Code) bool {
		if !math.IsNaN(length) {
			return k.Length_s != nil && k.Length_s.holds(length)
		}
		if k.Length_s != nil || k.Duty_pct == nil && k.Frequency_Hz == nil {
			return false
		}
		if f == 0 && k.Frequency_Hz != nil && k.Duty_pct != nil {
			return k.Duty_pct.holds(duty)
		}
		return k.Duty_pct.holds(duty) && k.Frequency_Hz.holds(f)
	})
}

func (t *Table) speed(duty, f float64) float64 {
	x := duty
	if t.SpeedBy == "frequency" {
		x = f
	}
	for i := 1; i < len(t.Speed); i++ {
		a, b := t.Speed[i-1], t.Speed[i]
		if x >= a.X && x <= b.X && b.X > a.X {
			return a.Speed_per_min + (b.Speed_per_min-a.Speed_per_min)*(x-a.X)/(b.X-a.X)
		}
	}
	return math.NaN()
}

// merged joins periods of one code, and drops what lasted too few of them.
func (t *Table) merged(periods []Told) []Told {
	var out []Told
	for i := 0; i < len(periods); {
		j, sumD, sumF, sumS := i, 0.0, 0.0, 0.0
		silent := periods[i].Frequency_Hz == 0
		for ; j < len(periods) && periods[j].Code == periods[i].Code && (periods[j].Frequency_Hz == 0) == silent; j++ {
			sumD, sumF, sumS = sumD+periods[j].Duty_pct, sumF+periods[j].Frequency_Hz, sumS+periods[j].Speed_per_min
		}
		n := float64(j - i)
		m := periods[i]
		m.To_s, m.Duty_pct, m.Frequency_Hz, m.Speed_per_min = periods[j-1].To_s, sumD/n, sumF/n, sumS/n
		if silent || j-i >= tellingPeriods {
			// The same as before, with a disturbance between.
			if k := len(out) - 1; k >= 0 && out[k].Code == m.Code && (out[k].Frequency_Hz == 0) == silent {
				a, b := out[k].To_s-out[k].From_s, m.To_s-m.From_s
				mean := func(x, y float64) float64 { return (a*x + b*y) / (a + b) }
				m.Duty_pct, m.Frequency_Hz, m.Speed_per_min = mean(out[k].Duty_pct, m.Duty_pct), mean(out[k].Frequency_Hz, m.Frequency_Hz), mean(out[k].Speed_per_min, m.Speed_per_min)
				out[k].To_s, out[k].Duty_pct, out[k].Frequency_Hz, out[k].Speed_per_min = m.To_s, m.Duty_pct, m.Frequency_Hz, m.Speed_per_min
			} else {
				out = append(out, m)
			}
		}
		i = j
	}
	return out
}

// Unknown says that the table knows neither a code nor a speed for it.
func (t *Table) Unknown(x Told) bool {
	return (x.Code < 0 || x.Code >= len(t.Codes)) && math.IsNaN(x.Speed_per_min)
}

// Sentence is what the unit said, as its own word.
func (t *Table) Sentence(x Told) string {
	words := "something that its table does not know"
	if x.Code >= 0 && x.Code < len(t.Codes) {
		if words = t.Codes[x.Code].Meaning; words == "" {
			words = t.Codes[x.Code].Name
		}
	} else if !math.IsNaN(x.Speed_per_min) {
		words = "its speed"
	}
	by := ""
	switch {
	case !math.IsNaN(x.Length_s):
		by = fmt.Sprintf("line pulled down for %s", seconds(x.Length_s))
	case x.Frequency_Hz == 0 && x.Duty_pct == 0:
		by = "wire low"
	case x.Frequency_Hz == 0:
		by = "wire high"
	default:
		by = fmt.Sprintf("%s Hz, %s %%", short(x.Frequency_Hz), short(x.Duty_pct))
	}
	if !math.IsNaN(x.Speed_per_min) {
		by += fmt.Sprintf(", which it calls %s /min", short(math.Round(x.Speed_per_min)))
	}
	return fmt.Sprintf("From %.2f s to %.2f s the unit reports: %s (%s).", x.From_s, x.To_s, words, by)
}
