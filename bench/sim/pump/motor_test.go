package pump

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// dcMotor is a bare motor on its voltage: no board, no water.
func dcMotor(volts, ohm, k, friction_Nm float64) Params {
	return Params{Regulation: Voltage, MinShare: 1, MaxShare: 1, Nominal_V: volts, Efficiency: 1,
		K_Vs: k, Winding_Ohm: ohm, Coulomb_Nm: friction_Nm, Limit_A: 1e9, Limit_W: 1e12}
}

// U = R·I + k·ω, M = k·(I - I0): computed case of 12 V, 0.5 Ω, 0.02 V·s, 0.3 A.
func TestMotorEquations(t *testing.T) {
	idle := dcMotor(12, 0.5, 0.02, 0.02*0.3).Steady(1, 12, 20, 20)
	assert.InDelta(t, 592.5, idle.Speed_rad_s, 1e-6)
	assert.InDelta(t, 0.3, idle.Phase_A, 1e-9)
	loaded := dcMotor(12, 0.5, 0.02, 0.02*0.3+0.094).Steady(1, 12, 20, 20)
	assert.InDelta(t, 475, loaded.Speed_rad_s, 1e-6)
	assert.InDelta(t, 5, loaded.Supply_A, 1e-9)
	assert.InDelta(t, 0.744167, 0.094*loaded.Speed_rad_s/(12*loaded.Supply_A), 1e-6, "efficiency")
}

// Two coreless 48 V motors' data lists: no-load speed and current, stall
// torque, resistance, torque constant, inertia, mechanical time constant.
func TestMotorMakersTables(t *testing.T) {
	for _, m := range []struct {
		volts, rpm, idle_A, stall_Nm, ohm, k, inertia, constant_s float64
	}{
		{48, 8490, 0.0786, 1.050, 2.45, 0.0538, 34.7e-7, 2.94e-3},
		{48, 7590, 0.0686, 2.560, 1.13, 0.0603, 137e-7, 4.28e-3},
	} {
		c := dcMotor(m.volts, m.ohm, m.k, m.k*m.idle_A)
		idle := c.Steady(1, m.volts, 20, 20)
		assert.InEpsilon(t, m.rpm, idle.Speed_rad_s*30/math.Pi, 0.005)
		assert.InEpsilon(t, m.stall_Nm, m.k*m.volts/m.ohm, 0.005)

		// The shaft runs up with that time constant: 63.2 % of its speed after it.
		c.Inertia_kgm2 = m.inertia
		p := &Pump{params: c, winding_Ohm: m.ohm, friction: c.Coulomb_Nm}
		const dt = 1e-6
		var t_s float64
		for p.speed < (1-math.Exp(-1))*idle.Speed_rad_s {
			p.turn(dt, (m.volts-m.k*p.speed)/m.ohm, m.k*m.k/m.ohm)
			t_s += dt
		}
		assert.InEpsilon(t, m.constant_s, t_s, 0.008)
	}
}

// Affinity: with the hydraulic torque alone, twice the speed takes 8 times the
// shaft power, +10 % takes +33.1 % (affinity laws, P ~ n³).
func TestAffinity(t *testing.T) {
	c := nominal(t, "medium")
	c.Coulomb_Nm, c.Viscous_Nms = 0, 0
	power := func(speed float64) float64 {
		c.Min_rad_s, c.Max_rad_s = speed, speed
		s := c.Steady(1, 12, 20, 20)
		return s.Torque_Nm * s.Speed_rad_s
	}
	assert.InDelta(t, 8, power(400)/power(200), 1e-9)
	assert.InDelta(t, 1.331, power(440)/power(400), 1e-9)
	assert.InDelta(t, math.Pow(0.9, 3), power(360)/power(400), 1e-9)
}

// R·i² + e·i = P.
func TestPowered(t *testing.T) {
	i := powered(50, 9, 0.14)
	assert.InDelta(t, 50, i*(9+i*0.14), 1e-9)
	assert.InDelta(t, math.Sqrt(50/0.14), powered(50, 0, 0.14), 1e-9)
}

// A rotor at rest does not move before the torque exceeds its friction.
func TestStiction(t *testing.T) {
	c := nominal(t, "medium")
	p := &Pump{params: c, winding_Ohm: c.Winding_Ohm, friction: c.Coulomb_Nm}
	p.turn(1e-4, 0.99*c.Coulomb_Nm/c.K_Vs, 0)
	assert.Zero(t, p.speed)
	p.turn(1e-4, 1.01*c.Coulomb_Nm/c.K_Vs, 0)
	assert.Positive(t, p.speed)
}

func TestSineTable(t *testing.T) {
	for x := -2.0; x < 30; x += 0.00137 {
		assert.InDelta(t, math.Sin(2*math.Pi*x), sine(x), 5e-6)
	}
}
