package rig

import "fmt"

// loadEdge_s is by how much more the load switch may conduct in a period than it
// is told; see Accuracy.
const loadEdge_s = 1e-6

// loadFacts are what the record keeps of load switch and position input.
func (d *Description) loadFacts() (out []Fact) {
	a := d.Accuracy()
	if l := d.Load; l != nil {
		out = append(out, Fact{"load switch", fmt.Sprintf("%s side, %s, %s; %s", l.side(), l.freeWheelWords(), l.frequencyWords(), l.seenWords())})
	}
	switch p := d.Position; p.by() {
	case PositionByVoltage:
		out = append(out, Fact{"position", fmt.Sprintf("%s, divider %v over %v, steps of %.3g mV", d.input(p.Sense.Channel), p.Sense.Divider.Top, p.Sense.Divider.Bottom, 1e3*a.PositionStep_V)})
	case PositionByPWM:
		out = append(out, Fact{"position", fmt.Sprintf("PWM on %s, each edge to %.2g ms", p.Edges.Pin, 1e3*a.PositionEdge_s)})
	}
	return out
}

// source is what drives the switch.
func (l *LoadSwitch) source() string {
	if l.PWMChip != "" {
		return fmt.Sprintf("%s channel %d", l.PWMChip, l.Channel)
	}
	return l.Pin
}

func (l *LoadSwitch) side() string {
	if l.HighSide {
		return "high"
	}
	return "low"
}

func (l *LoadSwitch) freeWheelWords() string {
	if l.FreeWheel == FreeWheelDiode {
		return "free-wheel diode across the plug"
	}
	return fmt.Sprintf("no free-wheel diode, the switch clamps at %g V", l.Clamp.Volt)
}

func (l *LoadSwitch) frequencyWords() string {
	if l.HighestFrequency_Hz == 0 {
		return "on and off only"
	}
	return fmt.Sprintf("%g Hz to %g kHz", l.LowestFrequency_Hz, l.HighestFrequency_Hz/1e3)
}

// seenWords say what the reading of the current is.
func (l *LoadSwitch) seenWords() string {
	if l.Seen {
		return "the shunt sees the free-wheel current: it reads the unit's own"
	}
	return "the shunt does not see the free-wheel current: it reads the supply's"
}

// whereSeen says where the diode is joined so that the shunt sees its current or
// does not, as the file states: the shunt is in the loop of unit and diode, or is
// not.
func (d *Description) whereSeen() string {
	switch l := d.Load; {
	case l.HighSide != d.Current.LowSide:
		return "the shunt is not in the loop of unit and diode"
	case l.Seen:
		return "so that the shunt is in the loop of unit and diode"
	}
	return "on the unit's side of the shunt, which is then not in the loop"
}
