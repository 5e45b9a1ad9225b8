// Package latecomer writes traces of coolant pumps with their own control
// board as ten foreign benches would have recorded them, good and faulty. It
// shares nothing with the program but the trace: it is a sealed test of the
// judge, and no constant of the judge may be chosen by looking at it.
//
// # Balance
//
// There is no circuit of the motor: its current settles within an instant, and
// each instant of 4 ms is one balance of torques and one of powers,
//
//	J·Δω/Δt = K·i − T(ω),  T(ω) = T_dry·(1 + ½·exp(−ω/ω_s)) + b(θ)·ω + h·ω²
//	V·(I − I_board) = K·ω·i + R(θ)·i² + s·V·i
//
// with s the share that switching costs, and ω never below zero. The bridge
// gives no current back: i ≥ 0, and i ≤ (r·V − K·ω)/R by what voltage is left,
// r the reach of the modulation. The supply has an open voltage E and a source
// resistance; its terminal voltage is the upper root of
//
//	V² − (E − R_s·I_board)·V + R_s·P = 0
//
// and a supply at its current limit the highest voltage at which the unit
// draws no more than the limit.
//
// # Water
//
// h follows from a pump curve without dimensions (head and shaft power against
// flow, all over their values at the best point) by the affinity laws: where
// the loop is a quadratic resistance, head over speed squared and flow over
// speed meet at one point for all speeds. The curve has the shape that
// textbooks give for radial pumps of low specific speed: the head is nearly
// level towards shut-off, the shaft power falls there to about half (Gülich,
// "Centrifugal Pumps", chapter on performance characteristics; values read from
// memory). Gas in the water takes torque away and lets what is left wander.
//
// # Board
//
// The duty sets a speed, a share of the voltage or a power. A board of the first
// asks for Δω/Δt = (ω* − ω)/τ, one of the second follows i = (m·V − K·ω)/R, one
// of the third moves ω* until the bridge's power is what was asked, between a
// lowest and a highest speed. All have a state machine: boot, sleep, wake,
// align, drag, run, rest, latched. A start with sensors skips align and drag.
// An attempt fails when the rotor stays behind; rests are constant or grow, and
// some boards give up.
//
// # What the bench sees
//
// Six-step drive ripples at 6·p·ω/2π, weakened by the input filter and the
// filter before the converter, taken at the instants of sampling so that it
// folds there. An input capacitor charges at switch-on, over a resistance or an
// inductor. Winding and water warm, each a lump of heat; R rises as copper does
// (0.39 %/K, IEC 60034-1 by its constant 235), K falls as ferrite does
// (−0.2 %/K, data sheets), the shear in the bearing as the viscosity of water
// with glycol (about −2 %/K near 20 °C, from memory).
//
// # Units and faults
//
// Good units of a model scatter by a few per cent in K, R, h, start current and
// timings and by 12 % in friction (common practice, no source). A graded fault
// is given that size which moves its main quantity, solved at standstill of all
// states, by 5·s·(1 + 2·s) standard deviations of 200 good units, s the
// severity: nothing at 0, five at 0.5, fifteen at 1, or the most that the
// physics admits. The main quantity is the supply current at the lowest duty
// for friction, at the highest for what concerns water and limits, and the
// voltage at the highest for leads. Gross faults are stark at any severity.
package latecomer
