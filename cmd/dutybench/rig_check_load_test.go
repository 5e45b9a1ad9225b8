package main

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"dutybench/bench/rig"
	"dutybench/profiles"
)

// A check with a profile says what the bench lacks for its unit.
func TestCheckForAProfile(t *testing.T) {
	small, actuators := exampleRig(t, "small"), exampleRig(t, "actuators")
	byPWM := actuators
	byPWM.Position = &rig.PositionInput{Edges: &rig.Input{Pin: "GPIO16", Pull: "up"}}
	coil := func(hz float64) profiles.Profile {
		return profiles.Profile{Command: profiles.Command{Type: profiles.Switched, Frequency_Hz: hz}}
	}
	flap := func(by string) profiles.Profile {
		return profiles.Profile{Command: profiles.Command{Type: profiles.Signal}, Position: profiles.Position{By: by}}
	}
	for name, c := range map[string]struct {
		d     rig.Description
		p     profiles.Profile
		state rig.State // empty: nothing to say
	}{
		"a pump":                  {small, flap(""), ""},
		"coil, no switch":         {small, coil(0), rig.Missing},
		"coil":                    {actuators, coil(0), rig.OK},
		"coil at 1 kHz":           {actuators, coil(1000), rig.OK},
		"coil at 30 kHz":          {actuators, coil(30e3), rig.Missing},
		"position, no input":      {small, flap(profiles.ByVoltage), rig.Missing},
		"position":                {actuators, flap(profiles.ByVoltage), rig.OK},
		"position by PWM":         {byPWM, flap(profiles.ByPWM), rig.OK},
		"position, the other way": {byPWM, flap(profiles.ByVoltage), rig.Missing},
	} {
		list := lookUnit(&c.d, &c.p)
		if c.state == "" {
			assert.Empty(t, list, name)
			continue
		}
		if assert.Len(t, list, 1, name) {
			assert.Equal(t, c.state, list[0].State, name)
			assert.Equal(t, c.state == rig.OK, list[0].Next == "", name)
		}
	}
}
