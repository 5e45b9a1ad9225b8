// Package coil reads a coil and its plunger from the current after it was
// switched on or off, knowing nothing of the coil beforehand: resistance,
// inductance, time constants, and when the plunger moved.
//
// Three things are taken from physics. With the flux linkage over resistance λ
// the circuit is dλ/dt = final - i, so the current itself tells the flux,
// without a derivative of noise. A coil whose plunger stays takes a current
// that depends on λ (the gap's reluctance, iron that saturates) and on how fast
// it changes (eddies that diffuse into a plate). And a plunger that hits its
// stop ends its back-EMF at once: the slope of the current jumps, up in a rise
// and down in a fall. Nothing in a coil at rest at a constant voltage makes
// such a kink, nor a current that falls and rises again: with inductances and
// resistances of any number it is a sum of saturating exponentials. So motion is
// called by the kink (against one smooth curve of as many parameters) or by a
// notch, at a stated rate of false alarms; eddies and saturation are neither.
//
// The end of the dip marks the end of motion, as published (M. Balakrishnan and
// N. Kumar, "Detection of Plunger Movement in DC Solenoids", SSIY001, 2015). A
// model of the whole motion and, where it does not fit, the kink alone give that
// time. When the plunger left its stop hardly shows in the current (its trace
// grows with the cube of time), so that time comes with a larger uncertainty.
package coil
