package pdf_test

import (
	"bytes"
	"errors"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/plot"
	"dutybench/bench/plot/pdf"
)

// sample holds every kind of mark.
func sample() plot.Figure {
	x := []float64{20, 40, 60, 80, 100}
	return plot.Figure{
		X: plot.Axis{Label: "duty", Unit: "%"},
		Panels: []plot.Panel{{Y: plot.Axis{Label: "current", Unit: "A", Zero: true}, Marks: []plot.Mark{
			plot.Band{X: x, Low: []float64{0.1, 0.4, math.NaN(), 2, 4}, High: []float64{0.3, 0.7, 1.6, 2.8, 5}, Name: "good units"},
			plot.Line{X: x, Y: []float64{0.2, 0.5, 1.2, 2.4, 4.4}, Stroke: plot.Stroke{Color: plot.First, Width: 1}, Fill: plot.Shade},
			plot.Points{X: x, Y: []float64{0.2, 0.5, 1.2, 2.4, 5.4}, U: []float64{0.1, 0.1, 0.2, math.NaN(), 0.3}, Name: "up µΩ°", Color: plot.First, Boxed: []bool{true}},
			plot.Region{From: 30, To: 45, Name: "attempt"}, plot.Marker{X: 42, Name: "settled"},
		}}},
	}
}

func drawn(t testing.TB, g plot.Figure) []byte {
	d := pdf.New(pdf.About{Title: "Sample", Created: time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)})
	d.AddPage()
	pdf.Draw(d, g, 16, 20, 178, 80, 178.0/760)
	pdf.Draw(d, g, 16, 20, 178, 80, 0)
	var b bytes.Buffer
	require.NoError(t, pdf.Write(&b, d))
	return b.Bytes()
}

func TestFigureIsWholeAndTheSameEachTime(t *testing.T) {
	a := drawn(t, sample())
	assert.True(t, bytes.Equal(a, drawn(t, sample())))
	assert.Less(t, len(a), 80_000)
	assert.NotContains(t, string(a), "NaN")
	if _, err := exec.LookPath("qpdf"); err != nil {
		t.Skip("qpdf is not installed, so the file is not checked by it")
	}
	path := filepath.Join(t.TempDir(), "figure.pdf")
	require.NoError(t, os.WriteFile(path, a, 0o644))
	out, err := exec.Command("qpdf", "--check", path).CombinedOutput()
	require.NoError(t, err, "%s", out)
}

// A figure without values says so, and one that is too small breaks nothing.
func TestFiguresThatShowNothing(t *testing.T) {
	for _, g := range []plot.Figure{{}, {Panels: []plot.Panel{{}}}} {
		assert.NotEmpty(t, drawn(t, g))
	}
	d := pdf.New(pdf.About{})
	d.AddPage()
	pdf.Draw(d, sample(), 0, 0, 1, 1, 0.2)
	require.NoError(t, pdf.Write(&bytes.Buffer{}, d))
	assert.ErrorIs(t, pdf.Write(full{}, pdf.New(pdf.About{})), errFull)
}

var errFull = errors.New("full")

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errFull }

func TestShown(t *testing.T) {
	for in, want := range map[string]string{
		"5 µA ± 3 Ω, 20 °C ≤ 30 €": "5 µA ± 3 Ω, 20 °C ≤ 30 €", "žluťoučký Прямой ελληνικά": "žluťoučký Прямой ελληνικά",
		"中\U0001F600": "□□", "a\x00\u202eb\nc": "a b c", "\xff": "\ufffd", "−3": "–3", "": ""} {
		got, lacking := pdf.Shown(in)
		assert.Equal(t, want, got)
		n := 0
		for _, r := range want {
			if r == '□' {
				n++
			}
		}
		assert.Equal(t, n, lacking, in)
	}
}

// Widths are those of the face: the Go fonts' digits are alike wide, and the
// mono face is 0.6 of its size (hmtx table of the font, 1229 of 2048).
func TestWidth(t *testing.T) {
	assert.InDelta(t, pdf.Regular.Width("111", 10), pdf.Regular.Width("888", 10), 1e-9)
	assert.InDelta(t, 0.6001*10*25.4/72, pdf.Mono.Width("W", 10), 2e-3)
	assert.InDelta(t, pdf.Mono.Width("iii", 9), pdf.Mono.Width("WWW", 9), 1e-9)
	assert.Greater(t, pdf.Bold.Width("word", 9), pdf.Regular.Width("word", 9))
	assert.Equal(t, pdf.Regular.Width("□", 9), pdf.Regular.Width("中", 9), "shown as a box")
	assert.Equal(t, pdf.Regular.Width("x", 9), pdf.Face(99).Width("x", 9))
}

func FuzzText(f *testing.F) {
	f.Add("\\(parens)\r\n \x00 \U0010ffff é")
	f.Fuzz(func(t *testing.T, s string) {
		d := pdf.New(pdf.About{Title: s, Author: s})
		d.AddPage()
		for face := pdf.Regular; face <= pdf.Mono; face++ {
			w := pdf.Text(d, 10, 10, s, face, 9, plot.Ink, plot.End)
			require.False(t, math.IsNaN(w) || w < 0)
		}
		require.NoError(t, pdf.Write(&bytes.Buffer{}, d))
	})
}

func BenchmarkFigure(b *testing.B) {
	for range b.N {
		drawn(b, sample())
	}
}
