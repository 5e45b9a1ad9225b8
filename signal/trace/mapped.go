package trace

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"
	"strings"
)

// plan is a mapping made ready for one recording. It turns each row of the
// recording into one of the trace.
type plan struct {
	*reader
	targets []target
	cells   [][]byte // of the present row
	values  []float64
	texts   []string
	isText  []bool
	decimal []byte // room for a cell with its comma turned
	seen    int    // rows of the recording, the dropped ones included
	dropped int
	held    int
	holding int // cells held in the present row
}

// target is one column of the trace to be.
type target struct {
	ColumnMap
	cell   int // in the recording, from 0; -1 when it comes from no cell
	factor float64
	plain  bool // the cell itself, not converted
	levels []level
	stamp  stamp
}

type level struct {
	text    string
	number  float64
	numeric bool
	value   float64
}

// plan reads the recording's head and finds the columns that the mapping
// names.
func (r *reader) plan() (*plan, error) {
	m := r.mapping
	if f := m.check(); f != nil {
		source := m.Source
		if source == "" {
			source = "mapping"
		}
		return nil, &Error{Source: source, Problem: strings.Join(f.path, ".") + ": " + f.problem, Advice: f.advice}
	}
	r.delimiter, _ = m.delimiterByte()
	for range m.SkipLines {
		if _, err := r.next(); errors.Is(err, io.EOF) {
			return nil, r.nothing()
		} else if err != nil {
			return nil, err
		}
	}
	for _, key := range sortedKeys(m.Meta) {
		if problem, advice := r.comments.add(Entry{key, m.Meta[key]}); problem != "" {
			return nil, r.bad(problem, advice)
		}
	}
	if m.SHA256 != "" {
		r.comments.entries = append(r.comments.entries, Entry{"x-mapping", filepath.Base(m.Source) + " sha256 " + m.SHA256})
	}
	var names []string
	if m.hasHeader() {
		line, err := r.preamble()
		if err != nil {
			return nil, err
		}
		if names, err = r.headings(line); err != nil {
			return nil, err
		}
	}
	p := &plan{reader: r}
	for _, name := range m.names() {
		t, err := r.target(name, names)
		if err != nil {
			return nil, err
		}
		b := newBuilder(name, t.cell+1)
		p.targets, r.columns = append(p.targets, t), append(r.columns, b)
	}
	n := len(p.targets)
	p.values, p.texts, p.isText = make([]float64, n), make([]string, n), make([]bool, n)
	r.warnUnknown()
	return p, nil
}

// target finds where one column of the trace comes from; names is the header
// of the recording.
func (r *reader) target(name string, names []string) (target, error) {
	c := r.mapping.Columns[name]
	t := target{ColumnMap: c, cell: c.Column - 1, factor: 1, stamp: newStamp(c.TimeFormat),
		plain: c.Factor == nil && c.Offset == 0 && c.TimeFormat == "" && c.Levels == nil && c.Points == nil}
	if c.Factor != nil {
		t.factor = *c.Factor
	}
	for _, k := range sortedKeys(c.Levels) {
		v, f := parseFloat([]byte(k))
		t.levels = append(t.levels, level{k, v, f == fine, c.Levels[k]})
	}
	if c.From == "" {
		return t, nil
	}
	t.cell = slices.Index(names, strings.TrimSpace(c.From))
	switch {
	case t.cell < 0:
		return t, r.bad("the recording has no column "+quote(c.From)+"; it has "+list(names),
			"correct from in [columns."+name+"] of the mapping")
	case slices.Contains(names[t.cell+1:], names[t.cell]):
		return t, r.bad("the heading "+quote(c.From)+" stands more than once",
			"give the number of the column in [columns."+name+"] of the mapping")
	}
	return t, nil
}

// row turns one row of the recording into one of the trace, or drops it.
func (p *plan) row(line []byte) error {
	if !p.mapping.hasHeader() && p.seen == 0 && isComment(line) {
		return p.comment(line)
	}
	p.seen++
	p.holding = 0
	if err := p.split(line); err != nil {
		return err
	}
	for i := range p.targets {
		keep, err := p.evaluate(i)
		if err != nil {
			return err
		}
		if !keep {
			p.dropped++
			return nil
		}
	}
	p.held += p.holding
	for i := range p.targets {
		b := &p.columns[i]
		if p.isText[i] {
			b.putText(p.texts[i])
			continue
		}
		v := p.values[i]
		if b.checked && !math.IsNaN(v) {
			v = withoutNoise(b, v)
			if problem, advice := b.check(v); problem != "" {
				return p.badCell(b, problem, advice)
			}
		}
		b.put(v)
	}
	return nil
}

// withoutNoise takes back what a factor's rounding leaves beyond the ends of
// the duty scale.
func withoutNoise(b *builder, v float64) float64 {
	if b.name == ColDuty || b.name == ColLineDuty {
		const noise = 1e-9
		switch {
		case v < 0 && v > -noise:
			return 0
		case v > 100 && v < 100+noise:
			return 100
		}
	}
	return v
}

// split finds the cells of a line.
func (p *plan) split(line []byte) error {
	p.cells = p.cells[:0]
	for pos := 0; pos <= len(line); {
		cell, _, end, ok := nextCell(line, pos, p.delimiter)
		if !ok {
			e := p.bad("the quotes of this cell are not closed", `close them with " on the same line`)
			e.Column = len(p.cells) + 1
			return e
		}
		p.cells = append(p.cells, cell)
		pos = end + 1
	}
	return nil
}

