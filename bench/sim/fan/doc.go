// Package fan simulates a brushless fan or blower with its own board, plugged to
// a source and a signal line. It implements sim.Unit. All sizes, spreads and
// faults are invented; the laws they obey are published.
//
// # Electrical side
//
// At the plug sits the input capacitor C and the board's load I, held within a
// step, behind the source's U and Rs or at its limit (RC charge, any textbook of
// circuits):
//
//	C·dV/dt = (U - V)/Rs - I     or     limit - I
//
// The board draws I = Iq + P/(η·V) with the motor's power P = i·(R·i + k·ω); the
// winding's inductance is left out: i = (m·V - k·ω)/R at the share m of the plug
// voltage. The board never brakes.
//
// # Shaft
//
//	J·dω/dt = k·i - (Mc + b·ω + a·ρ/ρ0·ω²·(1 + imbalance))
//
// The torque of the air goes with its density and the speed squared, its power
// with the cube (fan laws; AMCA 201, ISO 5801). Density follows temperature and
// pressure of the room by the gas law, ρ = p/(Rs·T) with Rs = 287.05 J/(kg·K).
// What is out of balance hangs on a level shaft: once a turn a torque of m·g·r.
// A throttled air path raises the torque of an axial fan, which then stirs its
// own air, and lowers that of a radial one, whose torque is that of the air that
// it carries (fan curves as any handbook prints them).
//
// # Board
//
// Boot, idle, waking, an attempt (alignment, then a ramp that the rotor follows
// if the torque allows), a soft start at a bounded slew, and after a failed
// attempt a rest; after so many it latches off. A regulator either holds the
// speed or sets the voltage. Six-step drive lets the current ripple at 6·pole
// pairs·shaft frequency.
package fan
