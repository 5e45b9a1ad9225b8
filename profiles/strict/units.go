package strict

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
)

// The unit types are numbers that a file writes with their unit, such as
// "13.5 V". Each reads only its own units,
// exactly (a prefix moves the decimal point, no rounding on the way), refuses
// what is not finite, and writes itself so that it reads back the same.
type (
	Volt       float64 // V, mV
	Ampere     float64 // A, mA
	Ohm        float64 // ohm, mohm, kohm, Mohm
	Hertz      float64 // Hz, kHz
	ClockHertz float64 // Hz, kHz, MHz
	Percent    float64 // %, held in percent
	Share      float64 // %, held as a fraction of 1
	Seconds    float64 // s, ms, us
	Coulomb    float64 // C, mC
	Henry      float64 // H, mH, uH
	AmpereSq   float64 // A2s, ampere squared seconds, as fuses state it
	Celsius    float64 // °C
	Millimetre float64 // mm, cm; held in mm
	Metre      float64 // m, cm, mm
	Watt       float64 // W, kW
	Kelvin     float64 // K
	PerLitre   float64 // /l, pulses of a flow meter
	PerMinute  float64 // /min, turns of a shaft
)

// unit is a physical unit as written: its names, the first of which is used
// for writing, each with the power of ten that leads to the number held.
type unit struct {
	what    string
	example string
	names   []scale
}

type scale struct {
	name  string
	power int
}

var (
	inVolt       = unit{"a voltage", "13.5 V", []scale{{"V", 0}, {"mV", -3}}}
	inAmpere     = unit{"a current", "15 A", []scale{{"A", 0}, {"mA", -3}}}
	inOhm        = unit{"a resistance", "2.2 kohm", []scale{{"ohm", 0}, {"kohm", 3}, {"Mohm", 6}, {"mohm", -3}, {"Ω", 0}, {"kΩ", 3}}}
	inHertz      = unit{"a frequency", "1000 Hz", []scale{{"Hz", 0}, {"kHz", 3}}}
	inClock      = unit{"a clock", "1.2 MHz", []scale{{"Hz", 0}, {"kHz", 3}, {"MHz", 6}}}
	inPercent    = unit{"a percentage", "5 %", []scale{{"%", 0}}}
	inShare      = unit{"a percentage", "5 %", []scale{{"%", -2}}}
	inSeconds    = unit{"a time", "30 s", []scale{{"s", 0}, {"ms", -3}, {"us", -6}, {"µs", -6}}}
	inCoulomb    = unit{"a charge in coulomb", "0.02 C", []scale{{"C", 0}, {"mC", -3}}}
	inHenry      = unit{"an inductance", "40 mH", []scale{{"H", 0}, {"mH", -3}, {"uH", -6}, {"µH", -6}}}
	inAmpereSq   = unit{"a heat in ampere squared seconds", "20 A2s", []scale{{"A2s", 0}}}
	inCelsius    = unit{"a temperature", "20 °C", []scale{{"°C", 0}}}
	inMillimetre = unit{"a length in millimetres", "19 mm", []scale{{"mm", 0}, {"cm", 1}}}
	inMetre      = unit{"a height or length", "0.5 m", []scale{{"m", 0}, {"cm", -2}, {"mm", -3}}}
	inWatt       = unit{"a power", "60 W", []scale{{"W", 0}, {"kW", 3}}}
	inKelvin     = unit{"a temperature in kelvin", "3380 K", []scale{{"K", 0}}}
	inPerLitre   = unit{"a number of pulses a litre", "450 /l", []scale{{"/l", 0}}}
	inPerMinute  = unit{"a speed in turns a minute", "4800 /min", []scale{{"/min", 0}}}
)

// UnmarshalText and MarshalText read and write a number with its unit.

