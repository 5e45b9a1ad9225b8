package pump

import (
	"fmt"
	"math/rand/v2"
)

// Regulation is what the board keeps constant at a given duty.
type Regulation int

// The regulations.
const (
	Speed   Regulation = iota // the duty sets the speed
	Voltage                   // the duty sets the share of the supply on the motor
)

// Drive is how the board feeds the phases.
type Drive int

// The drives.
const (
	SixStep Drive = iota
	Sine
)

// Params is one unit: SI units, resistances at 20 °C, friction at 20 °C.
type Params struct {
	Size      string
	Nominal_V float64

	// Line.
	Law              Law
	ActiveLow        bool    // the low share of a period is the line duty
	MinHz, MaxHz     float64 // the accepted PWM frequency
	Threshold_V      float64 // a high level below it is not seen
	PullUpShare      float64 // open voltage of the pull-up as a share of the supply
	PullUpOhm        float64 // 0: none
	Missing          Missing
	SleepAfter_s     float64 // asleep after so long without a command; 0: never
	Boot_s, Wake_s   float64 // from power to idle; from a command to the start
	Align_s, Ramp_s  float64
	Verify_s, Rest_s float64 // after the ramp until the attempt is judged; between attempts
	Slew_s           float64 // from least to full
	Attempts         int     // then the board latches off
	Stall_s          float64 // so long below the stall speed ends a run

	// Board.
	Capacitor_F, ESR_Ohm float64
	Asleep_A, Quiet_A    float64
	Efficiency           float64 // of the bridge, 0 to 1
	On_V, Off_V, Over_V  float64 // works from On_V until below Off_V; the motor is off above Over_V
	Start_A              float64 // phase current of alignment and ramp
	Limit_A              float64 // phase current limit in closed loop
	Limit_W              float64 // power limit into the motor
	Regulation           Regulation
	Drive                Drive
	Min_rad_s, Max_rad_s float64 // for Speed
	MinShare, MaxShare   float64 // of the supply on the motor; MaxShare also bounds Speed
	Ripple               float64 // amplitude of the commutation ripple over the mean

	// Motor and shaft.
	PolePairs      int
	K_Vs           float64 // back-EMF and torque constant, V·s = N·m/A
	Winding_Ohm    float64
	Inertia_kgm2   float64
	Coulomb_Nm     float64
	Viscous_Nms    float64
	Hydraulic_Nms2 float64
	Imbalance      float64 // share of the hydraulic torque that turns with the shaft
	Unrest         float64 // standard deviation of the flow's random share in it
	Rub_Nm         float64 // peak of a rub once a turn; 0 in a good unit
	HandOver_rad_s float64 // end of the open-loop ramp

	// Heat.
	Winding_KperW float64 // winding to water
	Winding_JperK float64
	Water_kg      float64
	Water_C       float64 // water and unit at the beginning
}

// Sizes lists the sizes: three auxiliary coolant pumps of about 20, 60 and
// 130 W for 12 V systems, run at 13.5 V, and two circulators of about 24 W at
// 12 V (line law Heating) and 45 W at 24 V (line law Solar). All are invented.
func Sizes() []string {
	return []string{"small", "medium", "large", "heating", "solar"}
}

