package trace

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func read(s string) (*Trace, error) { return Read(strings.NewReader(s), "pump.csv") }

func TestRead(t *testing.T) {
	text := "# trace: 1\n# unit: A-0001\n#no colon here\n# step: rest\n# step: sweep\n# supply_nominal_V: 12\n" +
		"t_s,duty_pct,current_A,temperature_C\n0,0,0.1,\n0.5,10,-0.25,21.5\n2,100,4.79,\n"
	tr, err := read(text)
	require.NoError(t, err)
	assert.Equal(t, "pump.csv", tr.Source)
	sum := sha256.Sum256([]byte(text))
	assert.Equal(t, hex.EncodeToString(sum[:]), tr.SHA256)
	assert.Equal(t, []Entry{{KeyTrace, "1"}, {KeyUnit, "A-0001"}, {"", "no colon here"},
		{"step", "rest"}, {"step", "sweep"}, {KeyNominal, "12"}}, tr.Meta)
	assert.Empty(t, tr.Warnings)
	assert.Equal(t, 3, tr.Len())
	assert.Equal(t, []float64{0, 0.5, 2}, tr.Time())
	assert.Equal(t, []float64{0, 10, 100}, tr.Duty())
	assert.Equal(t, []float64{0.1, -0.25, 4.79}, tr.Current())
	c := tr.Column(ColTemperature)
	require.NotNil(t, c)
	assert.Equal(t, 2, c.Missing)
	assert.True(t, math.IsNaN(c.Values[0]) && math.IsNaN(c.Values[2]))
	assert.Equal(t, 21.5, c.Values[1])
	assert.Equal(t, 0.5, tr.Column(ColTime).Resolution)
	assert.Equal(t, 1.0, tr.Rate())
	v, ok := tr.Number(KeyNominal)
	assert.True(t, ok)
	assert.Equal(t, 12.0, v)
	_, ok = tr.Number(KeyUnit)
	assert.False(t, ok)
}

func TestReadTolerates(t *testing.T) {
	plain, err := read("t_s,duty_pct,current_A\n0,50,1.5\n1,50,1.6\n")
	require.NoError(t, err)
	for name, text := range map[string]string{
		"byte-order mark":     "\ufefft_s,duty_pct,current_A\n0,50,1.5\n1,50,1.6\n",
		"CRLF":                "t_s,duty_pct,current_A\r\n0,50,1.5\r\n1,50,1.6\r\n",
		"no last line end":    "t_s,duty_pct,current_A\n0,50,1.5\n1,50,1.6",
		"quotes":              "\"t_s\",\"duty_pct\",current_A\n\"0\",50,\"1.5\"\n1,\"50\",1.6\n",
		"spaces":              " t_s, duty_pct ,current_A\n0 , 50,1.5\n 1,50,\t1.6 \n",
		"empty cells at end":  "t_s,duty_pct,current_A,,\n0,50,1.5,,\n1,50,1.6,\n",
		"empty lines":         "\n\nt_s,duty_pct,current_A\n\n0,50,1.5\n  \n1,50,1.6\n\n\n",
		"exponents and signs": "t_s,duty_pct,current_A\n0,5e1,+1.5\n1E0,50,160e-2\n",
	} {
		tr, err := read(text)
		require.NoError(t, err, name)
		assert.Equal(t, plain.Columns, tr.Columns, name)
		assert.Empty(t, tr.Warnings, name)
	}
	// The order of columns is free.
	tr, err := read("current_A,t_s,duty_pct\n1.5,0,50\n1.6,1,50\n")
	require.NoError(t, err)
	assert.Equal(t, plain.Current(), tr.Current())
	// A stream that comes byte by byte.
	tr, err = Read(iotest.OneByteReader(strings.NewReader("t_s,duty_pct,current_A\n0,50,1.5\n1,50,1.6\n")), "pump.csv")
	require.NoError(t, err)
	assert.Equal(t, plain.Columns, tr.Columns)
	assert.Equal(t, plain.SHA256, tr.SHA256)
}

