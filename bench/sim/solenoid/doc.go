// Package solenoid is the physics of a solenoid valve or actuator: a coil, an
// iron plunger that is drawn into it against a spring, and two stops. It is a
// two-wire unit; the bench switches it.
//
// State is the flux linkage λ (Wb·turns), the plunger's travel y (m, 0 at rest)
// and speed v, and the winding's temperature. The magnetic circuit is a gap in
// series with iron (see for example Fitzgerald, Kingsley and Umans, Electric
// Machinery, chapter 3, from memory; forces from energy there too):
//
//	i_m(λ, g) = λ·r(g) + I_k·(λ/λ_s)^7         current that magnetises
//	r(g)      = r_0 + r_1·g/(1 + g/b)          flat pole with fringing
//	r(g)      = 1/(L_0 − k·g)                  conical pole
//	g         = g_0 + stroke − y               gap left
//
// r is the reciprocal of inductance, linear in the gap but for the flux that
// bulges out of a wide one. A conical pole gives an inductance that is linear in
// travel, so a force ½·k·i² that does not depend on it: what makes a solenoid
// proportional. The second term of i_m is the iron's share; its exponent was
// chosen, between the 5 and 9 of usual fits to soft iron.
//
// Eddy currents in the iron are one shorted secondary, referred to the coil, of
// resistance R_e: i = i_m + λ'/R_e. Shorted turns are another: of N turns a share
// s with its own resistance s·R closes on itself and, referred to the others, is
// R·(1−s)²/s. With the circuit's electromotive force E behind R_c
//
//	E = (R + R_c)·i + λ'   →   λ' = (E − (R + R_c)·i_m)/(1 + (R + R_c)/R_e)
//
// λ' holds the transformer part and the back-EMF of the plunger, ∂λ/∂g·g'. The
// field's energy at a given λ is W = λ²·r/2 + I_k·λ_s/8·(λ/λ_s)^8, and the force
// on the plunger −∂W/∂g at constant λ:
//
//	F     = ½·λ²·dr/dg
//	m·v'  = F − (preload + rate·y) − friction·sgn(v) − viscous·v
//
// Stops take the plunger's speed whole. Copper follows 0.00393 per kelvin at
// 20 °C (IEC 60028). The winding heats with i²·R and cools to its surroundings.
// Remanence is left out: what sticks is a fault here, or friction.
package solenoid
