// Package startup finds what a unit did from the first energising on: its
// switch-on charge, its wake-up, its attempts to turn the rotor with the
// rests between them, and when the current settled.
package startup

// Attempt is one try of the unit's board to turn the rotor: a stretch of
// current above the resting level that ends in a rest, or in running.
type Attempt struct {
	Start_s  float64 // on the trace's time axis
	Length_s float64
	Mean_A   float64 // mean current, resting level not taken off
	Peak_A   float64
	// Empty is the share of the attempt in which the current stood near the
	// resting level: gaps, as an open phase leaves them. NaN when the sampling
	// is too slow to say.
	Empty float64
	// Running says that the attempt did not end but went over into running.
	Running bool
}

// Startup is the start of one run.
type Startup struct {
	Commanded_s float64 // first instant with supply and a run command
	Rest_A      float64 // the resting (awake, not turning) current
	Attempts    []Attempt
	// Settled_s is the instant from which the current stays settled; NaN when
	// it never did.
	Settled_s float64
	Ran       bool
}