func TestReadWarns(t *testing.T) {
	tr, err := read("# colour: red\n# colour: blue\n# x-note: kept\n# rig: bench-1\n# lost_samples: many\n# unit: A\n# unit: B\n" +
		"t_s,duty_pct,current_A,note,vibration_g\n0,0,0,,1\n0,0,0,1.50,1\n0,0,0,ok,1\n1,0,0,7.0,2\n")
	require.NoError(t, err)
	assert.Equal(t, []string{
		`The key "colour" is not known; it was kept.`,
		`The key "lost_samples" holds "many", which is no number; it was kept but does not count.`,
		`The key "unit" stands more than once; the first value counts.`,
		`The column "note" is not known; it was kept.`,
		`The column "vibration_g" is not known; it was kept.`,
		`2 of 4 rows have the same time as the row before; they were kept.`,
	}, tr.Warnings)
	assert.Len(t, tr.Meta, 7)
	c := tr.Column("note")
	assert.Equal(t, []string{"", "1.5", "ok", "7.0"}, c.Text)
	assert.Nil(t, c.Values)
	assert.Equal(t, []float64{1, 1, 1, 2}, tr.Values("vibration_g"))
	unit, _ := tr.Get(KeyUnit)
	assert.Equal(t, "A", unit)

	tr, err = read("# duty: line\nt_s,duty_pct,current_A,direction\n0,0,0,up\n1,0,0,down\n")
	require.NoError(t, err)
	assert.Empty(t, tr.Warnings)
	assert.Equal(t, []string{"up", "down"}, tr.Column(ColDirection).Text)
}

