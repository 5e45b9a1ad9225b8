package container

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

// round encodes and decodes, and holds the outcome against the CSV's.
func round(t *testing.T, tr *trace.Trace) []byte {
	t.Helper()
	data, err := Encode(tr)
	require.NoError(t, err)
	got, err := Decode(data, "a name")
	require.NoError(t, err)
	text := csv(t, tr)
	require.True(t, bytes.Equal(text, csv(t, got)), "the CSV is another one")
	read, err := trace.Read(bytes.NewReader(text), "a name")
	require.NoError(t, err)
	read.SHA256 = ""
	equal(t, read, got)
	return data
}

// equal compares all of two traces, every bit of the numbers included.
func equal(t *testing.T, want, got *trace.Trace) {
	t.Helper()
	require.Equal(t, want.Source, got.Source)
	require.Equal(t, len(want.Meta), len(got.Meta))
	for i := range want.Meta {
		require.Equal(t, want.Meta[i], got.Meta[i])
	}
	require.Equal(t, want.Warnings, got.Warnings)
	require.Equal(t, len(want.Columns), len(got.Columns))
	for i := range want.Columns {
		w, g := &want.Columns[i], &got.Columns[i]
		require.Equal(t, w.Name, g.Name)
		require.Equal(t, w.Missing, g.Missing, w.Name)
		require.Equal(t, w.Resolution, g.Resolution, w.Name)
		require.Equal(t, w.Text, g.Text, w.Name)
		require.Equal(t, len(w.Values), len(g.Values), w.Name)
		for row := range w.Values {
			if a, b := w.Values[row], g.Values[row]; !same(a, b) && !(a != a && b != b) {
				require.Failf(t, "another number", "%s, row %d: %v instead of %v", w.Name, row, b, a)
			}
		}
	}
}

// of makes a trace of some columns beside the required ones.
func of(rows int, more ...trace.Column) *trace.Trace {
	time, zero := make([]float64, rows), make([]float64, rows)
	for i := range time {
		time[i] = float64(i) / 1000
	}
	return &trace.Trace{Columns: append([]trace.Column{{Name: trace.ColTime, Values: time},
		{Name: trace.ColDuty, Values: zero}, {Name: trace.ColCurrent, Values: zero}}, more...)}
}

func column(name string, rows int, f func(i int) float64) trace.Column {
	c := trace.Column{Name: name, Values: make([]float64, rows)}
	for i := range c.Values {
		c.Values[i] = f(i)
	}
	return c
}

func TestNothingIsLost(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	nan, negative := math.NaN(), math.Copysign(0, -1)
	anyBits := func(int) float64 {
		for {
			if v := math.Float64frombits(r.Uint64()); !math.IsInf(v, 0) {
				return v
			}
		}
	}
	pick := func(list ...float64) func(int) float64 {
		return func(int) float64 { return list[r.IntN(len(list))] }
	}
	const rows = 20_000 // three blocks
	for name, f := range map[string]func(int) float64{
		"constant":                     func(int) float64 { return 13.5 },
		"constant negative zero":       func(int) float64 { return negative },
		"none":                         func(int) float64 { return nan },
		"zeros of both signs":          pick(0, negative),
		"millionths around zero":       func(int) float64 { return math.Round(20*r.NormFloat64()) / 1e6 },
		"negative zero by rounding":    func(int) float64 { return math.Round(0.6*r.NormFloat64()) / 1e6 },
		"any bits":                     anyBits,
		"uniform":                      func(int) float64 { return r.Float64() },
		"numbers that are far apart":   pick(1e300, -1e300, 5e-324, -5e-324, math.MaxFloat64, -math.MaxFloat64, 1, negative),
		"powers of ten":                func(i int) float64 { return math.Pow(10, float64(i%40-20)) },
		"whole numbers up to 2^53":     func(int) float64 { return float64(r.Int64N(1<<53) - 1<<52) },
		"whole numbers above":          func(int) float64 { return float64(r.Int64()) },
		"many decimals":                func(int) float64 { return 0.1 * float64(r.IntN(100)) },
		"a number where there was one": func(i int) float64 { return pick(nan, 1.5, 1.25)(i) },
		"seldom":                       func(i int) float64 { return []float64{nan, float64(i)}[(i%997+996)/997^1] },
		"only the last":                func(i int) float64 { return []float64{nan, 3}[i/(rows-1)] },
		"all but the first":            func(i int) float64 { return []float64{nan, 3}[min(i, 1)] },
		"steps":                        func(i int) float64 { return float64(i / 1000) },
		"ramp":                         func(i int) float64 { return float64(i) * 1e-6 },
		"parabola":                     func(i int) float64 { return float64(i*i) / 100 },
		"many different ones":          func(int) float64 { return float64(r.IntN(9000)) * 0.7 },
		"jumps of whole numbers":       func(i int) float64 { return float64(int64(i%2) << 52) },
	} {
		t.Run(name, func(t *testing.T) {
			round(t, of(rows, column("x", rows, f)))
		})
	}
}

