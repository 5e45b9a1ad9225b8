package plot

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write the golden files anew")

// sample holds every kind of mark.
func sample() Figure {
	x := []float64{20, 40, 60, 80, 100}
	return Figure{
		Title: "Sample", Desc: "Every kind of mark.",
		X: Axis{Label: "duty", Unit: "%", Range: &Range{15, 105}},
		Panels: []Panel{
			{Y: Axis{Label: "current", Unit: "A", Zero: true}, Share: 2, Marks: []Mark{
				Band{X: x, Low: []float64{0.1, 0.4, math.NaN(), 2, 4}, High: []float64{0.3, 0.7, 1.6, 2.8, 5}, Name: "good units"},
				Line{X: x, Y: []float64{0.2, 0.5, 1.2, 2.4, 4.4}, Stroke: Stroke{Color: First, Width: 1}},
				Points{X: x, Y: []float64{0.2, 0.5, 1.2, 2.4, 5.4}, U: []float64{0.1, 0.1, 0.2, math.NaN(), 0.3}, Name: "up", Color: First,
					Boxed: []bool{false, false, false, false, true}},
				Points{X: x[:4], Y: []float64{0.2, 0.5, 1.1, 2.3}, Name: "down", Shape: OnTip, Color: Second},
			}},
			{Y: Axis{Label: "supply", Unit: "V"}, Marks: []Mark{
				Region{From: 30, To: 45, Name: "attempt 1"},
				Line{X: x, Y: []float64{13.5, 13.4, math.NaN(), 13.1, 12.9}, Step: true, Fill: Shade, Stroke: Stroke{Color: Third, Width: 1}},
				Marker{X: 42, Name: "settled"},
			}},
		},
	}
}

func TestSVGGolden(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, SVG(&b, sample(), 600, 360, "s"))
	golden(t, "sample.svg", b.String())
	checkXML(t, b.Bytes())
}

func TestTerminalGolden(t *testing.T) {
	for name, term := range map[string]Terminal{"unicode": {Unicode: true}, "ascii": {}, "narrow": {Width: 40, Height: 12}} {
		golden(t, "curve-"+name+".txt", term.Curve(dots(), "duty, %", "current, A"))
		x, y := wave()
		golden(t, "wave-"+name+".txt", term.Wave(x, y, HeldTop(x, y, 0.02, 0), "time, s", "current, A"))
	}
}

func dots() []Dot {
	var out []Dot
	for _, up := range []bool{true, false} {
		for d := 20.0; d <= 100; d += 10 {
			c := 0.1 + 4.5*math.Pow(d/100, 3)
			y := c
			if up && d > 60 {
				y *= 1.3
			}
			out = append(out, Dot{X: d, Y: y, U: 0.05, Low: c * 0.9, High: c * 1.1, Up: up})
		}
	}
	return out
}

func wave() (x, y []float64) {
	for i := range 2000 {
		t := float64(i) / 1000
		a := 0.03
		if t > 0.4 && t < 0.7 || t > 1.1 && t < 1.4 {
			a = 1.6
		}
		if i == 100 {
			a = 27
		}
		x, y = append(x, t), append(y, a)
	}
	return x, y
}

func TestTerminalFitsAndKeepsItsWord(t *testing.T) {
	x, y := wave()
	for _, w := range []int{-1, 1, 30, 40, 79, 80, 200} {
		for _, u := range []bool{true, false} {
			term := Terminal{Width: w, Unicode: u}
			limit := max(w, 30)
			if w <= 0 {
				limit = 80
			}
			for _, s := range []string{term.Curve(dots(), "duty, %", "current, A"), term.Wave(x, y, 3, "time, s", "current, A")} {
				for line := range strings.Lines(s) {
					assert.LessOrEqual(t, utf8.RuneCountInString(strings.TrimSuffix(line, "\n")), limit)
				}
				assert.NotContains(t, s, "\x1b", "no colour unless told")
				if !u {
					for _, r := range s {
						require.Less(t, r, rune(127))
					}
				}
			}
		}
	}
	assert.Contains(t, Terminal{Colour: true}.Curve(dots(), "", ""), "\x1b[31m", "points outside the band")
	assert.Contains(t, Terminal{}.Wave(x, y, 3, "", ""), "off the top, to 27")
}

func TestNothingToDraw(t *testing.T) {
	nan := math.NaN()
	for name, g := range map[string]Figure{
		"no panel":  {},
		"no mark":   {Panels: []Panel{{}, {}}},
		"only NaN":  {Panels: []Panel{{Marks: []Mark{Line{X: []float64{1, nan}, Y: []float64{nan, 1}}}}}},
		"only Inf":  {Panels: []Panel{{Marks: []Mark{Points{X: []float64{1}, Y: []float64{math.Inf(1)}, Name: "up"}}}}},
		"no values": {Panels: []Panel{{Y: Axis{Held: 1}, Marks: []Mark{Marker{X: 1, Name: "m"}, Region{From: 0, To: 1}}}}},
	} {
		var b bytes.Buffer
		require.NoError(t, SVG(&b, g, 300, 200, "x"), name)
		assert.Contains(t, b.String(), "nothing to draw", name)
		checkXML(t, b.Bytes())
	}
	// One panel of two without values says so by itself.
	var b bytes.Buffer
	g := sample()
	g.Panels[1].Marks = nil
	require.NoError(t, SVG(&b, g, 600, 360, "x"))
	assert.Contains(t, b.String(), "nothing to draw: not sampled")
	assert.Contains(t, Terminal{}.Curve(nil, "", ""), "nothing to draw")
	assert.Contains(t, Terminal{}.Wave([]float64{nan}, []float64{1}, 0, "", ""), "nothing to draw")
}