func (x *Volt) UnmarshalText(b []byte) error       { return read(x, inVolt, b) }
func (x *Ampere) UnmarshalText(b []byte) error     { return read(x, inAmpere, b) }
func (x *Ohm) UnmarshalText(b []byte) error        { return read(x, inOhm, b) }
func (x *Hertz) UnmarshalText(b []byte) error      { return read(x, inHertz, b) }
func (x *ClockHertz) UnmarshalText(b []byte) error { return read(x, inClock, b) }
func (x *Percent) UnmarshalText(b []byte) error    { return read(x, inPercent, b) }
func (x *Share) UnmarshalText(b []byte) error      { return read(x, inShare, b) }
func (x *Seconds) UnmarshalText(b []byte) error    { return read(x, inSeconds, b) }
func (x *Coulomb) UnmarshalText(b []byte) error    { return read(x, inCoulomb, b) }
func (x *Henry) UnmarshalText(b []byte) error      { return read(x, inHenry, b) }
func (x *AmpereSq) UnmarshalText(b []byte) error   { return read(x, inAmpereSq, b) }
func (x *Celsius) UnmarshalText(b []byte) error    { return read(x, inCelsius, b) }
func (x *Millimetre) UnmarshalText(b []byte) error { return read(x, inMillimetre, b) }
func (x *Metre) UnmarshalText(b []byte) error      { return read(x, inMetre, b) }
func (x *Watt) UnmarshalText(b []byte) error       { return read(x, inWatt, b) }
func (x *Kelvin) UnmarshalText(b []byte) error     { return read(x, inKelvin, b) }
func (x *PerLitre) UnmarshalText(b []byte) error   { return read(x, inPerLitre, b) }
func (x *PerMinute) UnmarshalText(b []byte) error  { return read(x, inPerMinute, b) }

func (x Volt) MarshalText() ([]byte, error)       { return inVolt.text(float64(x)) }
func (x Ampere) MarshalText() ([]byte, error)     { return inAmpere.text(float64(x)) }
func (x Ohm) MarshalText() ([]byte, error)        { return inOhm.text(float64(x)) }
func (x Hertz) MarshalText() ([]byte, error)      { return inHertz.text(float64(x)) }
func (x ClockHertz) MarshalText() ([]byte, error) { return inClock.text(float64(x)) }
func (x Percent) MarshalText() ([]byte, error)    { return inPercent.text(float64(x)) }
func (x Share) MarshalText() ([]byte, error)      { return inShare.text(float64(x)) }
func (x Seconds) MarshalText() ([]byte, error)    { return inSeconds.text(float64(x)) }
func (x Coulomb) MarshalText() ([]byte, error)    { return inCoulomb.text(float64(x)) }
func (x Henry) MarshalText() ([]byte, error)      { return inHenry.text(float64(x)) }
func (x AmpereSq) MarshalText() ([]byte, error)   { return inAmpereSq.text(float64(x)) }
func (x Celsius) MarshalText() ([]byte, error)    { return inCelsius.text(float64(x)) }
func (x Millimetre) MarshalText() ([]byte, error) { return inMillimetre.text(float64(x)) }
func (x Metre) MarshalText() ([]byte, error)      { return inMetre.text(float64(x)) }
func (x Watt) MarshalText() ([]byte, error)       { return inWatt.text(float64(x)) }
func (x Kelvin) MarshalText() ([]byte, error)     { return inKelvin.text(float64(x)) }
func (x PerLitre) MarshalText() ([]byte, error)   { return inPerLitre.text(float64(x)) }
func (x PerMinute) MarshalText() ([]byte, error)  { return inPerMinute.text(float64(x)) }

// Example is how a value is written.

func (Volt) Example() string       { return inVolt.example }
func (Ampere) Example() string     { return inAmpere.example }
func (Ohm) Example() string        { return inOhm.example }
func (Hertz) Example() string      { return inHertz.example }
func (ClockHertz) Example() string { return inClock.example }
func (Percent) Example() string    { return inPercent.example }
func (Share) Example() string      { return inShare.example }
func (Seconds) Example() string    { return inSeconds.example }
func (Coulomb) Example() string    { return inCoulomb.example }
func (Henry) Example() string      { return inHenry.example }
func (AmpereSq) Example() string   { return inAmpereSq.example }
func (Celsius) Example() string    { return inCelsius.example }
func (Millimetre) Example() string { return inMillimetre.example }
func (Metre) Example() string      { return inMetre.example }
func (Watt) Example() string       { return inWatt.example }
func (Kelvin) Example() string     { return inKelvin.example }
func (PerLitre) Example() string   { return inPerLitre.example }
func (PerMinute) Example() string  { return inPerMinute.example }

// Duration is the time to the nearest nanosecond; at most 292 years fit.
func (x Seconds) Duration() time.Duration { return time.Duration(math.Round(float64(x) * 1e9)) }

// SecondsOf is the reverse of Duration.
func SecondsOf(d time.Duration) Seconds { return Seconds(float64(d) / 1e9) }

func read[T ~float64](x *T, u unit, b []byte) error {
	v, err := u.parse(string(b))
	*x = T(v)
	return err
}

