package main

import (
	"fmt"

	"dutybench/bench/rig"
	"dutybench/profiles"
)

// lookUnit holds load switch and position input of a rig against what a
// profile's unit needs of them; nothing where it needs neither.
func lookUnit(d *rig.Description, p *profiles.Profile) (list []rig.Look) {
	if p.Command.Type == profiles.Switched {
		l := rig.Look{What: "load switch for this profile", State: rig.OK, Found: "there is one"}
		switch hz := p.Command.Frequency_Hz; {
		case d.Load == nil:
			l.State, l.Found, l.Next = rig.Missing, "none, and the bench has to switch such a unit itself", "Fit one with a free-wheel diode, and state it as [load] in the rig file."
		case hz > 0 && (hz < d.Load.LowestFrequency_Hz || hz > d.Load.HighestFrequency_Hz):
			l.State, l.Found = rig.Missing, fmt.Sprintf("the profile switches at %g Hz, the load switch takes %g to %g Hz", hz, d.Load.LowestFrequency_Hz, d.Load.HighestFrequency_Hz)
			l.Next = "Take another bench, or state a wider frequency in [load] if transistor and driver bear it."
		case hz > 0:
			l.Found = fmt.Sprintf("it takes the profile's %g Hz", hz)
		}
		list = append(list, l)
	}
	if by := p.Position.By; by != "" {
		have := ""
		if d.Position != nil {
			have = rig.PositionByVoltage
			if d.Position.Sense == nil {
				have = rig.PositionByPWM
			}
		}
		l := rig.Look{What: "position for this profile", State: rig.OK, Found: "by " + by}
		if have != by {
			l.State, l.Found, l.Next = rig.Missing, fmt.Sprintf("the unit tells it by %s, the rig does not read that", by), "Wire the unit's output to an input, and state it as [position] in the rig file."
		}
		list = append(list, l)
	}
	return list
}
