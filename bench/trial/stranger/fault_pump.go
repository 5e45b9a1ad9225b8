package stranger

import (
	"math"
	"math/rand/v2"
)

// pumpFaults are those of the rotor and of the water.
func pumpFaults() []Fault {
	return []Fault{
		{Name: "rotor-seized", Cause: Mechanical, Gross: true,
			Severity: "stuck for good from 0.5 on; below, free after 10·severity attempts",
			ail: func(u *Unit, s float64, rng *rand.Rand) ailment {
				a := none()
				a.stuckTries = forever
				if s < 0.5 {
					a.stuckTries = max(1, int(math.Round(10*s)))
				}
				return a
			}},
		{Name: "drag", Cause: Mechanical, Gross: true, Graded: true,
			Severity: "Coulomb and viscous torque added, 40 to 80 % of it Coulomb: 5 SD at the worst duty for 0.5, 60 % of rated torque at 1",
			ail: func(u *Unit, s float64, rng *rand.Rand) ailment {
				return u.drag(s, 0.4+0.4*rng.Float64())
			}},
		{Name: "rub", Cause: Mechanical,
			Severity: "once a turn: 5 SD of a good unit's imbalance at 0.5, 15 % of current at 1, with the drag of 0.4 times the severity",
			ail: func(u *Unit, s float64, rng *rand.Rand) ailment {
				a := u.drag(0.4*s, 0.8)
				a.rub = amount(s, 5*0.35*u.Model.Imbalance, 0.15)
				return a
			}},
		{Name: "sticky-start", Cause: Mechanical,
			Severity: "1 + 3·severity failed attempts, then a normal run; never so many that the board gives up",
			ail: func(u *Unit, s float64, rng *rand.Rand) ailment {
				a := none()
				a.stuckTries = 1 + int(math.Round(3*s))
				if k := u.Model.LatchAfter; k > 0 {
					a.stuckTries = min(a.stuckTries, k-1)
				}
				return a
			}},
		{Name: "dry-loop", Cause: Hydraulic, Gross: true, Graded: true,
			Severity: "hydraulic torque lost and restless: 5 SD at the worst duty for 0.5, 92 % lost at 1",
			ail: func(u *Unit, s float64, rng *rand.Rand) ailment {
				a := u.lost(s, 0.92)
				x := a.hydLoss
				a.bubbles = 0.5*x*(1-x) + 0.03
				return a
			}},
		{Name: "impeller-lost", Cause: Hydraulic, Accepted: []string{Hydraulic, Mechanical}, Gross: true, Graded: true,
			Severity: "hydraulic torque lost, smoothly: 5 SD at the worst duty for 0.5, 97 % lost at 1",
			ail: func(u *Unit, s float64, rng *rand.Rand) ailment {
				return u.lost(s, 0.97)
			}},
		{Name: "blocked-outlet", Cause: Hydraulic, Gross: true, Graded: true,
			Severity: "hydraulic torque lost, smoothly: 5 SD at the worst duty for 0.5, 50 % lost at 1 (shut-off power of a centrifugal pump)",
			ail: func(u *Unit, s float64, rng *rand.Rand) ailment {
				return u.lost(s, 0.5)
			}},
	}
}

func (u *Unit) drag(s, coulomb float64) ailment {
	with := func(x float64) ailment {
		a := none()
		a.coulomb, a.viscous = coulomb*x, (1-coulomb)*x
		return a
	}
	return with(amount(s, u.graded(5, 0.6, with), 0.6))
}

func (u *Unit) lost(s, full float64) ailment {
	with := func(x float64) ailment {
		a := none()
		a.hydLoss = x
		return a
	}
	return with(amount(s, u.graded(5, full, with), full))
}

// benchFaults are those on the bench's side of the terminals.
func benchFaults() []Fault {
	return []Fault{
		{Name: "line-resistance", Cause: Wiring, AcceptedBlind: []string{Wiring, Board, Bench, Mechanical}, Gross: true, Graded: true,
			Severity: "ohms in the supply lead: 5 SD of the lead's resistance at 0.5 (without supply_V, 5 SD of current at the worst duty), a drop of 20 % of supply at rated current at 1",
			ail: func(u *Unit, s float64, rng *rand.Rand) ailment {
				m := &u.Model
				with := func(x float64) ailment {
					a := none()
					a.lineOhm = x
					return a
				}
				full := 0.2 * m.NominalV * m.NominalV / m.RatedW
				half := 5 * m.SourceSD * m.SourceOhm
				if !m.SupplyVColumn {
					half = u.graded(5, full, with)
				}
				return with(amount(s, half, full))
			}},
		{Name: "supply-limit", Cause: Bench, AcceptedBlind: []string{Board, Bench, Wiring}, Gross: true, Graded: true,
			Severity: "the supply's current limit lies 5 SD below the unit's full current at 0.5, 60 % below at 1",
			ail: func(u *Unit, s float64, rng *rand.Rand) ailment {
				a := none()
				sd, full := u.fullSD()
				a.sourceA = full * (1 - amount(s, 5*sd, 0.6))
				return a
			}},
		{Name: "unplugged", Cause: Wiring, Accepted: []string{Wiring, Board}, Gross: true,
			Severity: "no current, at any severity",
			ail: func(u *Unit, s float64, rng *rand.Rand) ailment {
				a := none()
				a.dead, a.noPeak = true, true
				return a
			}},
		{Name: "reversed", Cause: Wiring, Accepted: []string{Wiring, Board}, Gross: true,
			Severity: "supply reversed, at any severity: nothing where a series diode guards the unit, else a diode's short; supply_V, which cannot go below zero, reads zero",
			ail: func(u *Unit, s float64, rng *rand.Rand) ailment {
				a := none()
				a.dead, a.noPeak, a.zeroV = true, true, true
				if !u.Model.SeriesDiode {
					a.shortOhm = 0.1
				}
				return a
			}},
	}
}
