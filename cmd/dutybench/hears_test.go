package main

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"dutybench/bench/rig"
	"dutybench/profiles"
)

// A rig that reads a position in another way than the unit tells it is refused.
func TestPositionByAnotherWay(t *testing.T) {
	t.Parallel()
	level := &rig.PositionInput{Sense: &rig.Sense{}}
	edges := &rig.PositionInput{Edges: &rig.Input{Pin: "RETURN"}}
	for name, c := range map[string]struct {
		input   *rig.PositionInput
		by      string
		refused bool
	}{
		"level for level": {level, profiles.ByVoltage, false}, "edges for edges": {edges, profiles.ByPWM, false},
		"level for edges": {level, profiles.ByPWM, true}, "edges for level": {edges, profiles.ByVoltage, true},
		"unit tells none": {level, "", false}, "rig reads none": {nil, profiles.ByPWM, false},
	} {
		p := &profiles.Profile{Name: "some"}
		p.Position.By = c.by
		err := hears(&rig.Description{Name: "left", Position: c.input}, p)
		if assert.Equal(t, c.refused, err != nil, name) && c.refused {
			assert.ErrorContains(t, err, "[position]", name)
		}
	}
}
