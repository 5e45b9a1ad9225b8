package trace

import (
	"math"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const plainMap = `
[columns.t_s]
from = "time"
[columns.duty_pct]
from = "duty"
[columns.current_A]
from = "amps"
`

func mapped(t *testing.T, mapping, recording string) (*Trace, error) {
	t.Helper()
	m, err := ParseMapping([]byte(mapping), "map.toml")
	require.NoError(t, err)
	return ReadMapped(strings.NewReader(recording), "log.csv", m)
}

func TestReadMapped(t *testing.T) {
	for _, c := range []struct {
		name, mapping, recording string
		time, duty, current      []float64
		warnings                 int
	}{
		{"plain, other columns left out", plainMap, "amps,x,time,duty\n1.5,,0,10\n1.6,y,1,20\n",
			[]float64{0, 1}, []float64{10, 20}, []float64{1.5, 1.6}, 0},
		{"semicolon, decimal comma, milliseconds, mA", `
			delimiter = ";"
			decimal_comma = true
			skip_lines = 2
			[columns.t_s]
			from = "Zeit (ms)"
			factor = 0.001
			[columns.duty_pct]
			from = "Puls (µs)"
			factor = 0.1
			offset = -100
			[columns.current_A]
			from = "I"
			factor = 1e-3`,
			"Messung;1\nam Dienstag\nZeit (ms);\"Puls (\xb5s)\";I\r\n0;1000;4790\r\n0,5;2000;-1,25\r\n",
			[]float64{0, 0.0005}, []float64{0, 100}, []float64{4.79, -0.00125}, 0},
		{"no header, tab, numbers, row time", `
			delimiter = "tab"
			header = false
			[columns.t_s]
			step_s = 0.5
			[columns.duty_pct]
			column = 2
			levels = { off = 0, ON = 100, 7 = 50 }
			[columns.current_A]
			column = 1
			[columns.note]
			column = 3`,
			"# made by hand\n1.5\toff\ta\n1.6\tON\t\n1.7\t7.0\tc\n",
			[]float64{0, 0.5, 1}, []float64{0, 100, 50}, []float64{1.5, 1.6, 1.7}, 1},
		{"constants, schedule, points", `
			[columns.t_s]
			from = "time"
			[columns.duty_pct]
			schedule = [[1, 20], [2.5, 40]]
			[columns.current_A]
			from = "amps"
			points = [[0, 0], [10, 1], [20, 5]]
			[columns.supply_V]
			constant = 12.5`,
			"time,amps\n0,0\n1,5\n2.5,10\n3,12.5\n4,20\n",
			[]float64{0, 1, 2.5, 3, 4}, []float64{20, 20, 40, 40, 40}, []float64{0, 0.5, 1, 2, 5}, 0},
		{"empty cells", `
			[columns.t_s]
			from = "time"
			[columns.duty_pct]
			from = "duty"
			empty = "hold"
			[columns.current_A]
			from = "amps"
			empty = "drop"
			[columns.supply_V]
			from = "volts"
			empty = "missing"`,
			"time,duty,amps,volts\n0,10,1,\n1,,2,12\n2,,,12\n3,30,4,12\n",
			[]float64{0, 1, 3}, []float64{10, 10, 30}, []float64{1, 2, 4}, 2},
		{"wall clock, bunched", `
			[columns.t_s]
			from = "time"
			time_format = "2006-01-02 15:04:05:000"
			[columns.duty_pct]
			from = "duty"
			[columns.current_A]
			from = "amps"`,
			"time,duty,amps\n2024-12-31 23:59:59:998,0,0\n2024-12-31 23:59:59:998,0,0\n2025-01-01 00:00:00:003,0,0\n",
			[]float64{0, 0, 0.005}, []float64{0, 0, 0}, []float64{0, 0, 0}, 1},
		{"wall clock with a point", `
			[columns.t_s]
			from = "time"
			time_format = "02.01.2006 15:04:05.000"
			[columns.duty_pct]
			from = "duty"
			[columns.current_A]
			from = "amps"`,
			"time,duty,amps\n01.02.2024 10:00:00.250,0,0\n01.02.2024 10:01:00.000,0,0\n",
			[]float64{0, 59.75}, []float64{0, 0}, []float64{0, 0}, 0},
		{"a factor's rounding at the ends of the duty", `
			[columns.t_s]
			from = "time"
			[columns.duty_pct]
			from = "duty"
			factor = 33.333333333333336
			[columns.current_A]
			from = "amps"`, "time,duty,amps\n0,3,0\n", []float64{0}, []float64{100}, []float64{0}, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			tr, err := mapped(t, c.mapping, c.recording)
			require.NoError(t, err)
			assert.InDeltaSlice(t, c.time, tr.Time(), 1e-12)
			assert.InDeltaSlice(t, c.duty, tr.Duty(), 1e-12)
			assert.InDeltaSlice(t, c.current, tr.Current(), 1e-12)
			assert.Len(t, tr.Warnings, c.warnings, "%q", tr.Warnings)
			for i := range tr.Columns {
				assert.LessOrEqual(t, len(tr.Columns[i].Values), len(c.time))
			}
		})
	}
}

