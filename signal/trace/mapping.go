package trace

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"
)

// Mapping says how a foreign recording becomes a trace. It is read from a
// TOML file, see ReadMapping:
//
//	delimiter     = ";"     # ",", ";", "|" or "tab"; a comma when left out
//	decimal_comma = false
//	skip_lines    = 0       # before the header
//	header        = true    # false: columns by number only
//
//	[meta]                  # comment keys to add
//	duty = "command"
//
//	[columns.t_s]           # one table for each column of the trace
//	from = "Time (ms)"
//	factor = 0.001
//
// Columns of the recording that no table names are left out.
type Mapping struct {
	// Source is the path or name the mapping was read from and SHA256 the
	// hash of its bytes; both empty for one made in code.
	Source string `toml:"-"`
	SHA256 string `toml:"-"`

	Delimiter    string               `toml:"delimiter"`
	DecimalComma bool                 `toml:"decimal_comma"`
	SkipLines    int                  `toml:"skip_lines"`
	Header       *bool                `toml:"header"`
	Meta         map[string]string    `toml:"meta"`
	Columns      map[string]ColumnMap `toml:"columns"`
}

// ColumnMap says where one column of the trace comes from: exactly one of
// From, Column, Constant, StepS or Schedule.
type ColumnMap struct {
	// From is the heading in the recording, letter for letter; spaces around
	// it do not count.
	From string `toml:"from"`
	// Column is the number of the column in the recording, from 1.
	Column int `toml:"column"`
	// Constant is one value for all rows.
	Constant *float64 `toml:"constant"`
	// StepS is the time from row to row in seconds; the first row is 0.
	StepS *float64 `toml:"step_s"`
	// Schedule holds [t_s, value] pairs: the value from that time on, for
	// what was noted by hand. The first holds before its time too.
	Schedule [][]float64 `toml:"schedule"`

	// The value is cell × Factor + Offset; 1 and 0 when left out.
	Factor *float64 `toml:"factor"`
	Offset float64  `toml:"offset"`
	// TimeFormat reads the cell as a wall-clock stamp, in the layout of Go's
	// time package, and counts seconds from the first row. Unlike Go it also
	// takes a fraction after a colon, as in "15:04:05:000". A layout without
	// a date cannot pass midnight.
	TimeFormat string `toml:"time_format"`
	// Levels gives a value for each text or number that the cell can hold.
	Levels map[string]float64 `toml:"levels"`
	// Points holds [cell, value] pairs in rising order, with straight lines
	// between; a cell outside them is an error.
	Points [][]float64 `toml:"points"`
	// Empty says what an empty cell means: "hold" the last value, "drop" the
	// row, or "missing" (not sampled; not for the required columns). Left
	// out, it is an error in a required column and missing in others.
	Empty string `toml:"empty"`
}

// Values of ColumnMap.Empty.
const (
	EmptyHold    = "hold"
	EmptyDrop    = "drop"
	EmptyMissing = "missing"
)

// mapFault is a fault in a mapping: the dotted key it is at, to find its
// place in the file.
type mapFault struct {
	path            []string
	problem, advice string
}

func (m *Mapping) delimiterByte() (byte, bool) {
	switch m.Delimiter {
	case "", ",":
		return ',', true
	case ";", "|":
		return m.Delimiter[0], true
	case "tab", "\t":
		return '\t', true
	}
	return 0, false
}

func (m *Mapping) hasHeader() bool { return m.Header == nil || *m.Header }

// check finds the first fault of a mapping that was decoded or made in code.
func (m *Mapping) check() *mapFault {
	delimiter, ok := m.delimiterByte()
	switch {
	case !ok:
		return &mapFault{[]string{"delimiter"}, "the delimiter " + quote(m.Delimiter) + " is not known", `write ",", ";", "|" or "tab"`}
	case m.DecimalComma && delimiter == ',':
		return &mapFault{[]string{"decimal_comma"}, "a decimal comma and a comma as delimiter cannot be told apart", `set delimiter to what parts the cells, often ";"`}
	case m.SkipLines < 0 || m.SkipLines > 1_000_000:
		return &mapFault{[]string{"skip_lines"}, fmt.Sprintf("skip_lines = %d", m.SkipLines), "write a number of lines from 0 to 1000000"}
	case len(m.Columns) > MaxColumns:
		return &mapFault{[]string{"columns"}, fmt.Sprintf("there are more than %d columns", MaxColumns), "map the columns that matter"}
	}
	for _, want := range required() {
		if _, ok := m.Columns[want]; !ok {
			return &mapFault{[]string{"columns"}, "the required column " + want + " is not mapped",
				"add a table [columns." + want + "]"}
		}
	}
	for _, name := range m.names() {
		if f := m.checkColumn(name); f != nil {
			return f
		}
	}
	for _, key := range sortedKeys(m.Meta) {
		e := Entry{key, m.Meta[key]}
		problem, advice := checkEntry(e)
		if problem == "" {
			if p := unwritable(e); p != "" {
				problem, advice = p, "write a key and value of plain text on one line"
			}
		}
		if problem != "" {
			return &mapFault{[]string{"meta", key}, problem, advice}
		}
	}
	return nil
}