func TestReadRefuses(t *testing.T) {
	const head = "t_s,duty_pct,current_A,supply_on\n"
	for _, c := range []struct {
		name, text   string
		line, column int
		column2      string // the heading
		problem      string
		advice       string
	}{
		{"empty", "", 1, 0, "", "the file is empty", "record the test again"},
		{"only a mark", "\ufeff", 1, 0, "", "the file ends before a header", "must follow"},
		{"only comments", "# unit: A\n# kind: pump\n", 2, 0, "", "the file ends before a header", "must follow"},
		{"no rows", head + "\n", 2, 0, "", "there are no rows", "record the test again"},
		{"time back", head + "0,0,0,1\n2,0,0,1\n1.5,0,0,1\n", 4, 1, ColTime, "time runs back, from 2 s to 1.5 s", "split the file"},
		{"NaN", head + "0,0,0,1\n1,0,NaN,1\n", 3, 3, ColCurrent, `"NaN" is not a finite number`, "take the row out"},
		{"infinity", head + "0,0,-Inf,1\n", 2, 3, ColCurrent, `"-Inf" is not a finite number`, "take the row out"},
		{"too large", head + "0,0,1e999,1\n", 2, 3, ColCurrent, "is not a finite number", "take the row out"},
		{"no number", head + "0,0,4.79 A,1\n", 2, 3, ColCurrent, `"4.79 A" is no number`, "plain decimal number"},
		{"hexadecimal", head + "0,0,0x10,1\n", 2, 3, ColCurrent, `"0x10" is no number`, "plain decimal number"},
		{"no number in an optional column", head + "0,0,1,yes\n", 2, 4, ColSupplyOn, `"yes" is no number`, "leave the cell empty"},
		{"neither on nor off", head + "0,0,1,2\n", 2, 4, ColSupplyOn, "neither 0 (off) nor 1 (on)", "write 0 or 1"},
		{"empty cell", head + "0,0,1,1\n1,,1,1\n", 3, 2, ColDuty, "the cell is empty", "take the row out"},
		{"missing column", "# unit: A\nt_s,duty_pct,amps\n0,0,0\n", 2, 0, ColCurrent, `missing; the header has "t_s", "duty_pct", "amps"`, "--map"},
		{"wrong case", "t_s,duty_pct,Current_a\n0,0,0\n", 1, 0, ColCurrent, "missing", `rename "Current_a" to "current_A"`},
		{"semicolons", "t_s;duty_pct;current_A\n0;0;0\n", 1, 0, ColTime, "missing", "semicolon or tab"},
		{"no header", "0,50,1.5\n1,50,1.6\n", 1, 0, ColTime, `missing; the header has "0", "50", "1.5"`, "mapping"},
		{"duplicate", "t_s,duty_pct,current_A,t_s\n0,0,0,0\n", 1, 4, ColTime, `"t_s" already stands in column 1`, "rename"},
		{"no heading", "t_s,,duty_pct,current_A\n0,0,0,0\n", 1, 2, "", "has no heading", "name it"},
		{"too few cells", head + "0,0,0\n1,0,0,1\n", 2, 0, "", "the row has 3 cells where the header has 4", "fill in"},
		{"cut off", head + "0,0,0,1\n1,0,", 3, 3, ColCurrent, "the cell is empty", "cut off"},
		{"cut off in a number", head + "0,0,0,1\n1,0", 3, 0, "", "the row has 2 cells", "cut off"},
		{"too many cells", head + "0,0,0,1,7\n", 2, 0, "", "more cells than the 4", "decimal comma"},
		{"duty above", head + "0,100.5,0,1\n", 2, 2, ColDuty, "the duty 100.5 lies outside 0 to 100 %", "percent"},
		{"duty below", head + "0,-1,0,1\n", 2, 2, ColDuty, "the duty -1 lies outside", "percent"},
		{"duty below, in quotes", head + "0,\"-1\",0,1\n", 2, 2, ColDuty, "the duty -1 lies outside", "percent"},
		{"binary", "t_s,duty_pct,current_A\n0,0,0\n\x00\x01\n", 3, 0, "", "NUL", "UTF-8"},
		{"UTF-16", "\xff\xfet\x00_\x00s\x00\n\x00", 1, 0, "", "NUL", "UTF-8"},
		{"Latin-1 header", "t_s,duty_pct,current_A,Temp \xb0C\n0,0,0,0\n", 1, 0, "", "not UTF-8", "save the file as UTF-8"},
		{"Latin-1 comment", "# unit: \xe9\n" + head, 1, 0, "", "not UTF-8", "save the file as UTF-8"},
		{"Latin-1 text", "t_s,duty_pct,current_A,note\n0,0,0,\xe9\n", 2, 4, "note", "not UTF-8", "save the file as UTF-8"},
		{"carriage returns", "t_s,duty_pct,current_A\r0,0,0\r", 1, 0, "", "carriage return alone", "LF or CRLF"},
		{"open quote", head + "0,\"0,0,1\n", 2, 2, ColDuty, "quotes of this cell are not closed", "close them"},
		{"open quote in the header", "t_s,\"duty_pct,current_A\n", 1, 2, "", "quotes of this heading", "close them"},
		{"comment among the rows", head + "# later: 1\n0,0,0,1\n", 2, 1, ColTime, "a comment stands among the rows", "before the header"},
		{"long line", head + strings.Repeat("1", MaxLine+2), 2, 0, "", "longer than 1 MiB", "line ends"},
		{"many columns", "t_s,duty_pct,current_A" + strings.Repeat(",x", MaxColumns), 1, 0, "", "more than 1024 columns", "trace"},
		{"many comments", strings.Repeat("#\n", MaxComments+1), MaxComments + 1, 0, "", "more than 10000 comment", "keep"},
		{"later format", "# trace: 2\n" + head + "0,0,0,1\n", 1, 0, "", `trace format "2"`, "later one"},
		{"duty key", "# duty: wire\n" + head + "0,0,0,1\n", 1, 0, "", `"duty" holds "wire"`, `write "command"`},
		{"duty key twice", "# duty: line\n# duty: command\n" + head + "0,0,0,1\n", 2, 0, "", "twice", "keep the right one"},
	} {
		t.Run(c.name, func(t *testing.T) {
			tr, err := read(c.text)
			assert.Nil(t, tr)
			var e *Error
			require.ErrorAs(t, err, &e)
			assert.Equal(t, "pump.csv", e.Source)
			assert.Equal(t, c.line, e.Line, err)
			if c.column > 0 {
				assert.Equal(t, c.column, e.Column, err)
			}
			if c.column2 != "" {
				assert.Equal(t, c.column2, e.Name, err)
			}
			assert.Contains(t, e.Problem, c.problem)
			assert.Contains(t, e.Advice, c.advice)
			assert.NotContains(t, err.Error(), "\n")
		})
	}
}

