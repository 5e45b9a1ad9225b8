package rig

// switchedNote is of the wire between unit and load switch.
const switchedNote = "the switched wire: short, it jumps by the supply at each edge"

// terminal of the plug that the load switch switches. A unit with two wires lies
// between it and the other pole; one with a board of its own has nothing there.
func (l *LoadSwitch) terminal() string {
	if l.HighSide {
		return "plug plus, switched"
	}
	return "plug minus, switched"
}

// loadWires are those of the load switch, of the free-wheel path and of what
// reads them. last is the last part in the plus wire.
func (d *Description) loadWires(last string, power, thin func(from, to string, role Role, note string)) {
	l := d.Load
	if l == nil {
		return
	}
	role, cathode, anode := Minus, "plug plus", l.terminal()
	if l.HighSide {
		role, cathode, anode = Switched, l.terminal(), "plug minus"
	}
	to := last
	switch {
	case !l.HighSide && d.Current.LowSide:
		to = "shunt, unit's side"
	case !l.HighSide:
		to = "supply minus"
	}
	power(l.terminal(), "load switch", role, switchedNote)
	power("load switch", to, role, "")
	if l.FreeWheel == FreeWheelDiode {
		if l.Seen && l.HighSide {
			anode = "shunt, supply's side"
		} else if l.Seen {
			cathode = "shunt, supply's side"
		}
		power("free-wheel diode, cathode (ring)", cathode, Switched, d.whereSeen())
		power("free-wheel diode, anode", anode, Minus, "never a coil without it; turned round it is a short")
	}
	thin(l.source(), "load switch, gate driver", Control, "pulled low, so that it opens when nothing drives it; "+l.frequencyWords())
	if s := l.Level; s != nil {
		thin(l.terminal(), "divider "+s.Divider.words()+" → "+d.input(s.Channel), SenseWire, "shows that switch and free-wheel path are whole")
	}
}

// positionWires are those of what the unit tells of its position.
func (d *Description) positionWires(thin func(from, to string, role Role, note string)) {
	switch p := d.Position; p.by() {
	case PositionByVoltage:
		thin("plug position", "divider "+p.Sense.Divider.words()+" → "+d.input(p.Sense.Channel), SenseWire, "")
	case PositionByPWM:
		thin("plug position", p.Edges.Pin, SignalWire, "through a divider or optocoupler: the pin bears 3.3 V; pull-"+p.Edges.Pull)
	}
}
