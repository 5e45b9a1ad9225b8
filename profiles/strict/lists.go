package strict

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Amperes and Percents are lists with one unit at the end, "0.31 - 0.71 A";
// a dash, held as NaN, is one not measured.
type (
	Amperes  []float64
	Percents []float64
)

func (Amperes) Example() string      { return "0.31 0.45 - A" }
func (Percents) Example() string     { return "20 40 60 %" }
func (PercentRange) Example() string { return "0 % to 5 %" }
func (CelsiusRange) Example() string { return "15 °C to 30 °C" }
func (VoltRange) Example() string    { return "11 V to 15 V" }

func (l *Amperes) UnmarshalText(b []byte) (err error) {
	*l, err = parseList(inAmpere, string(b), "0.31 0.45 - A")
	return err
}

func (l *Percents) UnmarshalText(b []byte) (err error) {
	*l, err = parseList(inPercent, string(b), "20 40 60 %")
	return err
}

func (l Amperes) MarshalText() ([]byte, error)  { return listText(inAmpere, l) }
func (l Percents) MarshalText() ([]byte, error) { return listText(inPercent, l) }

// maxList is the longest list of numbers that is read.
const maxList = 1000

func parseList(u unit, s, example string) ([]float64, error) {
	words := strings.Fields(s)
	if len(words) == 0 {
		return nil, fmt.Errorf("the list is empty: write numbers with one unit at the end, such as %q", example)
	}
	name := words[len(words)-1]
	if i := slices.IndexFunc(u.names, func(n scale) bool { return n.name == name }); i < 0 {
		return nil, fmt.Errorf("the list ends in %q: it must end in %s, such as %q", Clip(name), u.list(), example)
	}
	words = words[:len(words)-1]
	if len(words) > maxList {
		return nil, fmt.Errorf("the list holds %d numbers: at most %d are read", len(words), maxList)
	}
	list := make([]float64, len(words))
	for i, w := range words {
		if w == "-" {
			list[i] = math.NaN()
			continue
		}
		x, err := u.parse(w + " " + name)
		if err != nil {
			return nil, fmt.Errorf("value %d of the list, %q, is no number: write numbers with one unit at the end and a dash where not measured, such as %q", i+1, Clip(w), example)
		}
		list[i] = x
	}
	if len(list) == 0 {
		return nil, fmt.Errorf("the list holds no numbers: write some before the unit, such as %q", example)
	}
	return list, nil
}

func listText(u unit, list []float64) ([]byte, error) {
	var b strings.Builder
	for _, x := range list {
		if math.IsInf(x, 0) {
			return nil, fmt.Errorf("%v in a list is not %s", x, u.what)
		}
		if math.IsNaN(x) {
			b.WriteString("- ")
		} else {
			b.WriteString(Decimal(x, -u.names[0].power) + " ")
		}
	}
	return []byte(b.String() + u.names[0].name), nil
}

// PercentRange is a range such as "0 % to 5 %".
type PercentRange struct{ From_pct, To_pct float64 }

// UnmarshalText reads a range such as "0 % to 5 %".
func (w *PercentRange) UnmarshalText(b []byte) (err error) {
	w.From_pct, w.To_pct, err = parseRange(inPercent, string(b), "0 % to 5 %")
	return err
}

// MarshalText writes a range such as "0 % to 5 %".
func (w PercentRange) MarshalText() ([]byte, error) {
	return rangeText(inPercent, w.From_pct, w.To_pct)
}

// CelsiusRange is a range of temperature, "15 °C to 30 °C".
type CelsiusRange struct{ Low, High float64 }

func (r *CelsiusRange) UnmarshalText(b []byte) (err error) {
	r.Low, r.High, err = parseRange(inCelsius, string(b), "15 °C to 30 °C")
	return err
}

func (r CelsiusRange) MarshalText() ([]byte, error) { return rangeText(inCelsius, r.Low, r.High) }

// VoltRange is a range of voltage, "11 V to 15 V".
type VoltRange struct{ Low_V, High_V float64 }

func (r *VoltRange) UnmarshalText(b []byte) (err error) {
	r.Low_V, r.High_V, err = parseRange(inVolt, string(b), "11 V to 15 V")
	return err
}

func (r VoltRange) MarshalText() ([]byte, error) { return rangeText(inVolt, r.Low_V, r.High_V) }

func parseRange(u unit, s, example string) (low, high float64, err error) {
	a, b, ok := strings.Cut(s, " to ")
	if !ok {
		return 0, 0, fmt.Errorf("%q is no range: write both ends with their unit, such as %q", Clip(s), example)
	}
	if low, err = u.parse(a); err != nil {
		return 0, 0, err
	}
	if high, err = u.parse(b); err != nil {
		return 0, 0, err
	}
	if low > high {
		return 0, 0, fmt.Errorf("%q runs backwards: the lower end comes first, such as %q", Clip(s), example)
	}
	return low, high, nil
}

func rangeText(u unit, low, high float64) ([]byte, error) {
	a, err := u.text(low)
	if err != nil {
		return nil, err
	}
	b, err := u.text(high)
	return []byte(string(a) + " to " + string(b)), err
}

// Values are named numbers. They keep their order: that in which a person
// should read them.
type Values []Value

// Value is one named number with its unit.
type Value struct {
	Name string
	X    float64
	Unit string
}

// Quantity is a number with whatever unit its kind gave it. In the file a
// number without unit stands bare; one with a unit, or not measured ("- A"),
// is a string.
type Quantity struct {
	X    float64
	Unit string
}

// UnmarshalText reads "0.021 A", "- A" or "-".
func (q *Quantity) UnmarshalText(b []byte) error {
	s := string(b)
	number, name := split(s)
	if number == "" && (s == "-" || strings.HasPrefix(s, "- ")) {
		number, name = "-", strings.Trim(s[1:], " ")
	}
	switch {
	case number == "":
		return fmt.Errorf("%q is no number with a unit: write it such as \"0.021 A\"", Clip(s))
	case number == "-":
		q.X = math.NaN()
	case name == "":
		return fmt.Errorf("%q has no unit: write it such as \"0.021 A\", or without quotes when the number has none", Clip(s))
	default:
		x, ok := number10(number, 0)
		if !ok {
			return fmt.Errorf("%q is too large or too long a number", Clip(s))
		}
		q.X = x
	}
	if name != "" && !isUnit(name) {
		return fmt.Errorf("%q is no unit: write one word, such as \"0.021 A\"", Clip(name))
	}
	q.Unit = name
	return nil
}

// isUnit says whether a word can stand as a unit behind a number and be read
// back as it was.
func isUnit(s string) bool {
	number, rest := split("1" + s)
	return number == "1" && rest == s && IsPlain(s) && !strings.ContainsAny(s, " ") && len(s) <= 40
}
