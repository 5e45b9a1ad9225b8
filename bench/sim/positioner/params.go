package positioner

import (
	"fmt"
	"math/rand/v2"
)

// Behaviour without a valid command.
type Behaviour int

// The behaviours.
const (
	Holds Behaviour = iota // stays where it is
	GoesLow
	GoesHigh
)

// Missing is what the board does without a valid command, after a while.
type Missing struct {
	Open, Low, High Behaviour
	After_s         float64
}

// Params is one unit: SI units, angles of the output, places as shares of the
// travel, 0 to 1.
type Params struct {
	Size      string
	Nominal_V float64

	// Line: the share of a period that asks for place 0 and for place 1.
	ActiveLow    bool
	MinHz, MaxHz float64
	Threshold_V  float64 // a high level below it is not seen
	PullUpShare  float64 // open voltage of the pull-up as a share of the supply
	PullUpOhm    float64 // 0: none
	At0, At1     float64
	Beyond       float64 // how far beyond the ends it may be asked to go
	Resolution   float64 // step in which the line is read, share of a period
	Missing      Missing

	// Board.
	Capacitor_F, ESR_Ohm float64
	Quiet_A              float64
	On_V, Off_V          float64
	Boot_s, Filter_s     float64
	DeadBand, Inner      float64 // begins to move beyond, stops within
	Gain, Integral       float64 // drive share an error of 1, and that a second
	Damping              float64 // drive share a travel a second; with a spring
	Least, Most          float64 // drive share
	Limit_A              float64
	Stall_s, Rest_s      float64
	Retries              int

	// Motor.
	K_Vs, Winding_Ohm, Inertia_kgm2 float64
	MotorCoulomb_Nm, MotorViscous   float64 // N·m, N·m·s

	// Gear, flap and stops.
	Ratio, Efficiency float64
	Play_rad          float64 // whole, at the output
	Travel_rad        float64
	Coulomb_Nm        float64 // at the output
	SpringAt0_Nm      float64 // towards place 0; 0: no spring
	Spring_Nm         float64 // more of it over the travel
	StopLow, StopHigh float64 // places
	Stop_Nm, StopDamp float64 // per rad, and per rad/s
	SpotAt, SpotWidth float64 // a place with more friction
	Spot_Nm           float64
	Weak              []float64 // places at which teeth are missing
	Tooth             float64   // how far the motor then turns for nothing, share of the travel
	Skip_Nm           float64   // beyond it a tooth jumps; 0: never

	// Track.
	Track_Ohm, Series_Ohm float64
	Reference_V           float64
	Track0, Track1        float64 // share of the track at place 0 and 1
	Bow                   float64 // deviation from straight in the middle, share of the travel
	Noise                 float64 // standard deviation of a reading, share of the travel
	WornAt, WornWidth     float64
	WornNoise             float64
	WornOpen              float64 // share of time in which the contact is open there
	Return_Hz             float64 // of a PWM in the place of the voltage; 0: voltage
	Return0, Return1      float64 // its high share at place 0 and 1

	Body_C float64
}

// Sizes lists the sizes: a flap without a spring that answers by a voltage, the
// same answering by PWM, and a quick one with a return spring. All are invented.
func Sizes() []string { return []string{"flap", "flap-return", "spring"} }

