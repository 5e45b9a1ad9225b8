package kinds

import (
	"dutybench/bench/rig"
	"dutybench/bench/sim"
	"dutybench/profiles"
)

// Wiring is the simulated rig for a profile's unit, and makes the options of the
// simulated bench under it the same. A unit that the bench switches, one that
// tells its position, and one whose kind asks for it get the fast one.
func Wiring(p *profiles.Profile, o *sim.Options) rig.Description {
	if o.Wire == (sim.Wire{}) {
		o.Wire = sim.DefaultWire()
	}
	d := rig.Default()
	if fast(p) {
		d = rig.DefaultFast(p.Limits.Peak_A)
		o.Current, o.Shunt_Ohm = sim.CurrentMCP3208, d.Current.Shunt_Ohm
	}
	d.LinePin.LineDrive = rig.LineDrive{OpenDrain: o.Wire.OpenDrain, Inverted: o.Wire.Inverted}
	return d
}

func fast(p *profiles.Profile) bool {
	if p.Command.Type == profiles.Switched || p.Position.By != "" {
		return true
	}
	e, ok := find(p.Kind)
	if !ok {
		return false
	}
	f, ok := e.kind.(interface{ Fast() bool })
	return ok && f.Fast()
}
