// Package newcomer writes traces of coolant pumps with their own control board,
// as ten foreign benches would have recorded them, good and faulty. It shares
// nothing with the program but the trace: it is a sealed test of the judge, so
// no constant of the judge may ever be chosen by looking at it.
//
// # Wheel and water
//
// The wheel of radius r and width b follows Euler's equation of turbomachines
// with a slip factor s and the outlet blade angle β. With the meridional speed
// c = Q/(2πrb), the work on a volume of water and the shaft torque for it are
//
//	e = ρ·(s·(rω)² − rω·c·cot β),    T_wheel = Q·e/ω
//
// Below its design flow the wheel stirs water round and round, and its two
// sides drag on the water in the housing (Daily and Nece, "Chamber dimension
// effects on induced flow and frictional resistance of enclosed rotating
// disks", J. Basic Eng. 82, 1960, turbulent with merged boundary layers; the
// coefficient from memory):
//
//	T_stir = ρ·k·ω²·(1 − Q/Q_design)²   for Q < Q_design
//	T_disc = ½·0.080·(gap/r)^(−1/6)·(ωr²/ν)^(−1/4)·ρ·ω²·r⁵
//
// The loop is a quadratic resistance and the inertance of its water:
//
//	I·dQ/dt = η·e − (K_wheel + K_loop)·Q²
//
// # Rotor
//
//	J·dω/dt = K·i − T_water − T_dry·(1 + a·exp(−(ω/ω_s)²)) − μ(θ)·G·ω − T_hyst − E·ω
//
// Dry friction with Stribeck's rise at standstill, the shear of the water in
// the gap of a wet rotor (viscosity μ by Andrade's law), and the iron's
// hysteresis and eddy currents, as torques.
//
// # Motor and bridge
//
// Two-axis equations of the permanent-magnet machine in the power-invariant
// frame, with the current in the torque axis and settled within a step:
//
//	u_q = K·ω + R(θ)·i,   u_d = −p·ω·L·i,   u_q² + u_d² ≤ (reach·m·V)²
//
// with reach 1 for six-step and 1/√2 for sine drive, and m the modulation. The
// supply current is an account of power, I = I_board + (u_q·i + c·V·i)/V, where
// c·V·i is what switching costs. K falls and R rises as the motor warms; the
// water warms by all that is put in.
//
// The board keeps ω by a PI rule, or lets the duty set m, or moves its ω until
// the motor's input is what the duty asks, within a lowest and highest ω. A
// start without position sensors first turns the field at constant current; the
// rotor follows while its load is less than 0.92·K·i, else it is lost for that
// attempt. One with sensors goes straight to the loop, with a current limit and
// a watch on standstill.
//
// In six-step drive the current follows the back-EMF's cap of 60 degrees:
// a ripple of (π/3)·cos x − 1, |x| ≤ 30°, at six times the electrical frequency,
// damped by the input filter and the bench's own filter, and read at the
// instants of the converter, so that it folds as it would there.
//
// # Supply
//
// Charging is the closed solution of a series R-L-C circuit; the converter gets
// its mean over an interval or its value at an instant. After that the voltage
// is E − Rs·I, or falls while the source is in its current limit:
// (C + C_source)·dV/dt = I_limit − I. A board resets below its lowest voltage.
//
// # Numbers
//
// Geometry, shares of torque and loss, times and currents are chosen in ranges
// that are common practice for small coolant pumps, no source; results depend on
// them only through what a good unit of a model is. Spread between units is 2 to
// 4 % (dry friction 10 to 20 %), cut at three standard deviations. Viscosity and
// density of equal parts of water and glycol are from memory: 4.0 mPa·s at
// 20 °C, 1.0 at 75 °C, 1075 kg/m³.
//
// # Severity
//
// A graded fault acts through one quantity x (a torque, a resistance, a share).
// For each model, x at severity 0.5 is solved from the settled balance so that
// the plateau (or quiet current, or terminal voltage where it is sampled) that
// shows it best lies five standard deviations of good units off. Otherwise x
// goes with (2·severity)²; a share s goes as 1 − (1 − s)^((2·severity)²). Faults
// that are events (failed starts, resets, drop-outs) are graded by how many.
package newcomer
