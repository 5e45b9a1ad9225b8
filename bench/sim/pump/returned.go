package pump

// What these pumps report, invented after the manner of VDMA sheet 24224: a PWM
// of 75 Hz whose duty says what the unit does.
const (
	return_Hz = 75

	tellsStandby    = 0.95
	tellsBlocked    = 0.90
	tellsSupply     = 0.75
	tellsLeast      = 0.05 // running, at standstill
	tellsMost       = 0.70 // and at full speed
	supplyLow_share = 0.75 // of nominal; chosen
)

// Return implements sim.Returner. A board without power, or a dead one, leaves
// its open collector off: the wire is high by the bench's pull-up.
func (p *Pump) Return() (frequency_Hz, high float64) {
	if p.defect.unplugged || p.phase == unpowered || p.phase == boot {
		return 0, 1
	}
	switch {
	case p.phase == rest || p.phase == latched:
		return return_Hz, tellsBlocked
	case !p.run:
		return return_Hz, tellsStandby
	case p.net.plug_V < supplyLow_share*p.params.Nominal_V:
		return return_Hz, tellsSupply
	}
	return return_Hz, min(tellsLeast+(tellsMost-tellsLeast)*p.share, tellsMost)
}
