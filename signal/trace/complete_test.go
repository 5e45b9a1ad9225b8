package trace

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What Complete says of a trace is what Read says of its CSV.
func TestCompleteIsAsRead(t *testing.T) {
	text := "# trace: 1\n# made up: x\n# supply_nominal_V: twelve\n# unit: A\n# unit: B\n" +
		"t_s,duty_pct,current_A,supply_on,supply_V,odd,direction\n0,0,-0,1,,1.5,up\n0,50,0.25,0,13.5,,down\n1,100,0.5,,13.25,2,\n"
	want, err := Read(strings.NewReader(text), "x")
	require.NoError(t, err)
	got := &Trace{Source: "x", SHA256: want.SHA256, Meta: want.Meta}
	for _, c := range want.Columns {
		got.Columns = append(got.Columns, Column{Name: c.Name, Values: c.Values, Text: c.Text})
	}
	require.NoError(t, got.Complete())
	same(t, want, got)
	assert.Equal(t, want.Warnings, got.Warnings)
	assert.Len(t, got.Warnings, 5)
}

// Check and Complete refuse what Write refuses, in the same words.
func TestCheckIsAsWrite(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for name, c := range map[string]Column{
		"time back":       {Name: ColTime, Values: []float64{0, 1, 0.5}},
		"time missing":    {Name: ColTime, Values: []float64{0, nan, 1}},
		"time without":    {Name: ColTime, Values: []float64{0, 1, inf}},
		"time from never": {Name: ColTime, Values: []float64{-inf, 0, 1}},
		"duty below":      {Name: ColDuty, Values: []float64{0, -1, 0}},
		"duty above":      {Name: ColDuty, Values: []float64{0, 100.5, 0}},
		"duty missing":    {Name: ColDuty, Values: []float64{0, nan, 0}},
		"current missing": {Name: ColCurrent, Values: []float64{0, nan, 0}},
		"current without": {Name: ColCurrent, Values: []float64{0, -inf, 0}},
		"half on":         {Name: ColSupplyOn, Values: []float64{0, 0.5, nan}},
		"line above":      {Name: ColLineDuty, Values: []float64{nan, 101, 0}},
		"endless":         {Name: "x", Values: []float64{nan, inf, 0}},
		"fine":            {Name: "x", Values: []float64{nan, math.MaxFloat64, -math.MaxFloat64}},
		"fine line":       {Name: ColLineDuty, Values: []float64{nan, 100, 0}},
		"fine supply":     {Name: ColSupplyOn, Values: []float64{nan, 1, 0}},
	} {
		tr := &Trace{Source: "x"}
		for _, name := range []string{ColTime, ColDuty, ColCurrent} {
			if name != c.Name {
				tr.Columns = append(tr.Columns, Column{Name: name, Values: []float64{0, 1, 2}})
			}
		}
		tr.Columns = append(tr.Columns, c)
		err := Write(&bytes.Buffer{}, tr)
		assert.Equal(t, strings.HasPrefix(name, "fine"), err == nil, "%s: %v", name, err)
		assert.Equal(t, err, tr.Check(), name)
		assert.Equal(t, err, tr.Complete(), name)
	}
}
