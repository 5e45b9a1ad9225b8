// Package outsider writes traces of coolant pumps with their own control
// board, as a bench that is not ours would have recorded them. It stands apart
// from the program's own simulated rig on purpose: other equations, other
// board, other bench. What it writes is the sealed test of the judge.
//
// # Equations
//
// Supply node, with the source's open voltage E, series resistance Rs and the
// unit's input capacitor C; the source may be in its current limit:
//
//	C·dV/dt = min((E−V)/Rs, Ilimit) − I(V),   I = Iq + a·m·i + V/Rleak
//
// Motor, referred to the direct-current side, with modulation m (0 to 1),
// motor current i and constant k for both back-EMF and torque:
//
//	i = (m·V − k·ω)/R,   J·dω/dt = k·i − Tc·sgn ω − Tv·w − Th·(s·w² + (1−s)·w·q)
//
// with w = ω/ω_full, and the flow q of the loop, which has its own inertia:
//
//	τ·dq/dt = w² − (q/opening)²
//
// The hydraulic torque is thus the sum of what the wheel takes with the outlet
// shut (share s) and a part that goes with the flow. In alignment and in the
// open-loop ramp the board regulates i, the rotor hangs on a turning field of
// electrical angle φ like a pendulum, with p pole pairs:
//
//	J·dω/dt = k·i·sin(φ − p·θ) + damping·(dφ/dt/p − ω) − load
//
// Integration is semi-implicit: V by backward Euler (stiff), Coulomb friction
// by projection, the rest by forward Euler with ω taken first, at 0.25 ms.
//
// The equations are those of textbooks on direct-current machines and
// centrifugal pumps; sizes, spreads and faults are from common practice, no
// source.
package outsider
