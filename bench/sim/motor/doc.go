// Package motor is the physics of a brushed motor with a permanent magnet that
// lies between two wires, for the simulated socket.
//
// The winding is a ring of Segments coils, each between two segments of the
// commutator. Two brushes, half a turn apart, part the ring into two paths; a
// brush that lies on two segments shorts the coil between them. Coil k at the
// rotor's angle θ has the EMF e_k = ω·c·cos(θ + 2πk/N). With R_1, R_2 and E_1, E_2
// the sums over the two paths, the brushes see (Thévenin)
//
//	R = R_1·R_2/(R_1+R_2),   E = (E_1·R_2 + E_2·R_1)/(R_1+R_2) = K(θ)·ω
//
// and between the paths circulates (E_1−E_2)/(R_1+R_2), which brakes with
// (E_1−E_2)²/(R_1+R_2)/ω. K, R and that brake are tables over one turn
// (winding.go), so that the ripple, an open coil and a shorted one come from the
// winding itself. Where a brush leaves a segment the current passes over within
// Overlap of a segment's width, as the contact's share does (resistance
// commutation).
//
//	L·di/dt = U − V_b(i) − (R(θ)+R_b)·i − K(θ)·ω
//	J·dω/dt = K(θ)·i − T_c·sign(ω) − B·ω − T_load − brakes
//
// V_b is the drop of both brushes, taken as reached at a quarter of an ampere. R is
// that of copper at the winding's temperature (0.393 % a kelvin at 20 °C, IEC
// 60028), which warms by i²R into one heat capacity; the magnet loses 0.2 % of K a
// kelvin (hard ferrite; handbook value, from memory). The electrical equation is
// solved exactly over a sub-step in which θ moves by no more than a fifth of a
// ripple, the mechanical one by a midpoint step.
//
// The model of the machine as a whole, for checks: stall current U/R, no-load
// speed (U−R·I_0)/K, torque K·(I−I_0) (handbooks of small motors; numbers in
// shared/references/check-values.md, 8.2), ripples a turn by the least common
// multiple of brushes and segments (8.3).
//
// Good units' coils differ a little, and their torque comes and goes a little once a
// turn. What a commutating coil's own inductance does, and armature reaction, are
// left out: both shift where the ripple lies within a turn, not how often it comes.
//
// All sizes, spreads and severities are chosen; no real motor stands behind them.
package motor
