package plot

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/result"
)

// A view has its axes with units, its lines by name, the band of good units once,
// and its marks with their words.
func TestView(t *testing.T) {
	x := []float64{0, 10, 20, 30}
	v := result.View{Name: "path", Title: "Reached position", X: result.Axis{Label: "asked", Unit: "%"}, Y: result.Axis{Label: "reached", Unit: "%"},
		Lines: []result.ViewLine{
			{Name: "up", X: x, Y: []float64{0, 9, 19, 29}, Low: []float64{-1, 8, 18, 28}, High: []float64{1, 11, 21, 31}},
			{Name: "down", X: []float64{30, 20, 10, 0}, Y: []float64{29, 22, 12, 2}, High: []float64{31, 23, 13, 3}},
			{Name: "asked", X: x, Y: x},
		}, Marks: []result.ViewMark{{X: 12, Label: "binds here"}}}
	var b strings.Builder
	require.NoError(t, SVG(&b, View(v, "in words"), 760, 290, "v"))
	s := b.String()
	for _, want := range []string{"<title id=\"v-t\">Reached position</title>", "in words", ">asked, %<", ">reached, %<", ">up<", ">down<", ">binds here<"} {
		assert.Contains(t, s, want)
	}
	assert.Equal(t, 1, strings.Count(s, ">good units<"))
	assert.Equal(t, 3, strings.Count(s, string(BandTop)), "two bands, and the swatch beside their name")
	assert.NotContains(t, s, "nothing to draw")

	v.Lines, v.Marks = v.Lines[2:], nil
	b.Reset()
	require.NoError(t, SVG(&b, View(v, ""), 760, 290, "v"))
	assert.NotContains(t, b.String(), "good units")
	assert.Equal(t, 1, strings.Count(b.String(), ">asked, %<"))
	assert.NotContains(t, b.String(), ">asked<", "one line needs no name")

	v.Lines = nil
	b.Reset()
	require.NoError(t, SVG(&b, View(v, ""), 760, 290, "v"))
	assert.Contains(t, b.String(), "nothing to draw")
}