// parse reads a number with one of the unit's names.
func (u unit) parse(s string) (float64, error) {
	number, name := split(s)
	i := slices.IndexFunc(u.names, func(n scale) bool { return n.name == name })
	switch {
	case number == "":
		return 0, fmt.Errorf("%q is not %s: write a number with %s, such as %q", Clip(s), u.what, u.list(), u.example)
	case name == "":
		return 0, fmt.Errorf("%q has no unit: write %s with %s, such as %q", Clip(s), u.what, u.list(), u.example)
	case i < 0:
		return 0, fmt.Errorf("%q has the wrong unit %q: write %s with %s, such as %q", Clip(s), Clip(name), u.what, u.list(), u.example)
	}
	v, ok := number10(number, u.names[i].power)
	if !ok {
		return 0, fmt.Errorf("%q is too large or too long a number: write %s such as %q", Clip(s), u.what, u.example)
	}
	return v, nil
}

// text writes x in the base unit; seconds below one in ms, and resistances
// from a thousand on in kohm.
func (u unit) text(x float64) ([]byte, error) {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil, fmt.Errorf("%v is not %s: it must be a finite number", x, u.what)
	}
	in := u.names[0]
	if size := math.Abs(x); in.name == "s" && size >= 1e-6 && size < 1 || in.name == "ohm" && size >= 1e3 {
		in = u.names[1]
	}
	return []byte(Decimal(x, -in.power) + " " + in.name), nil
}

// list is the unit's names for messages: "V or mV".
func (u unit) list() string {
	var names []string
	for _, n := range u.names {
		names = append(names, n.name)
	}
	return "the unit " + Either(names)
}

// Either joins words for messages: "a, b or c".
func Either(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	last := len(words) - 1
	return strings.Join(words[:last], ", ") + " or " + words[last]
}

// split takes a number in plain decimal or exponent form off the front of s;
// the rest, without spaces around it, is the unit. number is empty when s does
// not begin with one.
func split(s string) (number, name string) {
	i := 0
	digits := func() bool {
		from := i
		for i < len(s) && s[i] >= '0' && s[i] <= '9' {
			i++
		}
		return i > from
	}
	if strings.HasPrefix(s, "-") {
		i++
	}
	if !digits() {
		return "", strings.Trim(s, " ")
	}
	if i < len(s) && s[i] == '.' {
		if i++; !digits() {
			return "", strings.Trim(s, " ")
		}
	}
	if mark := i; i < len(s) && (s[i] == 'e' || s[i] == 'E') {
		if i++; i < len(s) && (s[i] == '-' || s[i] == '+') {
			i++
		}
		if !digits() {
			i = mark
		}
	}
	return s[:i], strings.Trim(s[i:], " ")
}

// number10 is the number times a power of ten, rounded once.
func number10(number string, power int) (float64, bool) {
	if len(number) > 100 {
		return 0, false
	}
	mantissa, exponent, has := strings.Cut(strings.ToLower(number), "e")
	if has {
		e, err := strconv.Atoi(exponent)
		if err != nil || e > 1000 || e < -1000 {
			return 0, false
		}
		power += e
	}
	x, err := strconv.ParseFloat(mantissa+"e"+strconv.Itoa(power), 64)
	return x, err == nil && !math.IsInf(x, 0)
}

// Decimal writes x times a power of ten so that number10 with the opposite
// power gives back x exactly: plain digits where that is short, an exponent
// otherwise.
func Decimal(x float64, power int) string {
	mantissa, exponent, _ := strings.Cut(strconv.FormatFloat(x, 'e', -1, 64), "e")
	e, _ := strconv.Atoi(exponent)
	if x == 0 {
		power = 0
	}
	e += power
	if e < -7 || e > 15 {
		return mantissa + "e" + strconv.Itoa(e)
	}
	sign := ""
	if mantissa[0] == '-' {
		sign, mantissa = "-", mantissa[1:]
	}
	digits := strings.Replace(mantissa, ".", "", 1)
	switch point := e + 1; {
	case point <= 0:
		return sign + "0." + strings.Repeat("0", -point) + digits
	case point >= len(digits):
		return sign + digits + strings.Repeat("0", point-len(digits))
	default:
		return sign + digits[:point] + "." + digits[point:]
	}
}

// Clip keeps quoted input in messages short.
func Clip(s string) string {
	const most = 60
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}
