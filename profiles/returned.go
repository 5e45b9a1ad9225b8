package profiles

import (
	"fmt"

	"dutybench/profiles/strict"
)

// Return is how the unit reports on itself, as its maker states it. What it
// says is shown as the unit's own word and decides nothing: a board that is at
// fault may say anything.
type Return struct {
	Wire  string // OwnWire or CommandWire; empty: the type has no return signal
	Codes []ReturnCode
	// Speed by frequency or by duty, straight between points; at most one of
	// the two.
	SpeedByFrequency, SpeedByDuty []SpeedPoint
}

// Where the return signal is.
const (
	OwnWire     = "own"     // a PWM or frequency on a wire of its own
	CommandWire = "command" // pull-downs of the command's wire, told apart by their lengths
)

// ReturnCode is one thing that the unit says. A range of nought is not stated.
type ReturnCode struct {
	Name    string
	Meaning string
	Cause   string // that the maker names with it, in words; decides nothing

	Duty      Window // share of a period at high level
	Frequency HertzRange
	Length    SecondsRange // of a pull-down
}

// SpeedPoint is one point of a law of speed: a frequency in hertz or a duty in
// percent, and turns a minute.
type SpeedPoint struct{ X, Speed_per_min float64 }

// HertzRange and SecondsRange are ranges of a code.
type (
	HertzRange   = strict.HertzRange
	SecondsRange = strict.SecondsRange
)

type fileReturn struct {
	Wire        string           `toml:"wire" oneof:"own|command" comment:"its own, or pull-downs of the command's wire"`
	ByFrequency []frequencySpeed `toml:"speed_by_frequency,omitempty" inline:"true" comment:"straight between these points"`
	ByDuty      []dutySpeed      `toml:"speed_by_duty,omitempty" inline:"true" comment:"straight between these points"`
	Codes       []fileReturnCode `toml:"code,omitempty" comment:"What the unit says of itself. It is shown as the unit's word and decides nothing."`
}

type fileReturnCode struct {
	Name      string       `toml:"name" comment:"one word"`
	Meaning   string       `toml:"meaning"`
	Cause     string       `toml:"cause,omitempty" comment:"as the maker names it"`
	Duty      Window       `toml:"duty,omitempty" comment:"share of a period at high level"`
	Frequency HertzRange   `toml:"frequency,omitempty"`
	Length    SecondsRange `toml:"length,omitempty" comment:"of a pull-down"`
}

type frequencySpeed struct {
	Frequency Hertz            `toml:"frequency" min:"0" max:"100000"`
	Speed     strict.PerMinute `toml:"speed" min:"0" max:"1000000"`
}

type dutySpeed struct {
	Duty  Percent          `toml:"duty" min:"0" max:"100"`
	Speed strict.PerMinute `toml:"speed" min:"0" max:"1000000"`
}

func (f *fileReturn) held() Return {
	r := Return{Wire: f.Wire}
	for _, c := range f.Codes {
		r.Codes = append(r.Codes, ReturnCode(c))
	}
	for _, q := range f.ByFrequency {
		r.SpeedByFrequency = append(r.SpeedByFrequency, SpeedPoint{float64(q.Frequency), float64(q.Speed)})
	}
	for _, q := range f.ByDuty {
		r.SpeedByDuty = append(r.SpeedByDuty, SpeedPoint{float64(q.Duty), float64(q.Speed)})
	}
	return r
}

func fileReturnOf(r Return) fileReturn {
	f := fileReturn{Wire: r.Wire}
	for _, c := range r.Codes {
		f.Codes = append(f.Codes, fileReturnCode(c))
	}
	for _, q := range r.SpeedByFrequency {
		f.ByFrequency = append(f.ByFrequency, frequencySpeed{Hertz(q.X), strict.PerMinute(q.Speed_per_min)})
	}
	for _, q := range r.SpeedByDuty {
		f.ByDuty = append(f.ByDuty, dutySpeed{Percent(q.X), strict.PerMinute(q.Speed_per_min)})
	}
	return f
}

