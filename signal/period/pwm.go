package period

import (
	"math"

	"dutybench/signal/trace"
)

// Recirculation says whether the current of the free-wheel path is in the readings.
type Recirculation int

const (
	Unknown Recirculation = iota
	Seen                  // the readings are the unit's own current at all times
	Unseen                // they are nought while the switch is open
)

// PWM is how the bench switches a unit during a window.
type PWM struct {
	// Frequency_Hz is that of the PWM; 0: on and off only.
	Frequency_Hz float64
	// Tolerance is how far the frequency may lie off, relative, each way.
	Tolerance float64
	// Duty_pct is the share of a period for which the switch is closed; NaN or
	// outside 0 to 100: not known.
	Duty_pct float64
	// DutyU_pct is its standard uncertainty; 0: not known, none is added.
	DutyU_pct     float64
	Recirculation Recirculation
	// Rate_Hz is that of the converter; rows that lie wider are means already.
	// 0: not known.
	Rate_Hz float64
	// Ripple_A is the most that the current can swing within a period, peak to
	// peak, as physics bound it: V·d·(1-d)/(f·L) of a coil; 0: not known.
	Ripple_A float64
}

// Of is what a trace says of how its unit was switched. Tolerance and duty are
// the caller's: the duty is one of each window.
func Of(t *trace.Trace, tolerance float64) PWM {
	p := PWM{Tolerance: tolerance, Duty_pct: math.NaN()}
	if f, ok := t.Number(trace.KeyPWM); ok && f > 0 {
		p.Frequency_Hz = f
	}
	p.Rate_Hz = t.Rate()
	if u, ok := t.Number(trace.KeyDutyU); ok && u > 0 {
		p.DutyU_pct = u
	}
	switch seen, _ := t.Get(trace.KeyRecirculation); seen {
	case trace.RecirculationSeen:
		p.Recirculation = Seen
	case trace.RecirculationUnseen:
		p.Recirculation = Unseen
	}
	return p
}

// At is p with the duty of a window.
func (p PWM) At(duty_pct float64) PWM {
	p.Duty_pct = duty_pct
	return p
}

// RippleOf bounds the swing of a coil's current within a period, peak to peak
// in A: the supply's voltage and the free-wheel path's across the inductance,
// supply_V + back_V times d·(1-d)/(f·L). That is the swing where R·T is small
// against L, and more than it otherwise.
func RippleOf(supply_V, back_V, duty_pct, frequency_Hz, henry float64) float64 {
	d := duty_pct / 100
	return (supply_V + back_V) * d * (1 - d) / (frequency_Hz * henry)
}

// switched says that the PWM ran in the window.
func (p PWM) switched() bool {
	return p.Frequency_Hz > 0 && p.Duty_pct != 0 && p.Duty_pct != 100
}

// share is the duty as a share; NaN not known.
func (p PWM) share() float64 {
	if !(p.Duty_pct >= 0 && p.Duty_pct <= 100) {
		return math.NaN()
	}
	return p.Duty_pct / 100
}