// Nominal returns the parameters of the size's middle unit.
func Nominal(size string) (Params, error) {
	p := common(size)
	switch size {
	case "small":
		p.MinHz, p.MaxHz = 90, 110
		p.Missing = Missing{Open: Stops, Low: Stops, High: Stops, Frequency: Stops, After_s: 0.6}
		p.Capacitor_F, p.ESR_Ohm, p.Asleep_A, p.Quiet_A, p.Efficiency = 470e-6, 0.060, 0.004, 0.040, 0.90
		p.Start_A, p.Limit_A, p.Limit_W = 2.2, 3.5, 26
		p.Regulation, p.MinShare, p.MaxShare = Voltage, 0.25, 0.85
		p.PolePairs, p.K_Vs, p.Winding_Ohm, p.Inertia_kgm2 = 2, 0.0211, 0.55, 5e-6
		p.Coulomb_Nm, p.Viscous_Nms, p.Hydraulic_Nms2 = 2.5e-3, 5e-6, 1.1e-7
		p.HandOver_rad_s, p.Winding_KperW, p.Winding_JperK = 110, 8, 4
	case "medium":
		p.ActiveLow, p.MinHz, p.MaxHz = true, 180, 220
		p.Missing = Missing{Open: RunsFull, Low: RunsFull, High: RunsFull, Frequency: RunsFull, After_s: 0.6}
		p.Capacitor_F, p.ESR_Ohm, p.Asleep_A, p.Quiet_A, p.Efficiency = 1000e-6, 0.035, 0.006, 0.060, 0.93
		p.Start_A, p.Limit_A, p.Limit_W = 8, 12, 75
		p.Regulation, p.Min_rad_s, p.Max_rad_s, p.MaxShare = Speed, 120, 480, 0.98
		p.PolePairs, p.K_Vs, p.Winding_Ohm, p.Inertia_kgm2 = 2, 0.0195, 0.14, 1.2e-5
		p.Coulomb_Nm, p.Viscous_Nms, p.Hydraulic_Nms2 = 6e-3, 1.2e-5, 3.93e-7
		p.HandOver_rad_s, p.Winding_KperW, p.Winding_JperK = 90, 4, 8
	case "large":
		p.MinHz, p.MaxHz = 900, 1100
		p.PullUpShare = 0.75
		p.Missing = Missing{Open: RunsFull, Low: Stops, High: RunsFull, Frequency: RunsFull, After_s: 0.6}
		p.Capacitor_F, p.ESR_Ohm, p.Asleep_A, p.Quiet_A, p.Efficiency = 1500e-6, 0.025, 0.008, 0.080, 0.94
		p.Start_A, p.Limit_A, p.Limit_W = 16, 25, 165
		p.Regulation, p.Drive, p.Min_rad_s, p.Max_rad_s, p.MaxShare = Speed, Sine, 110, 440, 0.98
		p.PolePairs, p.K_Vs, p.Winding_Ohm, p.Inertia_kgm2 = 3, 0.02251, 0.045, 3.5e-5
		p.Coulomb_Nm, p.Viscous_Nms, p.Hydraulic_Nms2 = 1.2e-2, 2.4e-5, 1.232e-6
		p.HandOver_rad_s, p.Winding_KperW, p.Winding_JperK = 80, 2.5, 14
	case "heating":
		p.circulator(Heating{}, Missing{Open: RunsFull, Low: RunsFull, High: Stops, Frequency: RunsFull, After_s: 0.6})
		p.Nominal_V = 12
		p.Capacitor_F, p.ESR_Ohm, p.Asleep_A, p.Quiet_A, p.Efficiency = 680e-6, 0.050, 0.020, 0.070, 0.90
		p.Start_A, p.Limit_A, p.Limit_W = 3.2, 5, 30
		p.Regulation, p.Drive, p.Min_rad_s, p.Max_rad_s, p.MaxShare = Speed, Sine, 110, 400, 0.98
		p.PolePairs, p.K_Vs, p.Winding_Ohm, p.Inertia_kgm2 = 4, 0.024, 0.40, 1e-5
		p.Coulomb_Nm, p.Viscous_Nms, p.Hydraulic_Nms2 = 4e-3, 1.2e-5, 2.45e-7
		p.HandOver_rad_s, p.Winding_KperW, p.Winding_JperK = 85, 6, 6
	case "solar":
		p.circulator(Solar{}, Missing{Open: Stops, Low: Stops, High: RunsFull, Frequency: Stops, After_s: 0.6})
		p.Nominal_V, p.On_V, p.Off_V, p.Over_V = 24, 17, 15, 33
		p.Capacitor_F, p.ESR_Ohm, p.Asleep_A, p.Quiet_A, p.Efficiency = 470e-6, 0.060, 0.015, 0.050, 0.92
		p.Start_A, p.Limit_A, p.Limit_W = 2.6, 4.5, 56
		p.Regulation, p.MinShare, p.MaxShare = Voltage, 0.30, 0.95
		p.PolePairs, p.K_Vs, p.Winding_Ohm, p.Inertia_kgm2 = 2, 0.0461, 0.90, 1e-5
		p.Coulomb_Nm, p.Viscous_Nms, p.Hydraulic_Nms2 = 5e-3, 1.2e-5, 3.355e-7
		p.HandOver_rad_s, p.Winding_KperW, p.Winding_JperK = 100, 5, 7
	default:
		return Params{}, fmt.Errorf("pump: there is no size %q; take one of %v", size, Sizes())
	}
	p.Ripple = 0.15
	if p.Drive == Sine {
		p.Ripple = 0.004
	}
	return p, nil
}