func TestSmallTraces(t *testing.T) {
	for rows := 1; rows < 20; rows++ {
		round(t, of(rows, column("x", rows, func(i int) float64 { return float64(i % 3) })))
	}
	for _, rows := range []int{blockRows - 1, blockRows, blockRows + 1, 2 * blockRows} {
		round(t, of(rows))
	}
}

func TestEveryKindOfCell(t *testing.T) {
	tr := of(5, column(trace.ColSupply, 5, func(i int) float64 { return []float64{math.NaN(), 13.5}[i%2] }),
		trace.Column{Name: trace.ColDirection, Text: []string{"up", "up", "", "down", "down"}},
		trace.Column{Name: `a, "name"`, Text: []string{"", " x ", "a,b", `"q"`, "µ #1"}},
		trace.Column{Name: "note", Text: []string{"", "", "", "", "x"}},
		column("speed_rpm", 5, func(i int) float64 { return -1e-7 * float64(i) }))
	tr.Columns[0].Values = []float64{-1, -1, 0, 0, 1e9}
	tr.Meta = []trace.Entry{{Key: trace.KeyTrace, Value: "1"}, {Value: "no key here"}, {Key: "made up", Value: "x: y: z"},
		{Key: trace.KeyNominal, Value: "twelve"}, {Key: trace.KeyUnit, Value: "A"}, {Key: trace.KeyUnit, Value: "B"}, {Key: "x-empty"}}
	round(t, tr)
}

func TestLongTexts(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 2))
	text := make([]string, 3000)
	for i := range text {
		text[i] = strings.Repeat(string(rune('a'+r.IntN(26))), r.IntN(6000))
	}
	data := round(t, of(len(text), trace.Column{Name: "log", Text: text}))
	s, err := scan(data)
	require.NoError(t, err)
	assert.Len(t, s.blocks, 3, "9 MB of text, a block ends behind 4 MB")
}

func TestManyColumns(t *testing.T) {
	var more []trace.Column
	for i := range trace.MaxColumns - 3 {
		more = append(more, column(fmt.Sprint("c", i), 4100, func(row int) float64 { return float64(row*(i%100/99) + i) }))
	}
	data := round(t, of(4100, more...))
	s, err := scan(data)
	require.NoError(t, err)
	assert.Len(t, s.blocks, 2, "a block holds 4096 rows of so many columns")
}

// TestSize is a bar: at most a twelfth of the CSV, here with noise of 10 steps
// of the converter on every channel in every row, which is more than a bench
// has; the benchmarks show how the figure depends on the noise.
func TestSize(t *testing.T) {
	for _, sparse := range []bool{false, true} {
		tr := bench{seconds: 6, noise: 10, sparse: sparse, seed: 3}.noisy()
		data := round(t, tr)
		ratio := float64(len(csv(t, tr))) / float64(len(data))
		t.Logf("sparse %v: the CSV is %.1f times as large", sparse, ratio)
		assert.Greater(t, ratio, 12.0)
	}
}

func TestRefused(t *testing.T) {
	for name, tr := range map[string]*trace.Trace{
		"no rows":       of(0),
		"no columns":    {},
		"infinite":      of(2, column("x", 2, func(int) float64 { return math.Inf(1) })),
		"missing":       {Columns: of(2).Columns[:2]},
		"two meanings":  {Columns: of(2).Columns, Meta: []trace.Entry{{Key: trace.KeyDuty, Value: "line"}, {Key: trace.KeyDuty, Value: "command"}}},
		"other format":  {Columns: of(2).Columns, Meta: []trace.Entry{{Key: trace.KeyTrace, Value: "2"}}},
		"uneven length": of(2, column("x", 3, func(int) float64 { return 0 })),
	} {
		_, err := Encode(tr)
		assert.ErrorContains(t, err, "container: ", name)
	}
}

// TestTracesOfEveryShape draws traces from all that a column can be.
func TestTracesOfEveryShape(t *testing.T) {
	for seed := range uint64(150) {
		r := rand.New(rand.NewPCG(seed, 9))
		rows := 1 + r.IntN(400)
		if seed%10 == 0 {
			rows += blockRows
		}
		var more []trace.Column
		for i := range r.IntN(5) {
			scale := math.Pow(10, float64(r.IntN(12)-8))
			levels, gap := 1+r.IntN(300), r.Float64()*float64(r.IntN(2))
			kind, walk := r.IntN(4), 0.0
			more = append(more, column(fmt.Sprint("c", i), rows, func(int) float64 {
				if r.Float64() < gap {
					return math.NaN()
				}
				switch kind {
				case 0:
					return float64(r.IntN(levels)-levels/2) * scale
				case 1:
					walk += r.NormFloat64()
					return math.Round(walk) * scale
				case 2:
					return r.NormFloat64()
				}
				return math.Round(r.NormFloat64()*float64(levels)) / 1e6
			}))
		}
		tr := of(rows, more...)
		round(t, tr)
		if t.Failed() {
			t.Fatalf("seed %d", seed)
		}
	}
}