func TestMappedMeta(t *testing.T) {
	tr, err := mapped(t, "[meta]\nunit = \"A-7\"\nduty = \"line\"\n"+plainMap,
		"# unit: other\n# trace: 2019\n# kind: pump\n# free\ntime,duty,amps\n0,0,0\n")
	require.NoError(t, err)
	assert.Equal(t, []Entry{{KeyDuty, DutyLine}, {KeyUnit, "A-7"}}, tr.Meta[:2])
	assert.Equal(t, "x-mapping", tr.Meta[2].Key)
	assert.Contains(t, tr.Meta[2].Value, "map.toml sha256 ")
	assert.Equal(t, []Entry{{"x-comment", "unit: other"}, {"x-comment", "trace: 2019"}, {KeyKind, "pump"}, {"x-comment", "free"}}, tr.Meta[3:])
	assert.Empty(t, tr.Warnings)
}

func TestReadMappedRefuses(t *testing.T) {
	const timeFormat = "[columns.t_s]\nfrom = \"time\"\ntime_format = \"15:04:05:000\"\n[columns.duty_pct]\nfrom = \"duty\"\n[columns.current_A]\nfrom = \"amps\"\n"
	for _, c := range []struct {
		name, mapping, recording string
		line, column             int
		problem, advice          string
	}{
		{"heading", plainMap, "time,duty,A\n0,0,0\n", 1, 0, `no column "amps"; it has "time", "duty", "A"`, "[columns.current_A]"},
		{"heading twice", plainMap, "time,duty,amps,duty\n0,0,0,0\n", 1, 0, `"duty" stands more than once`, "number of the column"},
		{"short row", plainMap, "time,duty,amps\n0,0,0\n1,0\n", 3, 3, "has 2 cells", "delimiter"},
		{"empty", plainMap, "time,duty,amps\n0,,0\n", 2, 2, "the cell is empty", `empty = "hold"`},
		{"nothing to hold", strings.Replace(plainMap, `"amps"`, "\"amps\"\nempty = \"hold\"", 1), "time,duty,amps\n0,0,\n", 2, 3, "no value to hold", `empty = "drop"`},
		{"all dropped", strings.Replace(plainMap, `"amps"`, "\"amps\"\nempty = \"drop\"", 1), "time,duty,amps\n0,0,\n", 2, 0, "no rows", ""},
		{"comma", "delimiter = \";\"\n" + plainMap, "time;duty;amps\n0;0;0,5\n", 2, 3, `"0,5" is no number`, ""},
		{"point where a comma belongs", "delimiter = \";\"\ndecimal_comma = true\n" + plainMap, "time;duty;amps\n0;0;1.000,5\n", 2, 3, `"1.000,5" is no number`, ""},
		{"duty", plainMap, "time,duty,amps\n0,101,0\n", 2, 2, "the duty 101 lies outside", "mapping"},
		{"time back", plainMap, "time,duty,amps\n1,1,0\n0,1,0\n", 3, 1, "time runs back", "split"},
		{"level", strings.Replace(plainMap, `"duty"`, "\"duty\"\nlevels = { ON = 1 }", 1), "time,duty,amps\n1,OFF,0\n", 2, 2, `no level for "OFF"`, "[columns.duty_pct]"},
		{"point", strings.Replace(plainMap, `"duty"`, "\"duty\"\npoints = [[1, 0], [2, 100]]", 1), "time,duty,amps\n1,2.5,0\n", 2, 2, "outside the points", "add a point"},
		{"factor", strings.Replace(plainMap, `"amps"`, "\"amps\"\nfactor = 1e300", 1), "time,duty,amps\n1,2.5,1e10\n", 2, 3, "too large once converted", "factor"},
		{"stamp", timeFormat, "time,duty,amps\n10:00:00.000,0,0\n", 2, 1, "does not end in a colon and 3 digits", "time_format"},
		{"stamp's digits", timeFormat, "time,duty,amps\n10:00:00:0x0,0,0\n", 2, 1, "does not end in a colon and 3 digits", "time_format"},
		{"stamp's hours", timeFormat, "time,duty,amps\n25:00:00:000,0,0\n", 2, 1, "no time stamp", "time_format"},
		{"skipped all", "skip_lines = 9\n" + plainMap, "time,duty,amps\n0,0,0\n", 2, 0, "ends before a header", ""},
		{"quotes", plainMap, "time,duty,amps\n0,\"0,0\n", 2, 2, "quotes", "close"},
		{"binary", plainMap, "time,duty,amps\n0,0,0\n\x00", 3, 0, "NUL", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			tr, err := mapped(t, c.mapping, c.recording)
			assert.Nil(t, tr)
			var e *Error
			require.ErrorAs(t, err, &e)
			assert.Equal(t, "log.csv", e.Source)
			assert.Equal(t, c.line, e.Line, err)
			assert.Equal(t, c.column, e.Column, err)
			assert.Contains(t, e.Problem, c.problem)
			assert.Contains(t, e.Advice, c.advice)
		})
	}
}