// evaluate finds the value of target i in the present row; keep is false
// when the row is to be dropped.
func (p *plan) evaluate(i int) (keep bool, err error) {
	t, b := &p.targets[i], &p.columns[i]
	p.isText[i] = false
	switch {
	case t.Constant != nil:
		p.values[i] = *t.Constant
		return true, nil
	case t.StepS != nil:
		p.values[i] = float64(p.seen-1) * *t.StepS
		return true, nil
	case t.Schedule != nil:
		p.values[i] = atTime(t.Schedule, p.values[0])
		return true, nil
	case t.cell >= len(p.cells):
		e := p.badCell(b, fmt.Sprintf("the row has %d cells and ends before this column", len(p.cells)),
			"fill in the row or take it out, and check the delimiter in the mapping")
		return false, e
	}
	cell := p.cells[t.cell]
	if len(cell) == 0 {
		return p.empty(i)
	}
	if t.TimeFormat != "" {
		s, problem := t.stamp.seconds(cell)
		if problem != "" {
			return false, p.badCell(b, problem, "correct time_format in the mapping, now "+quote(t.TimeFormat))
		}
		p.values[i] = s
		return true, nil
	}
	v, f := p.number(cell)
	if t.levels != nil {
		v, ok := atLevel(t.levels, cell, v, f == fine)
		if !ok {
			return false, p.badCell(b, "the mapping gives no level for "+quote(cell), "add it to levels in [columns."+b.name+"]")
		}
		p.values[i] = v
		return true, nil
	}
	switch {
	case t.plain && b.textual && (f != fine || b.isText):
		s, _ := takeText(cell, true)
		if strings.ContainsRune(s, '\r') {
			return false, p.loneReturn(nil)
		}
		p.texts[i], p.isText[i] = s, true
		return true, nil
	case f != fine:
		return false, p.badNumber(b, cell, f)
	case t.Points != nil:
		w, ok := onLine(t.Points, v)
		if !ok {
			return false, p.badCell(b, quote(cell)+" lies outside the points of the mapping", "add a point beyond it in [columns."+b.name+"]")
		}
		v = w
	default:
		// The conversion keeps the compiler from fusing the two operations,
		// so that every machine gives the same bits.
		v = float64(v*t.factor) + t.Offset
		if !isFinite(v) {
			return false, p.badCell(b, quote(cell)+" is too large once converted", "check factor and offset in the mapping")
		}
	}
	p.values[i] = v
	return true, nil
}

// empty does with an empty cell what the mapping says.
func (p *plan) empty(i int) (keep bool, err error) {
	t, b := &p.targets[i], &p.columns[i]
	switch t.Empty {
	case EmptyDrop:
		return false, nil
	case EmptyHold:
		switch n := len(b.values); {
		case n > 0:
			p.values[i] = b.values[n-1]
			p.holding++
			return true, nil
		case len(b.text) > 0:
			p.texts[i], p.isText[i] = b.text[len(b.text)-1], true
			p.holding++
			return true, nil
		case b.required:
			return false, p.badCell(b, "the first cell is empty, so there is no value to hold",
				`write empty = "drop" in the mapping`)
		}
	default:
		if b.required {
			return false, p.badCell(b, "the cell is empty",
				`write empty = "hold" or empty = "drop" in [columns.`+b.name+`] of the mapping`)
		}
	}
	p.values[i] = math.NaN()
	return true, nil
}

// tell says how many rows and cells were not as recorded.
func (p *plan) tell() {
	if p.dropped > 0 {
		p.warnings = append(p.warnings, fmt.Sprintf("%d of %d rows with an empty cell were dropped, as the mapping says.", p.dropped, p.seen))
	}
	if p.held > 0 {
		p.warnings = append(p.warnings, fmt.Sprintf("%d empty cells hold the value before them, as the mapping says.", p.held))
	}
}

// number reads a cell, with a decimal comma where the mapping says so.
func (p *plan) number(cell []byte) (float64, fault) {
	if !p.mapping.DecimalComma {
		return parseFloat(cell)
	}
	if bytes.IndexByte(cell, '.') >= 0 {
		return 0, noNumber
	}
	p.decimal = append(p.decimal[:0], cell...)
	for i, c := range p.decimal {
		if c == ',' {
			p.decimal[i] = '.'
		}
	}
	return parseFloat(p.decimal)
}

// atTime is the value that a schedule gives at a time.
func atTime(schedule [][]float64, t float64) float64 {
	v := schedule[0][1]
	for _, s := range schedule {
		if s[0] > t {
			break
		}
		v = s[1]
	}
	return v
}

// atLevel finds the value of a cell: by its text first, then as a number.
func atLevel(levels []level, cell []byte, number float64, numeric bool) (float64, bool) {
	for i := range levels {
		if string(cell) == levels[i].text {
			return levels[i].value, true
		}
	}
	for i := range levels {
		if numeric && levels[i].numeric && levels[i].number == number {
			return levels[i].value, true
		}
	}
	return 0, false
}

// onLine interpolates between points in rising order.
func onLine(points [][]float64, x float64) (float64, bool) {
	i := slices.IndexFunc(points, func(p []float64) bool { return x <= p[0] })
	switch {
	case i < 0 || i == 0 && x < points[0][0]:
		return 0, false
	case x == points[i][0]:
		return points[i][1], true
	}
	a, b := points[i-1], points[i]
	return a[1] + float64((b[1]-a[1])*((x-a[0])/(b[0]-a[0]))), true
}
