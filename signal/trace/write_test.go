package trace

import (
	"bytes"
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func small() *Trace {
	return &Trace{
		Meta: []Entry{{KeyTrace, Format}, {KeyUnit, "A-0001"}, {"", "by hand"}, {"step", ""}, {"", ""}},
		Columns: []Column{
			{Name: ColTime, Values: []float64{0, 0.0005, 1e-3}},
			{Name: ColDuty, Values: []float64{0, 10, 100}},
			{Name: ColCurrent, Values: []float64{0.1, -2.5e-7, 4.79}},
			{Name: ColTemperature, Values: []float64{NotSampled(), 21.5, NotSampled()}},
			{Name: `note, "b"`, Text: []string{"", `a "b", c`, " d"}},
		},
	}
}

func TestWrite(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, Write(&b, small()))
	assert.Equal(t, "# trace: 1\n# unit: A-0001\n# by hand\n# step:\n#\n"+
		"t_s,duty_pct,current_A,temperature_C,\"note, \"\"b\"\"\"\n"+
		"0,0,0.1,,\n0.0005,10,-2.5e-07,21.5,\"a \"\"b\"\", c\"\n0.001,100,4.79,,\" d\"\n", b.String())
}

// Whatever is written comes back bit by bit.
func TestRoundTrip(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	value := func() float64 {
		for {
			v := math.Float64frombits(r.Uint64())
			if r.IntN(3) > 0 {
				v = math.Round(r.NormFloat64()*1e4) / 1e3
			}
			if isFinite(v) {
				return v
			}
		}
	}
	words := []string{"", "ok", "a,b", `say "on"`, " edge ", "#1", "µ", "\ufeffx", "1.5", "nan"}
	for range 200 {
		n := 1 + r.IntN(40)
		want := &Trace{Meta: []Entry{{KeyTrace, Format}, {"step", "sweep: up"}, {"", "free"}, {"x-pi", "3.14"}}}
		time, duty, current := make([]float64, n), make([]float64, n), make([]float64, n)
		extra, text := make([]float64, n), make([]string, n)
		missing := 0
		for i := range n {
			time[i] = r.ExpFloat64() * math.Pow10(r.IntN(8)-6)
			if i > 0 {
				time[i] += time[i-1]
			}
			duty[i], current[i], extra[i] = 100*r.Float64(), value(), value()
			text[i] = words[r.IntN(len(words))]
			if r.IntN(4) == 0 {
				extra[i] = NotSampled()
				missing++
			}
		}
		text[0] = "first"
		want.Columns = []Column{{Name: "note", Text: text}, {Name: ColTime, Values: time}, {Name: ColCurrent, Values: current},
			{Name: ColDuty, Values: duty}, {Name: ColSupply, Values: extra, Missing: missing}}
		var b bytes.Buffer
		require.NoError(t, Write(&b, want))
		got, err := Read(&b, "")
		require.NoError(t, err)
		same(t, want, got)
	}
}

func same(t *testing.T, want, got *Trace) {
	t.Helper()
	require.Equal(t, want.Meta, got.Meta)
	require.Len(t, got.Columns, len(want.Columns))
	for i, w := range want.Columns {
		g := got.Columns[i]
		require.Equal(t, w.Name, g.Name)
		require.Equal(t, w.Missing, g.Missing, w.Name)
		require.Equal(t, w.Text, g.Text)
		require.Len(t, g.Values, len(w.Values))
		for k := range w.Values {
			if !(math.IsNaN(w.Values[k]) && math.IsNaN(g.Values[k])) {
				require.Equal(t, math.Float64bits(w.Values[k]), math.Float64bits(g.Values[k]), "%s row %d", w.Name, k)
			}
		}
	}
}

func TestWriteRefuses(t *testing.T) {
	for _, c := range []struct {
		name, problem string
		change        func(*Trace)
	}{
		{"NaN", "row 2: the value is NaN", func(t *Trace) { t.Columns[2].Values[1] = math.NaN() }},
		{"infinity", "row 3: the value is infinite", func(t *Trace) { t.Columns[3].Values[2] = math.Inf(1) }},
		{"time", "row 3: time runs back", func(t *Trace) { t.Columns[0].Values[2] = 0 }},
		{"duty", "row 1: the duty 101 lies outside", func(t *Trace) { t.Columns[1].Values[0] = 101 }},
		{"missing column", "required column is missing", func(t *Trace) { t.Columns = t.Columns[1:] }},
		{"twice", "stands twice", func(t *Trace) { t.Columns[3].Name = ColDuty }},
		{"short", "2 values for 3 rows", func(t *Trace) { t.Columns[2].Values = t.Columns[2].Values[:2] }},
		{"short text", "1 texts for 3 rows", func(t *Trace) { t.Columns[4].Text = []string{"a"} }},
		{"text for numbers", "text where numbers belong", func(t *Trace) { t.Columns[3] = Column{Name: ColSupply, Text: make([]string, 3)} }},
		{"line end in text", "does not fit a cell", func(t *Trace) { t.Columns[4].Text[1] = "a\nb" }},
		{"line end in a comment", "not one line", func(t *Trace) { t.Meta[1].Value = "a\nt_s,b" }},
		{"colon in a free comment", "read as a key", func(t *Trace) { t.Meta[2].Value = "a: b" }},
		{"colon in a key", "read differently", func(t *Trace) { t.Meta[1].Key = "a: b" }},
		{"key", `"duty" holds "wire"`, func(t *Trace) { t.Meta[1] = Entry{KeyDuty, "wire"} }},
		{"name", "not plain text", func(t *Trace) { t.Columns[4].Name = " x" }},
		{"comment for a name", "read as a comment", func(t *Trace) { t.Columns[0], t.Columns[4] = t.Columns[4], t.Columns[0]; t.Columns[0].Name = "#n" }},
		{"no rows", "no rows", func(t *Trace) { t.Columns[0].Values = nil }},
		{"long line", "longer than 1 MiB", func(t *Trace) { t.Columns[4].Text[2] = strings.Repeat("x", MaxLine) }},
	} {
		tr := small()
		c.change(tr)
		var b bytes.Buffer
		err := Write(&b, tr)
		var e *Error
		require.ErrorAs(t, err, &e, c.name)
		assert.Contains(t, e.Problem, c.problem, c.name)
		assert.Zero(t, b.Len(), c.name)
	}
}

type full struct{}

var errFull = errors.New("no space left")

func (full) Write([]byte) (int, error) { return 0, errFull }

func TestWriteFault(t *testing.T) {
	require.ErrorIs(t, Write(full{}, small()), errFull)
}

func TestWriteFile(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a.csv")
	require.NoError(t, WriteFile(path, small()))
	got, err := ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, small().Current(), got.Current())

	// A trace that cannot be written leaves the old file and nothing else.
	bad := small()
	bad.Columns[2].Values[0] = math.NaN()
	require.Error(t, WriteFile(path, bad))
	again, err := ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, got.SHA256, again.SHA256)
	require.ErrorIs(t, replace(path, func(w io.Writer) error {
		_, err := io.WriteString(w, "half")
		return errors.Join(err, errFull)
	}), errFull)
	again, err = ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, got.SHA256, again.SHA256)
	files, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Len(t, files, 1)

	require.ErrorIs(t, WriteFile(filepath.Join(dir, "none", "a.csv"), small()), os.ErrNotExist)
	require.ErrorContains(t, WriteFile(dir, small()), "no regular file")
}