func TestErrorText(t *testing.T) {
	_, err := read("t_s,duty_pct,current_A\n0,0,0\n1,0,x\n")
	assert.EqualError(t, err, `trace: pump.csv: line 3, column 3 (current_A): "x" is no number; `+
		`write a plain decimal number with a point, such as 4.79`)
}

func TestReadFaultOfTheStream(t *testing.T) {
	broken := errors.New("bus lost")
	_, err := Read(io.MultiReader(strings.NewReader("t_s,duty_pct,current_A\n0,0,0\n1,0"), iotest.ErrReader(broken)), "pump.csv")
	require.ErrorIs(t, err, broken)
	_, err = ReadFile(filepath.Join(t.TempDir(), "none.csv"))
	require.ErrorIs(t, err, os.ErrNotExist)
	assert.Contains(t, err.Error(), "none.csv")
	_, err = ReadFile(t.TempDir())
	require.Error(t, err)
}

// A line longer than one piece, and pieces that end anywhere.
func TestReadAcrossPieces(t *testing.T) {
	long := strings.Repeat("x", 3*chunk)
	var b strings.Builder
	b.WriteString("# x-long: " + long + "\nt_s,duty_pct,current_A,note\n")
	for i := range 9000 {
		b.WriteString(number(float64(i)/1000) + ",50,1.25,a\n")
	}
	tr, err := Read(iotest.HalfReader(strings.NewReader(b.String())), "pump.csv")
	require.NoError(t, err)
	v, _ := tr.Get("x-long")
	assert.Equal(t, long, v)
	assert.Equal(t, 9000, tr.Len())
	assert.Equal(t, 8.999, tr.Time()[8999])
	assert.Len(t, tr.Column("note").Text, 9000)
}

// A minute at 2 kHz takes about the memory of its samples, 3.84 MB, whether
// the size of the stream is known or not; no allocation for a sample.
func TestReadMemory(t *testing.T) {
	data := string(sweep(t))
	for name, c := range map[string]struct {
		r    io.Reader
		most uint64
	}{
		"size known":   {strings.NewReader(data), 5 << 20},
		"size unknown": {io.MultiReader(strings.NewReader(data)), 20 << 20},
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		tr, err := Read(c.r, "sweep.csv")
		runtime.ReadMemStats(&after)
		require.NoError(t, err)
		assert.Equal(t, 120_000, tr.Len())
		assert.Less(t, after.TotalAlloc-before.TotalAlloc, c.most, name)
		assert.Less(t, after.Mallocs-before.Mallocs, uint64(300), name)
	}
}

// A small hostile file must not claim memory out of proportion.
func TestReadHostileMemory(t *testing.T) {
	head := "t_s,duty_pct,current_A"
	for i := range MaxColumns - 3 {
		head += ",c" + number(float64(i))
	}
	text := head + "\n0,0,0\n" + strings.Repeat("\n", 1<<20)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	_, err := read(text)
	runtime.ReadMemStats(&after)
	require.Error(t, err)
	assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(32<<20))
}