// Nominal returns the parameters of the size's middle unit.
func Nominal(size string) (Params, error) {
	p := Params{
		Size: size, Nominal_V: 13.5,
		MinHz: 180, MaxHz: 220, Threshold_V: 2.5, PullUpShare: 1, PullUpOhm: 10e3,
		At0: 0.10, At1: 0.90, Beyond: 0.04, Resolution: 1.0 / 1000,
		Missing:     Missing{Open: Holds, Low: GoesLow, High: GoesLow, After_s: 0.5},
		Capacitor_F: 100e-6, ESR_Ohm: 0.1, Quiet_A: 0.018, On_V: 8, Off_V: 6.5, Boot_s: 0.08, Filter_s: 0.015,
		DeadBand: 0.006, Inner: 0.002, Gain: 8, Least: 0.2, Most: 0.97, Limit_A: 0.32, Stall_s: 0.25, Rest_s: 0.9, Retries: 1,
		K_Vs: 0.0085, Winding_Ohm: 11, Inertia_kgm2: 1.5e-7, MotorCoulomb_Nm: 3e-4, MotorViscous: 2e-8,
		Ratio: 1200, Efficiency: 0.5, Play_rad: 0.012, Travel_rad: 1.6, Coulomb_Nm: 0.25,
		StopLow: 0, StopHigh: 1, Stop_Nm: 150, StopDamp: 3,
		SpotWidth: 0.04, Tooth: 0.03,
		Track_Ohm: 5e3, Series_Ohm: 470, Reference_V: 5, Track0: 0.10, Track1: 0.90, Bow: 0.002, Noise: 0.0006, WornWidth: 0.04,
		Return0: 0.10, Return1: 0.90, Body_C: 22,
	}
	switch size {
	case "flap":
	case "flap-return":
		p.Return_Hz = 200
	case "spring":
		p.Missing = Missing{Open: GoesLow, Low: GoesLow, High: GoesLow, After_s: 0.3}
		p.Capacitor_F, p.Quiet_A, p.Filter_s = 220e-6, 0.030, 0.01
		p.DeadBand, p.Inner = 0, 0
		p.Gain, p.Integral, p.Damping, p.Limit_A, p.Stall_s = 7, 25, 0.25, 3, 0.4
		p.K_Vs, p.Winding_Ohm, p.Inertia_kgm2, p.MotorCoulomb_Nm, p.MotorViscous = 0.016, 2.4, 9e-7, 1.2e-3, 1e-6
		p.Ratio, p.Efficiency, p.Play_rad, p.Travel_rad, p.Coulomb_Nm = 30, 0.8, 0.008, 1.5, 0.05
		p.SpringAt0_Nm, p.Spring_Nm = 0.22, 0.14
		p.Stop_Nm, p.StopDamp = 60, 0.4
		p.Beyond, p.StopLow, p.StopHigh = 0, -0.02, 1.02 // it is never sent against its stops
	default:
		return Params{}, fmt.Errorf("positioner: there is no size %q; take one of %v", size, Sizes())
	}
	return p, nil
}

// Relative standard deviations from unit to unit, but where said. All chosen:
// what ordinary tolerances of magnets, wire, moulded gears and printed tracks
// would give.
const (
	spreadK        = 0.02
	spreadWinding  = 0.04
	spreadFriction = 0.10
	spreadQuiet    = 0.06
	spreadLimit    = 0.04
	spreadClock    = 0.02
	spreadPlay     = 0.15
	spreadStop     = 0.003 // of the travel
	spreadTrack    = 0.002 // of the travel, each end
	spreadBow      = 0.001 // of the travel
	spreadNoise    = 0.10
	spreadBand     = 0.05
	spreadParts    = 0.10
	spreadCut      = 3.0 // no unit lies beyond: it would not have left the factory
)

// Draw draws one good unit of the size; the same rng state gives the same unit.
func Draw(size string, rng *rand.Rand) (Params, error) {
	p, err := Nominal(size)
	if err != nil {
		return Params{}, err
	}
	draw := func() float64 {
		for {
			if z := rng.NormFloat64(); z >= -spreadCut && z <= spreadCut {
				return z
			}
		}
	}
	vary := func(sd float64, values ...*float64) {
		z := draw()
		for _, v := range values {
			*v *= 1 + sd*z
		}
	}
	vary(spreadK, &p.K_Vs)
	vary(spreadWinding, &p.Winding_Ohm)
	vary(spreadFriction, &p.MotorCoulomb_Nm)
	vary(spreadFriction, &p.Coulomb_Nm)
	vary(spreadQuiet, &p.Quiet_A)
	vary(spreadLimit, &p.Limit_A)
	vary(spreadClock, &p.Boot_s, &p.Filter_s, &p.Stall_s, &p.Rest_s, &p.Missing.After_s)
	vary(spreadPlay, &p.Play_rad)
	vary(spreadBand, &p.DeadBand, &p.Inner)
	vary(spreadNoise, &p.Noise)
	vary(spreadParts, &p.Capacitor_F)
	vary(spreadParts/3, &p.SpringAt0_Nm, &p.Spring_Nm)
	p.StopLow += spreadStop * draw()
	p.StopHigh += spreadStop * draw()
	span := p.Track1 - p.Track0
	p.Track0 += spreadTrack * span * draw()
	p.Track1 += spreadTrack * span * draw()
	p.Bow += spreadBow * draw()
	return p, nil
}