func TestParseMappingRefuses(t *testing.T) {
	duty := func(s string) string { return strings.Replace(plainMap, `from = "duty"`, s, 1) }
	for _, c := range []struct {
		name, text      string
		line, column    int
		problem, advice string
	}{
		{"no TOML", "delimiter = ;\n", 1, 13, "not a mapping in TOML", "quotes"},
		{"unknown key", "\ndelimeter = \",\"\n" + plainMap, 2, 1, `"delimeter" is not known`, "delimiter, decimal_comma"},
		{"unknown key of a column", plainMap + "scale = 2\n", 8, 1, `"columns.current_A.scale" is not known`, "a column knows from"},
		{"unknown table", plainMap + "[format]\nx = 1\n", 8, 2, `"format`, "a mapping knows"},
		{"wrong type", plainMap + "factor = \"2\"\n", 8, 10, "not a mapping", "numbers without"},
		{"missing column", "[columns.t_s]\nfrom = \"time\"\n[columns.duty_pct]\nfrom = \"d\"\n", 1, 2, "current_A is not mapped", "[columns.current_A]"},
		{"nothing", "", 1, 1, "t_s is not mapped", "[columns.t_s]"},
		{"delimiter", "delimiter = \"::\"\n" + plainMap, 1, 1, `delimiter "::"`, `"tab"`},
		{"comma for both", "decimal_comma = true\n" + plainMap, 1, 1, "cannot be told apart", "delimiter"},
		{"skip", "skip_lines = -1\n" + plainMap, 1, 1, "skip_lines = -1", "0 to"},
		{"no source", duty("factor = 2"), 4, 2, "nothing says where duty_pct", "one of from"},
		{"two sources", duty("from = \"d\"\ncolumn = 2"), 6, 1, "both from and column", "keep one"},
		{"heading without header", "header = false\n" + plainMap, 4, 1, "no header", "column = N"},
		{"column number", duty("column = -1"), 5, 1, "no column -1", "from 1"},
		{"step for a duty", duty("step_s = 0.1"), 5, 1, "duty_pct is no time", "t_s"},
		{"step", strings.Replace(plainMap, `from = "time"`, "step_s = 0", 1), 3, 1, "step_s = 0", "above 0"},
		{"schedule of time", strings.Replace(plainMap, `from = "time"`, "schedule = [[0, 0]]", 1), 3, 1, "schedule of itself", "step_s"},
		{"schedule falls", duty("schedule = [[0, 0], [0, 1]]"), 5, 1, "pair 2 does not rise", "times rising"},
		{"schedule's pair", duty("schedule = [[0, 0, 1]]"), 5, 1, "pair 1 has 3 numbers", "pairs"},
		{"empty schedule", duty("schedule = []"), 5, 1, "0 pairs", "pairs"},
		{"stamp for a duty", plainMap + "time_format = \"15:04\"\n", 8, 1, "current_A is no time", "t_s"},
		{"two conversions", plainMap + "factor = 2\nlevels = { a = 1 }\n", 6, 2, "one way only", "keep one"},
		{"constant converted", duty("constant = 1\nfactor = 2"), 4, 2, "no cell to convert", "take out"},
		{"factor 0", plainMap + "factor = 0\n", 8, 1, "factor = 0", "not 0"},
		{"factor NaN", plainMap + "factor = nan\n", 8, 1, "factor = NaN", "finite"},
		{"offset", plainMap + "offset = inf\n", 8, 1, "offset = +Inf", "finite"},
		{"constant", duty("constant = nan"), 5, 1, "constant = NaN", "finite"},
		{"empty", plainMap + "empty = \"zero\"\n", 8, 1, `empty = "zero"`, `"hold"`},
		{"empty in a required column", plainMap + "empty = \"missing\"\n", 8, 1, "current_A is required", `"hold"`},
		{"levels", plainMap + "levels = { a = nan }\n", 8, 1, `level of "a"`, "finite"},
		{"no levels", plainMap + "levels = {}\n", 8, 1, "levels is empty", "give"},
		{"points", plainMap + "points = [[1, 2]]\n", 8, 1, "1 pairs", "two pairs"},
		{"duty key", plainMap + "[meta]\nduty = \"wire\"\n", 9, 1, `"duty" holds "wire"`, `"command"`},
		{"meta", plainMap + "[meta]\nunit = \"a\\nb\"\n", 9, 1, "not one line", "plain text"},
		{"name", plainMap + "[columns.\" x\"]\nconstant = 1\n", 8, 2, "not plain text", "name it"},
	} {
		t.Run(c.name, func(t *testing.T) {
			m, err := ParseMapping([]byte(c.text), "map.toml")
			assert.Nil(t, m)
			var e *Error
			require.ErrorAs(t, err, &e)
			assert.Equal(t, "map.toml", e.Source)
			assert.Equal(t, c.line, e.Line, err)
			assert.Equal(t, c.column, e.Column, err)
			assert.Contains(t, e.Problem, c.problem)
			assert.Contains(t, e.Advice, c.advice)
			assert.NotContains(t, err.Error(), "\n")
		})
	}
}

func TestReadMappingFile(t *testing.T) {
	_, err := ReadMapping(filepath.Join(t.TempDir(), "none.toml"))
	require.ErrorContains(t, err, "none.toml")
	_, err = ReadMapping(t.TempDir())
	require.Error(t, err)
	_, err = ParseMapping(make([]byte, maxMapping+1), "big.toml")
	require.ErrorContains(t, err, "larger than 1 MiB")
}

// A mapping made in code is checked as one from a file is.
func TestMappingInCode(t *testing.T) {
	half := math.NaN()
	m := &Mapping{Columns: map[string]ColumnMap{ColTime: {Column: 1}, ColDuty: {Constant: &half}, ColCurrent: {Column: 2}}}
	_, err := ReadMapped(strings.NewReader("t,i\n0,0\n"), "log.csv", m)
	require.ErrorContains(t, err, "constant")
	half = 50
	tr, err := ReadMapped(strings.NewReader("t,i\n0,0\n"), "log.csv", m)
	require.NoError(t, err)
	assert.Equal(t, []float64{50}, tr.Duty())
}
