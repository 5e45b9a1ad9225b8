// Package stranger makes supply-current traces of PWM-commanded auxiliary
// coolant pumps with their own control board, good and faulty, to try a judge
// on units it was never built for. It shares nothing with the rest of the
// bench but the trace. Only tests use it.
//
// # How a trace is made
//
// There is no rotor with phases in here. Three layers follow each other:
//
// Load. At every command the unit settles at a speed that a torque balance
// gives. With w the shaft's speed, w0 its rated value and T0 the rated torque,
//
//	T(w) = Tc·(1 + s·exp(-(w/ws)²)) + Tv·(w/w0) + Th·(w/w0)^(h-1)
//
// a Coulomb part with the bump of a plain bearing at low speed, a viscous part
// and a hydraulic part whose power goes with w^h, h from 2.7 to 3.1 (3 is the
// affinity law for similar flow; leakage and disc friction move it). A board
// that regulates speed sets w itself while its voltage suffices; one whose
// duty sets voltage settles where m(d)·V = k·w + R·T(w)/k, the equation of a
// DC motor.
//
// Board. Every millisecond the speed follows its settled value with one time
// constant and a slew limit. The motor current is Im = (T + J·dw/dt)/k, never
// negative, and the supply current
//
//	I = (k·w·Im + R·Im² + p0 + a·Im)/V + Iq
//
// with p0 + a·Im the losses of the board, so that its efficiency depends on
// load. A limit of power, or of the supply's current, bounds Im; what torque
// is then missing slows the rotor. A small state machine wakes, tries, rests,
// latches off and runs.
//
// Samples. Ripple, modulation, commutation marks in attempts, the charging
// peak, turbulence, noise, averaging, clipping and resolution are painted on
// at the sampling rate.
//
// The torque laws are textbook physics; spreads, shares and times are the
// author's guesses at plausible units, no source.
//
// # Severity
//
// A graded fault has one physical amount x with a full extent. Severity 0.5
// is the x that moves the worst point of the curve (or the quantity the fault
// names) by 5 standard deviations of good units of that model; below, x goes
// in proportion to severity, above it goes geometrically to the full extent
// at 1. The other faults say in their Severity text what it does.
package stranger
