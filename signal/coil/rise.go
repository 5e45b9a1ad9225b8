package coil

import (
	"math"

	"dutybench/signal/stat"
)

// Rise reads the edge at which the coil was switched on.
func Rise(s Samples, k Known) (*Edge, error) {
	return read(s, k, true)
}

// Fall reads the edge at which the coil was switched off and its current ran
// on through the free-wheel path; it must be in the readings. Motion is seen
// only while the current still flows.
func Fall(s Samples, k Known) (*Edge, error) {
	return read(s, k, false)
}

func unknown() stat.Quantity { return stat.Quantity{Value: math.NaN()} }

func read(s Samples, k Known, rise bool) (*Edge, error) {
	e, err := clean(s, k)
	if err != nil {
		return nil, err
	}
	if err := e.findOnset(k); err != nil {
		return nil, err
	}
	if rise && e.ranBack() {
		return e.pulse(s), nil
	}
	a, err := e.adjust(k, rise)
	if err != nil {
		return nil, err
	}
	return a.result(s, k), nil
}

// adjusted is an edge with the model fitted to it.
type adjusted struct {
	*edge
	rise       bool
	switched   bool // at a known time
	falseAlarm float64
	m          model
	prior      prior

	// What was looked for, before any model: kinks and a notch.
	strongest        []kink
	dip              notch
	kinked           float64 // gain from which a kink is called one
	evidence, needed float64
	found            Found
	why              string

	// The coil at rest, with the motion, and the first part of the motion.
	rest, moving, leaving solution
	doubt_s               float64 // how unsure the time of leaving is by its profile
	place                 kink    // the end of the motion
	parts                 int     // of the motion's speed
	last                  *solver // whose grid the curve is drawn on
}
