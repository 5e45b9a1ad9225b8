// Package incomer makes traces of pumps that nobody tuned anything to: the
// sealed test of a judge. Its equations and boards are its own; it shares
// nothing with the simulator and nothing with the other generators.
//
// Rotor, with angle θ and speed ω in rad/s:
//
//	J·dω/dt = k·i − c − b·ω − h·ω² − u·cos θ − rub(θ)
//
// with the torque constant k, Coulomb friction c, viscous friction b,
// hydraulic load h, unbalance u, and a rub that presses for part of a turn.
// A standing rotor moves only when k·i exceeds c.
//
// Drive, with winding resistance R and modulation m from 0 to 1, on average
// over a period of the PWM: m·V = k·ω + R·i. The bridge takes i·m/η from the
// input capacitor, the board's own needs come on top, and six-step drive adds
// a ripple at 6 × pole pairs × ω/2π. The winding warms with a slow pole and
// its resistance with it; the bearing's oil gets a little thinner.
//
// Source, with voltage E, resistance r (source, leads, plug) and current
// limit L, on the capacitor C at the unit's terminals:
//
//	C·dV/dt = min((E − V)/r, L) − load
//
// Board: off, resting, waking, trying, pausing between tries, running,
// latched; see board.go. Below 3/4 of the nominal voltage it folds its
// current back. It regulates speed, sets voltage, or regulates power
// between a lowest and a highest speed.
//
// Bench: a first-order filter, an offset, white noise, a step of resolution.
//
// All constants are chosen: plausible for small wet-rotor and canned pumps of
// 20 to 140 W, from no type in particular. A graded fault's size is sought so
// that its main quantity moves by 15·s^1.585 standard deviations of good
// units: 5 at severity s = 0.5 and 15 at 1, as far as physics lets it.
package incomer
