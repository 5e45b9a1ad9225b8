package main

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"dutybench/profiles"
)

func TestConnectorText(t *testing.T) {
	c := profiles.Connector{Name: "3-way", SeenFrom: profiles.MatingSide, Cavities: []profiles.Cavity{
		{Label: "1", Function: "supply", Wire_mm2: 1.5, Colour: "red", Row: 1, Column: 1},
		{Label: "2", Function: "ground", Row: 1, Column: 2},
		{Label: "S", Function: "line", Wire_mm2: 0.5, Row: 2, Column: 2},
	}}
	assert.Equal(t, `3-way, seen from the mating side:
+------------+------------+
| 1          | 2          |
| supply     | ground     |
| 1.5 mm² re |            |
+------------+------------+
             | S          |
             | line       |
             | 0.5 mm²    |
             +------------+
`, connectorText(c))
	assert.Empty(t, connectorText(profiles.Connector{}))
}
