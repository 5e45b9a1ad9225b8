package profiles

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func bare(string) (any, error) { return nil, nil }

// withConnector is a built-in profile with a connector written before its limits.
func withConnector(t *testing.T, table string) []byte {
	t.Helper()
	data, ok := Builtin("aux-pump-20w")
	require.True(t, ok)
	s := string(data)
	at := strings.Index(s, "[pump]")
	require.Positive(t, at)
	// The kind's own section is not this package's: it ends at the next table.
	end := strings.Index(s[at+1:], "\n[") + at + 2
	return []byte(s[:at] + table + "\n" + s[end:])
}

const threeWay = `[connector]
name = "3-way, sealed"
seen_from = "mating side"

[[connector.cavity]]
label = "1"
function = "supply"
wire = "1.5 mm2"
colour = "red"
row = 1
column = 1

[[connector.cavity]]
label = "2"
function = "ground"
row = 1
column = 2

[[connector.cavity]]
label = "3"
function = "line"
wire = "0.5 mm2"
row = 2
column = 2
`

func TestConnectorIsReadAndWrittenBack(t *testing.T) {
	p, err := Parse(withConnector(t, threeWay), "test", bare)
	require.NoError(t, err)
	c := p.Connector
	assert.Equal(t, "3-way, sealed", c.Name)
	assert.Equal(t, MatingSide, c.SeenFrom)
	assert.Equal(t, []Cavity{
		{Label: "1", Function: CavitySupply, Wire_mm2: 1.5, Colour: "red", Row: 1, Column: 1},
		{Label: "2", Function: CavityGround, Row: 1, Column: 2},
		{Label: "3", Function: CavityLine, Wire_mm2: 0.5, Row: 2, Column: 2},
	}, c.Cavities)
	grid := c.Grid()
	require.Len(t, grid, 2)
	assert.Equal(t, "1", grid[0][0].Label)
	assert.Nil(t, grid[1][0], "no cavity there")
	assert.Equal(t, "3", grid[1][1].Label)

	data, err := Encode(p)
	require.NoError(t, err)
	again, err := Parse(data, "again", bare)
	require.NoError(t, err)
	assert.Equal(t, c, again.Connector)

	plain, err := Parse(withConnector(t, ""), "test", bare)
	require.NoError(t, err)
	assert.Equal(t, Connector{}, plain.Connector)
	data, err = Encode(plain)
	require.NoError(t, err)
	assert.NotContains(t, string(data), "connector")
}

func TestConnectorIsRefused(t *testing.T) {
	for name, c := range map[string]struct{ old, new, says string }{
		"unknown function": {`function = "line"`, `function = "signal"`, "it must be"},
		"no line":          {`function = "line"`, `function = "unused"`, "no cavity for line"},
		"no supply":        {`function = "supply"`, `function = "unused"`, "no cavity for supply"},
		"twice":            {`label = "2"`, `label = "1"`, "stands twice"},
		"same place":       {"row = 2\ncolumn = 2", "row = 1\ncolumn = 2", "holds cavity"},
		"wire in mm":       {`"0.5 mm2"`, `"0.5 mm"`, "cross-section"},
		"wire of nothing":  {`"0.5 mm2"`, `"0 mm2"`, "cross-section"},
		"wire bare":        {`"0.5 mm2"`, `0.5`, "cross-section"},
		"thick":            {`"0.5 mm2"`, `"50 mm2"`, "cross-section"},
		"row zero":         {"row = 2", "row = 0", "at least 1"},
		"far column":       {"column = 1", "column = 100", "at most 24"},
		"unknown key":      {`colour = "red"`, `color = "red"`, "unknown key color"},
		"no side":          {"seen_from = \"mating side\"\n", "", "lacks the key seen_from"},
		"other side":       {"mating side", "front", "it must be"},
		"label of nothing": {`label = "3"`, `label = ""`, "give the cavity a name"},
		"half a row":       {"row = 2", "row = 1.5", "whole number"},
	} {
		t.Run(name, func(t *testing.T) {
			require.Contains(t, threeWay, c.old)
			_, err := Parse(withConnector(t, strings.Replace(threeWay, c.old, c.new, 1)), "test", bare)
			assert.ErrorContains(t, err, c.says)
		})
	}
}

func TestConnectorTOMLCanBePasted(t *testing.T) {
	p, err := Parse(withConnector(t, threeWay), "test", bare)
	require.NoError(t, err)
	s, err := ConnectorTOML(p.Connector)
	require.NoError(t, err)
	again, err := Parse(withConnector(t, s), "test", bare)
	require.NoError(t, err)
	assert.Equal(t, p.Connector, again.Connector)
}
