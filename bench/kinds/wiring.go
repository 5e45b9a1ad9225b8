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
		if r := rate_Hz(p); r > 0 && r < d.Current.Rate_Hz {
			d.Current.Rate_Hz, d.Current.AntiAlias_Hz = r, 0.4*r // as in the fast one: below half the rate
			o.Front = sim.DefaultFront()
			o.Front.AntiAlias_Hz = d.Current.AntiAlias_Hz
		}
	}
	if p.Position.By == profiles.ByPWM {
		d.Position = &rig.PositionInput{Edges: &rig.Input{Pin: "RETURN", Pull: "none"}}
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

// rate_Hz is how fast the current of a kind's units is to be sampled on the
// simulated rig, where less than the rig can is enough; 0: as fast as it can. The
// method is Rate_Hz() float64.
func rate_Hz(p *profiles.Profile) float64 {
	if e, ok := find(p.Kind); ok {
		if r, ok := e.kind.(interface{ Rate_Hz() float64 }); ok {
			return r.Rate_Hz()
		}
	}
	return 0
}
