package rig

// What parts bear. All of it is chosen from common practice, without a source.
const (
	// leastSeries_Ohm is the least resistance between an open drain and the
	// plug: a small transistor bears 0.2 to 0.5 A, and 47 ohm hold a wire of
	// 16 V to 0.34 A.
	leastSeries_Ohm = 47
	// leastPullUp_Ohm: less makes the rig feed the unit's line, and the line's
	// transistor sink more than a unit's own pull-up would.
	leastPullUp_Ohm = 470
	// mostHeat_W is what the largest common resistor on a heat sink takes.
	mostHeat_W = 100
	// mostLimit is the supply's limit over the fuse: wires are chosen by the
	// fuse, which bears up to about twice its rating for a while.
	mostLimit = 2
	// margin is how far the supply may be set above its stated range by
	// mistake, or overshoot.
	margin = 1.1
)

// agreeBurns refuses what would burn, by the bench's highest supply.
func (d *Description) agreeBurns(bad complaint) {
	l, high_V := d.LinePin, d.Bench.SupplyHigh_V
	if d.Name == Sim {
		return // nothing burns there
	}
	if l.OpenDrain && l.Series_Ohm < leastSeries_Ohm {
		bad(key("line", "series"), "series is %g ohm: a wire that touches %g V drives %s through the line's transistor, and a small one bears no more than 0.5 A; take at least %d ohm",
			l.Series_Ohm, high_V, through(high_V, l.Series_Ohm), leastSeries_Ohm)
	}
	if l.PullUp_Ohm > 0 && l.PullUp_Ohm < leastPullUp_Ohm {
		bad(key("line", "pull_up"), "pull_up is %g ohm: at %g V it puts %s into the line, which neither transistor nor unit expects; take at least %d ohm, 10 kohm as a rule",
			l.PullUp_Ohm, high_V, through(high_V, l.PullUp_Ohm), leastPullUp_Ohm)
	}
	if p := d.PreCharge; p != nil && p.Resistor_Ohm > 0 {
		if i := high_V / p.Resistor_Ohm; i > d.Bench.Current_A {
			bad(key("pre_charge", "resistor"), "into a short at %g V the resistor of %g ohm lets %.3g A through, above the bench's highest current of %g A: it limits nothing; take at least %.3g ohm",
				high_V, p.Resistor_Ohm, i, d.Bench.Current_A, high_V/d.Bench.Current_A)
		}
		if heat_W := high_V * high_V / p.Resistor_Ohm; heat_W > mostHeat_W {
			bad(key("pre_charge", "resistor"), "into a short at %g V the resistor of %g ohm takes up %.0f W, above %d W: take at least %.3g ohm",
				high_V, p.Resistor_Ohm, heat_W, mostHeat_W, high_V*high_V/mostHeat_W)
		}
	}
	if b := d.Bench; b.SupplyLimit_A > mostLimit*b.Fuse_A {
		bad(key("bench", "supply_limit"), "the supply limits at %g A, above twice the fuse of %g A: set its limit below the fuse, and state that", b.SupplyLimit_A, b.Fuse_A)
	}
}

// through is the current through a resistor, for people.
func through(volt, ohm float64) string {
	if ohm <= 0 {
		return "all that the fuse passes"
	}
	return plain(volt/ohm, 2) + " A"
}
