package sim

import (
	"math"
	"time"
)

// Supply is the bench supply with its leads up to the unit's plug.
type Supply struct {
	Open_V  float64
	Ohm     float64 // supply, switch, shunt, leads and contacts together
	Limit_A float64 // 0: none
	// FoldBack is the share of the limit that is taken away when the output
	// is shorted, 0 to 1; in between it follows the output voltage.
	FoldBack  float64
	Ripple_V  float64 // amplitude of a sine on the open voltage; 0: none
	Ripple_Hz float64
	Leak_A    float64 // through the open switch
}

// source is the supply as the unit sees it at time t with plug_V across it.
func (s *Supply) source(on bool, plug_V float64, t time.Duration) Source {
	src := Source{On: on, Open_V: s.Open_V, Ohm: s.Ohm, Limit_A: s.Limit_A, Leak_A: s.Leak_A}
	if s.Ripple_V != 0 {
		src.Open_V += s.Ripple_V * math.Sin(2*math.Pi*s.Ripple_Hz*float64(t)*1e-9)
	}
	if s.FoldBack > 0 && s.Limit_A > 0 && s.Open_V > 0 {
		short := 1 - min(max(plug_V/s.Open_V, 0), 1)
		src.Limit_A *= 1 - s.FoldBack*short
	}
	return src
}

// Unplugged is an empty socket: no current flows, and the supply stands at
// the contacts.
type Unplugged struct{}

// Step draws no current.
func (Unplugged) Step(_ time.Duration, src Source, _ Line) (current_A, plug_V float64) {
	if src.On {
		return 0, src.Open_V
	}
	return 0, 0
}

// PullUp is none.
func (Unplugged) PullUp() (open_V, ohm float64) { return 0, 0 }

// Temperature is that of the room.
func (Unplugged) Temperature() float64 { return 20 }

// Resistor is the plainest unit: a resistor across the supply, and a pull-up
// from it to the signal input. Temp_C is what the rig's sensor feels.
type Resistor struct {
	Ohm        float64
	PullUp_Ohm float64 // 0: none
	Temp_C     float64

	plug_V float64
}

// Step solves the divider of source and resistor, under the current limit.
func (r *Resistor) Step(_ time.Duration, src Source, _ Line) (current_A, plug_V float64) {
	i := src.Leak_A
	if src.On {
		i = src.Open_V / (src.Ohm + r.Ohm)
		if src.Limit_A > 0 {
			i = min(i, src.Limit_A)
		}
	}
	r.plug_V = i * r.Ohm
	return i, r.plug_V
}

// PullUp follows the supply at the plug.
func (r *Resistor) PullUp() (open_V, ohm float64) { return r.plug_V, r.PullUp_Ohm }

// Temperature is Temp_C.
func (r *Resistor) Temperature() float64 { return r.Temp_C }