func TestHostileWords(t *testing.T) {
	evil := "</title><script>alert(1)</script>\x00\x1b\u202e&\"'"
	g := sample()
	g.Title, g.Desc, g.X.Label, g.Panels[0].Y.Unit = evil, evil, evil, evil
	g.Panels[1].Marks = append(g.Panels[1].Marks, Marker{X: 50, Name: evil})
	var b bytes.Buffer
	require.NoError(t, SVG(&b, g, 600, 360, `x" onload="y`))
	assert.NotContains(t, b.String(), "<script")
	assert.NotContains(t, b.String(), "onload=\"")
	assert.NotContains(t, b.String(), "\x1b")
	checkXML(t, b.Bytes())
}

func TestSVGSaysWhenItCannotWrite(t *testing.T) {
	err := SVG(failing{}, sample(), 600, 360, "x")
	assert.ErrorIs(t, err, errFull)
	assert.ErrorContains(t, err, "plot:")
}

var errFull = errors.New("disk full")

type failing struct{}

func (failing) Write([]byte) (int, error) { return 0, errFull }

// What runs off the top is marked and told, and does not flatten the rest.
func TestShortPeakRunsOffTheTop(t *testing.T) {
	x, y := wave()
	g := Figure{Panels: []Panel{{Y: Axis{Unit: "A", Zero: true, Held: 0.02}, Marks: []Mark{Line{X: x, Y: y, Stroke: Stroke{Color: First, Width: 1}}}}}}
	var b bytes.Buffer
	require.NoError(t, SVG(&b, g, 600, 300, "x"))
	assert.Contains(t, b.String(), "short peak, to 27 A")
	assert.NotContains(t, b.String(), ">25<")
	g.Panels[0].Y.Held = 0
	b.Reset()
	require.NoError(t, SVG(&b, g, 600, 300, "x"))
	assert.NotContains(t, b.String(), "short peak")
}

func FuzzDraw(f *testing.F) {
	f.Add(0.0, 1.0, 2.0, 3.0, 600.0)
	f.Add(math.NaN(), math.Inf(1), -math.MaxFloat64, math.MaxFloat64, 100.0)
	f.Add(1.0, 1.0, 1.0, 1.0, -5.0)
	f.Fuzz(func(t *testing.T, a, b, c, d, width float64) {
		x, y := []float64{a, b, c, d}, []float64{d, c, b, a}
		g := Figure{X: Axis{Label: "x"}, Panels: []Panel{{Y: Axis{Held: math.Abs(a), AtLeast: b}, Marks: []Mark{
			Band{X: x, Low: y, High: x, Name: "band"}, Region{From: a, To: b, Name: "r"}, Marker{X: c, Name: "m"},
			Line{X: x, Y: y, Step: true, Fill: Shade, Name: "l", Stroke: Stroke{Color: First, Width: 1}},
			Points{X: x, Y: y, U: x, Name: "p", Boxed: []bool{true}},
		}}}}
		var out bytes.Buffer
		require.NoError(t, SVG(&out, g, min(math.Abs(width), 1e4), 200, "f"))
		checkXML(t, out.Bytes())
		assert.NotRegexp(t, `NaN|Inf`, out.String())
		for _, u := range []bool{true, false} {
			term := Terminal{Unicode: u, Width: int(max(0, min(math.Abs(a), 300)))}
			require.NotEmpty(t, term.Curve([]Dot{{X: a, Y: b, Low: c, High: d, Up: true}, {X: b, Y: c, Low: d, High: a}}, "x", "y"))
			require.NotEmpty(t, term.Wave(x, y, c, "x", "y"))
		}
	})
}

func TestColor(t *testing.T) {
	r, g, b, ok := Color("#1f4e79").RGB()
	assert.True(t, ok)
	assert.Equal(t, [3]uint8{0x1f, 0x4e, 0x79}, [3]uint8{r, g, b})
	for _, c := range []Color{"", "#12345", "red", "#gggggg"} {
		_, _, _, ok = c.RGB()
		assert.False(t, ok, c)
	}
}

// Words and lines stand out from white by 4.5 to 1 (WCAG 2.2, 1.4.3; the
// formulas of relative luminance and contrast ratio are in its glossary).
func TestContrast(t *testing.T) {
	for _, c := range []Color{Ink, Faint, First, Second, Third, bandWords} {
		assert.Greater(t, 1.05/(luminance(t, c)+0.05), 4.5, c)
	}
}

func luminance(t *testing.T, c Color) float64 {
	r, g, b, ok := c.RGB()
	require.True(t, ok)
	lin := func(v uint8) float64 {
		s := float64(v) / 255
		if s <= 0.04045 {
			return s / 12.92
		}
		return math.Pow((s+0.055)/1.055, 2.4)
	}
	return 0.2126*lin(r) + 0.7152*lin(g) + 0.0722*lin(b)
}

func checkXML(t *testing.T, b []byte) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(b))
	for {
		if _, err := d.Token(); err == io.EOF {
			return
		} else {
			require.NoError(t, err)
		}
	}
}

var numbers = regexp.MustCompile(`-?\d+(\.\d+)?`)

// golden compares with a file under testdata: the words must be the same and
// numbers may differ by two tenths, as other machines round otherwise.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err, "run the test once with -update")
	if strings.HasSuffix(name, ".txt") {
		require.Equal(t, string(want), got)
		return
	}
	require.Equal(t, numbers.ReplaceAllString(string(want), "0"), numbers.ReplaceAllString(got, "0"))
	w, g := numbers.FindAllString(string(want), -1), numbers.FindAllString(got, -1)
	require.Len(t, g, len(w))
	for i := range w {
		a, _ := strconv.ParseFloat(w[i], 64)
		b, _ := strconv.ParseFloat(g[i], 64)
		require.InDelta(t, a, b, 0.21)
	}
}
