package result

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Whatever a kind put into a view, JSON can hold it, and it is small.
func TestViewClean(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	v := View{Name: "rise", Lines: []ViewLine{
		{Name: "a", X: []float64{0, 1, 2, 3}, Y: []float64{1, nan, 3, 4}, Low: []float64{0, 1, 2, 3}, High: []float64{2, 2, inf, 5}},
		{Name: "short", X: []float64{0, 1}, Y: []float64{5}, Low: []float64{}},
		{Name: "long", X: make([]float64, 4*MostViewPoints+1), Y: make([]float64, 4*MostViewPoints+1)},
	}, Marks: []ViewMark{{1, "here"}, {nan, "nowhere"}}}
	got, lost := v.Clean()
	assert.Equal(t, 2, lost)
	assert.Equal(t, []float64{0, 2, 3}, got.Lines[0].X)
	assert.Equal(t, []float64{0, 2, 3}, got.Lines[0].Low)
	assert.Nil(t, got.Lines[0].High, "not known all along")
	assert.Equal(t, []float64{5}, got.Lines[1].Y)
	assert.LessOrEqual(t, len(got.Lines[2].X), MostViewPoints)
	assert.Equal(t, []ViewMark{{1, "here"}}, got.Marks)
	_, err := json.Marshal(got)
	require.NoError(t, err)
	assert.Len(t, v.Lines[0].X, 4, "what was given is not changed")
	empty, _ := View{}.Clean()
	data, err := json.Marshal(empty)
	require.NoError(t, err)
	assert.Contains(t, string(data), `"lines":[]`)
}
