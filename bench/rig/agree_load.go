package rig

const (
	// diodeDrop_V is what a free-wheel diode adds to the supply at the switched
	// wire, or takes it below ground: 1 V, chosen, above what silicon and Schottky
	// diodes have at their rating.
	diodeDrop_V = 1.0
	// belowGround_V is how far below ground a converter's input may go (SBAS444E
	// and DS21298E, absolute maximum ratings: 0.3 V and 0.6 V; the smaller).
	belowGround_V = 0.3
)

// agreeLoad: the load switch, its free-wheel path and what the shunt sees of it.
// Pins and channels are in agreePins and agreeVoltages.
func (d *Description) agreeLoad(bad complaint) {
	l := d.Load
	if l == nil {
		return
	}
	if l.ActiveLow {
		bad(key("load", "active"), "a load switch that closes when its pin is low closes at every start and whenever nothing drives the pin; let the driver before it turn the level over, so that it closes when the pin is high, and leave active out")
	}
	if line := d.LinePin; l.PWMChip != "" && l.PWMChip == line.PWMChip && l.Channel == line.Channel {
		bad(key("load", "channel"), "channel %d of %s is that of the line too: give each its own", l.Channel, l.PWMChip)
	}
	low, high := l.LowestFrequency_Hz, l.HighestFrequency_Hz
	if (high != 0 || low != 0) && !(low >= LoadLowest_Hz && low <= high && high <= LoadHighest_Hz) {
		bad(key("load", "frequency"), "the load switch takes %g Hz to %g Hz: a bench switches loads at %d Hz to %d kHz; state a range within, lower where transistor and driver get hot", low, high, LoadLowest_Hz, LoadHighest_Hz/1000)
	}
	switch l.FreeWheel {
	case FreeWheelDiode:
		d.agreeSeen(bad)
	case FreeWheelNone:
		d.agreeClamp(bad)
	default:
		bad(key("load", "free_wheel"), "the free-wheel path is %q: it is \"diode\", across the unit's plug, or \"none\"", l.FreeWheel)
	}
}

// agreeSeen: the shunt sees what free-wheels when it lies in the loop of unit and
// diode, and beside the switched wire, which jumps by the supply at each edge.
func (d *Description) agreeSeen(bad complaint) {
	l := d.Load
	if !l.Seen || l.HighSide == d.Current.LowSide {
		return
	}
	shunt, other := "minus", "high"
	if l.HighSide {
		shunt, other = "plus", "low"
	}
	bad(key("load", "recirculation"), "shunt and load switch are both in the %s wire: the shunt then sees the free-wheel current only between unit and switch, where its voltage jumps by the whole supply at each edge and the amplifier reads that; put the shunt on the %s side and join the diode to the far side of it, or state recirculation = \"not-seen\"", shunt, other)
}

// agreeClamp: a switch without a free-wheel diode has to bear the coil's energy.
func (d *Description) agreeClamp(bad complaint) {
	l := d.Load
	c, high_V := l.Clamp, d.Bench.SupplyHigh_V
	switch {
	case !(c.Volt > 0 && c.Joule > 0 && c.Henry > 0):
		bad(key("load", "clamp_voltage"), "without a free-wheel diode the switch clamps at %g V and bears %g J of a coil of %g H: state all three, above zero", c.Volt, c.Joule, c.Henry)
		return
	case c.Volt < margin*high_V:
		bad(key("load", "clamp_voltage"), "the switch clamps at %g V, which is not above the highest supply and a tenth, %.4g V: it would conduct for ever; take one with a higher clamp, or fit a diode across the unit's plug", c.Volt, margin*high_V)
		return
	}
	if e := c.Opening_J(d.Bench.Current_A, high_V); e > c.Joule {
		bad(key("load", "clamp_energy"), "a coil of %g mH at the bench's %g A leaves %.3g J in the switch each time it opens, which bears %g J: fit a diode across the unit's plug, or lower inductance or bench.current", 1e3*c.Henry, d.Bench.Current_A, e, c.Joule)
	}
	if !l.Seen {
		bad(key("load", "recirculation"), "without a free-wheel diode the current dies away through switch, supply and shunt, so the shunt sees it wherever it is: state recirculation = \"seen\"")
	}
	if high_V < highest_V && c.Volt > highest_V {
		bad(key("load", "clamp_voltage"), "the plug's wires rise to %g V each time the switch opens, above the %d V that are safe to touch: take a switch with a lower clamp, or fit a diode across the unit's plug", c.Volt, highest_V)
	}
}

// nodeRange is how far the wire between unit and load switch goes, against
// ground.
func (d *Description) nodeRange() (low_V, high_V float64) {
	l, supply := d.Load, d.Bench.SupplyHigh_V
	beyond := diodeDrop_V // of the supply, or below ground
	if l.FreeWheel == FreeWheelNone {
		beyond = l.Clamp.Volt - supply
	}
	if l.HighSide {
		return -beyond, supply
	}
	return 0, supply + beyond
}

// agreeNode: the converter's input bears what the wire does.
func (d *Description) agreeNode(bad complaint, most_V float64) {
	if d.Load == nil || d.Load.Level == nil || d.Name == Sim { // there nothing is overdriven
		return
	}
	v := d.Load.Level.Divider
	if v.Bottom <= 0 || v.Top < 0 {
		return // said before
	}
	low, high := d.nodeRange()
	if d.Load.FreeWheel == FreeWheelDiode {
		high *= margin
	}
	path := key("load", "level", "top")
	if out := high / v.Ratio(); out > most_V {
		bad(path, "the wire between unit and load switch rises to %.4g V, of which the divider gives %.3g V, above the %g V that the converter's input bears: raise top to at least %.3g kohm", high, out, most_V,
			1e-12*float64(v.Bottom)*(high/most_V-1))
	}
	if out := -low / v.Ratio(); out > belowGround_V {
		words := "raise top"
		if d.Load.FreeWheel == FreeWheelNone {
			words = "fit a free-wheel diode, or leave [load.level] out"
		}
		bad(path, "the wire between unit and load switch falls to %.4g V below ground, of which the divider gives %.3g V; the converter's input bears %g V: %s", -low, out, belowGround_V, words)
	}
}

// agreeTold: the inputs for position and load switch; sense is the rule for every
// sense wire.
func (d *Description) agreeTold(bad complaint, most_V float64, sense func(s *Sense, high_V float64, path ...any)) {
	if p := d.Position; p != nil {
		if p.Sense == nil && p.Edges == nil {
			bad(key("position"), "the position is read by nothing: give it a level or a pin")
		}
		sense(p.Sense, d.Bench.SupplyHigh_V, "position", "level") // the wire may touch the supply
	}
	if d.Load != nil {
		sense(d.Load.Level, 0, "load", "level")
		d.agreeNode(bad, most_V)
	}
}
