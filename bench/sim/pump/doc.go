// Package pump simulates a brushless coolant pump with its own board, plugged
// to a source and a signal line. It implements sim.Unit. All sizes, spreads
// and faults are invented; the laws they obey are published.
//
// # Electrical side
//
// The source is an open voltage U behind a resistance Rs, or, at its limit, a
// constant current. At the plug sit the input capacitor C with its series
// resistance re, the board's load I = a + g·V, and a leak Gs:
//
//	Is = (U - V)/Rs          or Is = limit
//	Is = (V - Vc)/re + a + (g + Gs)·V
//	C·dVc/dt = (V - Vc)/re
//
// Within a step a and g are held, so that Vc is an exponential and the step is
// exact for any length (RC charge, any textbook of circuits). The charge
// through the shunt is what the capacitor took plus what the board drew.
//
// # Motor
//
// The winding is the direct-current equivalent of the three phases, its
// electrical time constant neglected:
//
//	m·V = R·i + k·ω
//	M = k·i
//
// with the share m of the plug voltage that the board applies, 0 to 1 (model
// of the permanent-magnet motor as motor makers print it). The board
// draws I = Iq + i·(R·i + k·ω)/(η·V). No phase current below zero: the board
// never brakes. With the board off, a coasting rotor feeds the capacitor
// through the bridge's diodes once k·ω exceeds the plug voltage by two drops.
// R follows the winding's temperature, R = R20·(1 + 0.00393/K·(T - 20 °C)).
//
// # Shaft
//
//	J·dω/dt = k·i - (Mc + b·ω + h·ω²)
//
// with Coulomb friction Mc (a rotor at rest sticks), b proportional to the
// viscosity of the water in the gap (IAPWS SR6-08, equation 7), and h for the
// water carried: torque with ω², power with ω³ (affinity laws). The step is
// linearised in ω, so that it is stable for any length.
//
// Six-step drive lets the board's current ripple at 6·pole pairs·shaft
// frequency (six commutations in an electrical turn); a sine drive hardly.
// The capacitor and Rs filter it. An imbalance modulates the torque once a
// turn; the flow's unrest modulates h at random.
//
// # Board
//
// Boot, asleep, idle, waking, alignment, open-loop ramp, verification, closed
// loop with a limited slew, and after a failed attempt a rest; after so many
// attempts it latches off. Attempts are of equal length, whether the rotor is
// stuck or slips. A regulator either holds the speed or sets the voltage.
package pump