// common holds what the sizes share. The line law keeps 0 to 3 % and 97 to
// 100 % for fault detection, as vehicle fans and pumps often do.
func common(size string) Params {
	return Params{
		Size: size, Nominal_V: 13.5, On_V: 8.5, Off_V: 7, Over_V: 17,
		Law:         Direct{Low: 0.03, Stop: 0.08, Start: 0.10, From: 0.10, To: 0.95, High: 0.97},
		Threshold_V: 2.5, PullUpShare: 1, PullUpOhm: 10e3,
		SleepAfter_s: 2, Boot_s: 0.06, Wake_s: 0.15, Align_s: 0.25, Ramp_s: 0.45,
		Verify_s: 0.2, Rest_s: 1, Slew_s: 1.2, Attempts: 5, Stall_s: 0.1,
		Imbalance: 0.02, Unrest: 0.004, Water_kg: 5, Water_C: 20,
	}
}

// circulator sets the line of a wet-runner circulating pump: an optocoupler
// without pull-up, 100 to 4000 Hz, high from 4 V, low below 1 V (same sheet as
// Heating); a static level is a duty of 0 or 100 %.
func (p *Params) circulator(law Law, missing Missing) {
	p.Law, p.Missing = law, missing
	p.MinHz, p.MaxHz, p.PullUpShare, p.PullUpOhm = 100, 4000, 0, 0
	p.SleepAfter_s, p.Attempts, p.Rest_s = 0, 4, 1.5
}

// Relative standard deviations from unit to unit. All chosen: what ordinary
// tolerances of magnets, wire, bearings and parts would give.
const (
	spreadK          = 0.015
	spreadWinding    = 0.03
	spreadCoulomb    = 0.15
	spreadViscous    = 0.12
	spreadHydraulic  = 0.025
	spreadQuiet      = 0.08
	spreadEfficiency = 0.010 // held below 1 by the cut at three deviations
	spreadCapacitor  = 0.10
	spreadESR        = 0.20
	spreadClock      = 0.03 // one oscillator for all delays
	spreadSpeed      = 0.004
	spreadLimit      = 0.04
	spreadInertia    = 0.05
	spreadRipple     = 0.15
	spreadImbalance  = 0.30
	spreadCut        = 3.0 // no unit lies beyond: it would not have left the factory
)

// Draw draws one good unit of the size; the same rng state gives the same
// unit.
func Draw(size string, rng *rand.Rand) (Params, error) {
	p, err := Nominal(size)
	if err != nil {
		return Params{}, err
	}
	vary := func(sd float64, values ...*float64) {
		z := rng.NormFloat64()
		for z < -spreadCut || z > spreadCut {
			z = rng.NormFloat64()
		}
		for _, v := range values {
			*v *= 1 + sd*z
		}
	}
	vary(spreadK, &p.K_Vs)
	vary(spreadWinding, &p.Winding_Ohm)
	vary(spreadCoulomb, &p.Coulomb_Nm)
	vary(spreadViscous, &p.Viscous_Nms)
	vary(spreadHydraulic, &p.Hydraulic_Nms2)
	vary(spreadQuiet, &p.Quiet_A, &p.Asleep_A)
	vary(spreadEfficiency, &p.Efficiency)
	vary(spreadCapacitor, &p.Capacitor_F)
	vary(spreadESR, &p.ESR_Ohm)
	vary(spreadClock, &p.Boot_s, &p.Wake_s, &p.Align_s, &p.Ramp_s, &p.Verify_s, &p.Rest_s, &p.Slew_s, &p.Missing.After_s, &p.SleepAfter_s)
	vary(spreadSpeed, &p.Min_rad_s, &p.Max_rad_s)
	vary(spreadLimit, &p.Start_A, &p.Limit_A, &p.Limit_W)
	vary(spreadInertia, &p.Inertia_kgm2)
	vary(spreadRipple, &p.Ripple)
	vary(spreadImbalance, &p.Imbalance)
	return p, nil
}
