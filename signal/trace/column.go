package trace

import (
	"math"
	"strconv"
	"unicode/utf8"
)

// builder is a column while it is read.
type builder struct {
	name string
	// at is the cell in the file, from 1; 0 when the value comes from no cell.
	at       int
	required bool
	checked  bool // its values have a range, see check
	textual  bool // may hold text
	isText   bool
	values   []float64
	text     []string
	missing  int
}

var knownColumns = map[string]bool{
	ColTime: true, ColDuty: true, ColCurrent: true, ColSupplyOn: true, ColSupply: true,
	ColLineDuty: true, ColLine: true, ColTemperature: true, ColFlow: true,
	ColPosition: true, ColPositionV: true, ColDirection: true,
}

// required lists the columns that every trace has.
func required() []string { return []string{ColTime, ColDuty, ColCurrent} }

func newBuilder(name string, at int) builder {
	b := builder{name: name, at: at, textual: !knownColumns[name] || name == ColDirection}
	switch name {
	case ColTime, ColDuty:
		b.required, b.checked = true, true
	case ColCurrent:
		b.required = true
	case ColSupplyOn, ColLineDuty:
		b.checked = true
	}
	return b
}

// check refuses a value that the column cannot have.
func (b *builder) check(v float64) (problem, advice string) {
	switch b.name {
	case ColDuty, ColLineDuty:
		if v < 0 || v > 100 {
			return "the duty " + number(v) + " lies outside 0 to 100 %",
				"give it in percent, or describe the file with a mapping (factor, offset)"
		}
	case ColSupplyOn:
		if v != 0 && v != 1 {
			return "the value " + number(v) + " is neither 0 (off) nor 1 (on)",
				"write 0 or 1"
		}
	case ColTime:
		if n := len(b.values); n > 0 && v < b.values[n-1] {
			return "time runs back, from " + number(b.values[n-1]) + " s to " + number(v) + " s",
				"sort the rows, or split the file where it starts anew"
		}
	}
	return "", ""
}

// put adds a value that was checked; NaN counts as missing.
func (b *builder) put(v float64) {
	if b.isText {
		s := ""
		if !math.IsNaN(v) {
			s = number(v)
		}
		b.text = append(b.text, s)
		return
	}
	if math.IsNaN(v) {
		b.missing++
	}
	b.values = append(b.values, v)
}

// putText adds a cell that is no number. The first such cell turns the column
// into text; numbers before it are then spelled in their shortest form.
func (b *builder) putText(cell string) {
	if !b.isText {
		values := b.values
		b.isText, b.values, b.missing = true, nil, 0
		b.text = make([]string, 0, cap(values))
		for _, v := range values {
			b.put(v)
		}
	}
	// A state repeats from row to row: keep one string for it.
	if n := len(b.text); n > 0 && b.text[n-1] == cell {
		cell = b.text[n-1]
	}
	b.text = append(b.text, cell)
}

// takeText turns bytes into text: UTF-8, or with latin1 the bytes of
// ISO 8859-1 where they are no UTF-8. ok is false for bytes that are neither.
func takeText(b []byte, latin1 bool) (s string, ok bool) {
	if utf8.Valid(b) {
		return string(b), true
	}
	if !latin1 {
		return "", false
	}
	r := make([]rune, len(b))
	for i, c := range b {
		r[i] = rune(c)
	}
	return string(r), true
}

// number spells a value so that reading it gives the same bits.
func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