func (m *Mapping) checkColumn(name string) *mapFault {
	c := m.Columns[name]
	at := func(key, problem, advice string) *mapFault {
		path := []string{"columns", name}
		if key != "" {
			path = append(path, key)
		}
		return &mapFault{path, problem, advice}
	}
	var sources []string
	for _, s := range []struct {
		key string
		set bool
	}{
		{"from", c.From != ""}, {"column", c.Column != 0}, {"constant", c.Constant != nil},
		{"step_s", c.StepS != nil}, {"schedule", c.Schedule != nil},
	} {
		if s.set {
			sources = append(sources, s.key)
		}
	}
	switch {
	case strings.TrimSpace(name) != name || name == "" || strings.ContainsAny(name, "\r\n"):
		return at("", "the column name "+quote(name)+" is not plain text", "name it like the others, such as temperature_C")
	case len(sources) == 0:
		return at("", "nothing says where "+name+" comes from", "give one of from, column, constant, step_s or schedule")
	case len(sources) > 1:
		return at(sources[1], "both "+sources[0]+" and "+sources[1]+" say where "+name+" comes from", "keep one of them")
	case c.From != "" && !m.hasHeader():
		return at("from", "the recording has no header, so no column is called "+quote(c.From), "give its number with column = N")
	case c.Column < 0 || c.Column > 10*MaxColumns:
		return at("column", fmt.Sprintf("there is no column %d", c.Column), "count the columns from 1")
	case c.StepS != nil && name != ColTime:
		return at("step_s", "step_s makes a time from the row number, but "+name+" is no time", "use it in [columns."+ColTime+"]")
	case c.StepS != nil && !(*c.StepS > 0 && *c.StepS <= 3600):
		return at("step_s", fmt.Sprintf("step_s = %v", *c.StepS), "write the time from row to row in seconds, above 0 and up to 3600")
	case c.Schedule != nil && name == ColTime:
		return at("schedule", "the time cannot follow a schedule of itself", "give from, column or step_s")
	case c.TimeFormat != "" && name != ColTime:
		return at("time_format", "time_format reads wall-clock stamps, but "+name+" is no time", "use it in [columns."+ColTime+"]")
	}
	if c.Empty == EmptyMissing && slices.Contains(required(), name) {
		return at("empty", name+" is required in every row", `write "hold" or "drop"`)
	}
	return checkConversion(c, sources[0], at)
}

// checkConversion looks at what is done with the value.
func checkConversion(c ColumnMap, source string, at func(key, problem, advice string) *mapFault) *mapFault {
	scaled := c.Factor != nil || c.Offset != 0
	ways := 0
	for _, set := range []bool{scaled, c.TimeFormat != "", c.Levels != nil, c.Points != nil} {
		if set {
			ways++
		}
	}
	cell := source == "from" || source == "column"
	switch {
	case ways > 1:
		return at("", "a column can be converted in one way only", "keep one of factor and offset, time_format, levels or points")
	case !cell && (ways > 0 || c.Empty != ""):
		return at("", source+" gives the value itself, so there is no cell to convert", "take out factor, offset, time_format, levels, points and empty")
	case c.Factor != nil && (*c.Factor == 0 || !isFinite(*c.Factor)):
		return at("factor", fmt.Sprintf("factor = %v", *c.Factor), "write a finite number that is not 0")
	case !isFinite(c.Offset):
		return at("offset", fmt.Sprintf("offset = %v", c.Offset), "write a finite number")
	case c.Constant != nil && !isFinite(*c.Constant):
		return at("constant", fmt.Sprintf("constant = %v", *c.Constant), "write a finite number")
	case c.Empty != "" && c.Empty != EmptyHold && c.Empty != EmptyDrop && c.Empty != EmptyMissing:
		return at("empty", "empty = "+quote(c.Empty), `write "hold", "drop" or "missing"`)
	}
	for _, k := range sortedKeys(c.Levels) {
		if !isFinite(c.Levels[k]) {
			return at("levels", "the level of "+quote(k)+" is not finite", "write a finite number")
		}
	}
	if c.Levels != nil && len(c.Levels) == 0 {
		return at("levels", "levels is empty", "give a value for each cell, such as levels = { OFF = 0, ON = 1 }")
	}
	if problem := checkPairs(c.Schedule, 1); c.Schedule != nil && problem != "" {
		return at("schedule", problem, "write pairs of time and value, [[0, 0], [5, 20]], times rising")
	}
	if problem := checkPairs(c.Points, 2); c.Points != nil && problem != "" {
		return at("points", problem, "write at least two pairs of cell and value, [[1000, 0], [2000, 100]], cells rising")
	}
	return nil
}

func checkPairs(pairs [][]float64, least int) string {
	if len(pairs) < least {
		return fmt.Sprintf("there are %d pairs", len(pairs))
	}
	for i, p := range pairs {
		switch {
		case len(p) != 2:
			return fmt.Sprintf("pair %d has %d numbers", i+1, len(p))
		case !isFinite(p[0]) || !isFinite(p[1]):
			return fmt.Sprintf("pair %d is not finite", i+1)
		case i > 0 && p[0] <= pairs[i-1][0]:
			return fmt.Sprintf("pair %d does not rise above the one before", i+1)
		}
	}
	return ""
}

func isFinite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// names is the columns of the trace to be: the required ones, then the rest
// by name.
func (m *Mapping) names() []string {
	names := required()
	for _, n := range sortedKeys(m.Columns) {
		if !slices.Contains(names, n) {
			names = append(names, n)
		}
	}
	return names
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}
