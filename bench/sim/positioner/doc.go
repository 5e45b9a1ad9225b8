// Package positioner simulates an electric positioner with its own board: a
// brushed motor, a gear, a flap between two stops, and a track that tells where
// it stands. It implements sim.Unit, sim.Positioned and sim.Returner. All sizes,
// spreads and faults are invented; the laws they obey are published.
//
// # Electrical side
//
// The source is an open voltage U behind a resistance Rs, or, at its limit, a
// constant current. At the plug sit the input capacitor C with its series
// resistance re, and the board's load I, held within a step, so that the step is
// exact for any length (RC charge, any textbook of circuits):
//
//	Vc → U - I·Rs with the time constant C·(Rs + re)
//
// # Motor
//
// Brushed, with permanent magnets, as motor makers print it; the inductance is
// neglected and the bridge is averaged, so that with the share u of the plug
// voltage on the motor
//
//	u·V = R·i + K·ω,  M = K·i,  supply current = quiet + u·i (never below quiet)
//	J·dω/dt = K·i - M0·sgn ω - b·ω - load
//
// The board limits the size of i. A motor that is not driven is shorted by the
// bridge, which brakes it without supply current.
//
// # Gear, play and stops
//
// The output follows the motor through a play of 2h (the play operator of any
// textbook on hysteresis): it stays until a flank carries it. Along its way it
// meets Coulomb friction F(x), which is a function of place, a return spring
// where there is one, and beyond its stops a stiff spring with damping. Driving
// forwards through the gear with ratio N and efficiency η,
//
//	load = T/(N·η)
//
// and backwards the share 2 - 1/η of T/N comes through, none when that is
// negative: such a gear locks itself (the relation of screws and worms, derived
// from equal friction both ways).
//
// # Track
//
// A potentiometer between a regulated reference and ground. At the share s of
// its length the wiper is an open voltage s·Uref behind R·s·(1-s) (voltage
// divider), so that whoever reads it with a load reads a little less. A worn
// spot is a place at which the wiper's contact is noisy, or open.
//
// # Board
//
// Boot; then every millisecond: the command from the line, in steps, through a
// filter of first order; the place from the track; and a law. Without a spring
// the motor is driven when the error leaves a dead band, with a share that grows
// with the error, until it is inside a smaller one. With a spring a PI law with a
// speed term drives it all the time. No motion for a stall time ends the attempt;
// after a rest it is made again, a few times, until the command changes. Without
// a valid command the board drives to an end, or holds.
package positioner
