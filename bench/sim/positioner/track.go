package positioner

import "math"

// track is the potentiometer, as it was read last.
type track struct {
	share float64 // of its length, noise included
	open  bool    // no contact
	ohm   float64
}

// read looks at the track; once in a millisecond, as its noise is drawn so.
func (u *Unit) read() {
	p := &u.params
	x := u.drive.output_rad / p.Travel_rad
	noise := p.Noise
	u.track.open = u.defect.wiperOpen
	if p.WornNoise > 0 || p.WornOpen > 0 {
		if math.Abs(x-p.WornAt) < p.WornWidth/2 {
			noise = math.Hypot(noise, p.WornNoise)
			u.track.open = u.track.open || u.rng.Float64() < p.WornOpen
		}
	}
	bow := p.Bow * 4 * x * (1 - x)
	s := p.Track0 + (p.Track1-p.Track0)*(x+bow+noise*u.rng.NormFloat64())
	u.track.share = min(max(s, 0), 1)
	u.track.ohm = p.Track_Ohm*u.track.share*(1-u.track.share) + p.Series_Ohm
}

// place is what the board takes for the place: by the middle unit's track, as
// it was made to, and by nothing at all without contact.
func (u *Unit) place() float64 {
	if u.track.open {
		return -u.params.track0() / (u.params.track1() - u.params.track0())
	}
	return (u.track.share - u.params.track0()) / (u.params.track1() - u.params.track0())
}

// track0 and track1 are where the board takes the ends to be.
func (*Params) track0() float64 { return 0.10 }
func (*Params) track1() float64 { return 0.90 }

// reference_V is the track's supply, from the board's regulator.
func (u *Unit) reference_V() float64 {
	if u.defect.dead {
		return 0
	}
	return u.params.Reference_V * min(max((u.net.plug_V-1)/(u.params.Reference_V+1), 0), 1)
}

// Position implements sim.Positioned.
func (u *Unit) Position() (volt, ohm float64) {
	if u.params.Return_Hz > 0 || u.track.open || u.defect.outputOpen || u.defect.unplugged {
		return 0, 0
	}
	return u.reference_V() * u.track.share, u.track.ohm
}

// Return implements sim.Returner.
func (u *Unit) Return() (frequency_Hz, high float64) {
	p := &u.params
	if p.Return_Hz == 0 || u.track.open || u.defect.outputOpen || u.defect.unplugged || u.phase == unpowered {
		return 0, 0
	}
	return p.Return_Hz, min(max(p.Return0+(p.Return1-p.Return0)*u.place(), 0.01), 0.99)
}
