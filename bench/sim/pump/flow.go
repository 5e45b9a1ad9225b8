package pump

// What a good unit moves at full speed follows from the power that its water
// takes: half of it is lost in the wheel, and the loop has 40 kPa there. Both
// are chosen.
const (
	wheelEfficiency = 0.5
	loop_Pa         = 40e3
)

// Flow implements sim.Flowing: the flow in l/min. It goes with speed (affinity
// laws), and with the share of the water that the unit still carries.
func (p *Pump) Flow() float64 {
	if p.perSpeed == 0 {
		good, err := Nominal(p.params.Size)
		if err != nil {
			good = p.params
		}
		full := good.Steady(1, good.Nominal_V, good.Water_C, good.Water_C).Speed_rad_s
		watts := good.Hydraulic_Nms2 * full * full * full
		const l_per_min = 60e3 // in a m³/s
		p.perSpeed = wheelEfficiency * watts / loop_Pa * l_per_min / full
	}
	return p.perSpeed * p.speed * p.defect.carried
}