// checkReturn holds the parts of [return] against each other.
func (d *decoder) checkReturn(n *strict.Node, f *fileReturn) {
	if f.Wire == "" {
		return
	}
	if len(f.Codes)+len(f.ByFrequency)+len(f.ByDuty) == 0 {
		d.Add(n.Place, "[return] says nothing: add a [[return.code]] or a law of speed, or leave [return] out")
	}
	if len(f.ByFrequency) > 0 && len(f.ByDuty) > 0 {
		d.Add(n.At("speed_by_duty").Place, "speed comes by frequency and by duty: keep the one that the type's sheet states")
	}
	if f.Wire == CommandWire && len(f.ByFrequency)+len(f.ByDuty) > 0 {
		d.Add(n.At("wire").Place, "pull-downs of the command's wire carry no speed: leave the law of speed out, or say wire = \"own\"")
	}
	var frequencies, duties []float64
	for _, q := range f.ByFrequency {
		frequencies = append(frequencies, float64(q.Frequency))
	}
	for _, q := range f.ByDuty {
		duties = append(duties, float64(q.Duty))
	}
	d.checkRising(n, "speed_by_frequency", "frequency", frequencies)
	d.checkRising(n, "speed_by_duty", "duty", duties)
	first := map[string]int{}
	for i, c := range f.Codes {
		at := n.At("code", i)
		if !namePattern.MatchString(c.Name) || len(c.Name) > strict.MaxName {
			d.Add(at.At("name").Place, "name is %q: use small letters, digits and single hyphens, such as \"blocked\"", strict.Clip(c.Name))
		}
		if j, twice := first[c.Name]; twice {
			d.Add(at.At("name").Place, "name %q stands twice, first as [[return.code]] number %d: each code needs its own", strict.Clip(c.Name), j+1)
		} else {
			first[c.Name] = i
		}
		d.checkCode(at, f.Wire, c)
		for j, other := range f.Codes[:i] {
			if c.meets(other) {
				d.Add(at.Place, "a signal could mean this code and %q, number %d: make their ranges apart", strict.Clip(other.Name), j+1)
			}
		}
	}
}

func (d *decoder) checkRising(n *strict.Node, list, key string, xs []float64) {
	if len(xs) == 1 {
		d.Add(n.At(list).Place, "a law of speed needs at least two points")
	}
	for i := 1; i < len(xs); i++ {
		if xs[i] <= xs[i-1] {
			d.Add(n.At(list, i, key).Place, "%s is %v, not above the point before, %v: points must rise in %s", key, xs[i], xs[i-1], key)
		}
	}
}

func (d *decoder) checkCode(n *strict.Node, wire string, c fileReturnCode) {
	var problem string
	switch own := wire == OwnWire; {
	case own && c.Length != SecondsRange{}:
		problem = "length is for pull-downs of the command's wire: state duty or frequency instead"
	case own && c.Duty == Window{} && c.Frequency == HertzRange{}:
		problem = "the code has no range above nought to know it by: state duty, frequency or both"
	case !own && (c.Duty != Window{} || c.Frequency != HertzRange{}):
		problem = "duty and frequency are for a wire of its own: state length instead"
	case !own && c.Length == SecondsRange{}:
		problem = "the code has no range above nought to know it by: state its length"
	case c.Duty.From_pct < 0 || c.Duty.To_pct > 100:
		problem = "duty reaches beyond 0 % to 100 %"
	case c.Frequency.Low_Hz < 0 || c.Frequency.High_Hz > 100e3:
		problem = "frequency reaches beyond 0 Hz to 100 kHz"
	case c.Length.Low_s < 0 || c.Length.High_s > 3600:
		problem = "length reaches beyond 0 s to 3600 s"
	default:
		return
	}
	d.Add(n.Place, "%s", problem)
}

// meets says that one signal can be both codes.
func (c fileReturnCode) meets(o fileReturnCode) bool {
	both := func(stated bool, a, b, x, y float64) bool { return !stated || a <= y && x <= b }
	return both(c.Duty != Window{} && o.Duty != Window{}, c.Duty.From_pct, c.Duty.To_pct, o.Duty.From_pct, o.Duty.To_pct) &&
		both(c.Frequency != HertzRange{} && o.Frequency != HertzRange{}, c.Frequency.Low_Hz, c.Frequency.High_Hz, o.Frequency.Low_Hz, o.Frequency.High_Hz) &&
		both(c.Length != SecondsRange{} && o.Length != SecondsRange{}, c.Length.Low_s, c.Length.High_s, o.Length.Low_s, o.Length.High_s)
}

// String is what the unit would put on its wire to say this.
func (c ReturnCode) String() string {
	var s string
	add := func(format string, a, b float64) {
		if s != "" {
			s += ", "
		}
		s += fmt.Sprintf(format, a, b)
	}
	if c.Duty != (Window{}) {
		add("duty %g to %g %%", c.Duty.From_pct, c.Duty.To_pct)
	}
	if c.Frequency != (HertzRange{}) {
		add("%g to %g Hz", c.Frequency.Low_Hz, c.Frequency.High_Hz)
	}
	if c.Length != (SecondsRange{}) {
		add("pull-down of %g to %g s", c.Length.Low_s, c.Length.High_s)
	}
	return s
}
