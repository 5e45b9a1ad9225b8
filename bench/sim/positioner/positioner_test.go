package positioner

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/sim"
)

const pitch = 100 * time.Microsecond

var bench = sim.Source{On: true, Open_V: 13.5, Ohm: 0.04, Limit_A: 30}

// rig steps a unit with a command.
type rig struct {
	t     *testing.T
	u     *Unit
	src   sim.Source
	line  sim.Line
	at_s  float64
	mean  float64 // current over the last run
	peak  float64
	lows  float64 // lowest place over the last run
	highs float64
}

func plug(t *testing.T, p Params, fault string, severity, at float64) *rig {
	t.Helper()
	u, err := New(p, fault, severity, at, 1)
	require.NoError(t, err)
	return &rig{t: t, u: u, src: bench}
}

// ask commands a place.
func (r *rig) ask(place float64) *rig {
	p := r.u.params
	r.line = sim.Line{State: sim.LinePWM, High: p.At0 + (p.At1-p.At0)*place, Frequency_Hz: (p.MinHz + p.MaxHz) / 2, High_V: 12}
	return r
}

func (r *rig) run(d time.Duration) *rig {
	n := int(d / pitch)
	r.mean, r.peak, r.lows, r.highs = 0, 0, math.Inf(1), math.Inf(-1)
	for range n {
		i, _ := r.u.Step(pitch, r.src, r.line)
		r.mean += i / float64(n)
		r.peak = max(r.peak, i)
		x := r.u.Truth().Place
		r.lows, r.highs = min(r.lows, x), max(r.highs, x)
		r.at_s += pitch.Seconds()
	}
	return r
}

func whole(t *testing.T, size string) Params {
	t.Helper()
	p, err := Nominal(size)
	require.NoError(t, err)
	return p
}

// Driven with a steady share, motor and supply settle where the equations of
// motor and gear say: speed and current solve u·V = R·i + K·ω and
// K·i = M0 + b·ω + F/(N·η).
func TestSteadySpeed(t *testing.T) {
	p := whole(t, "flap")
	d := &drive{p: &p, output_rad: 0.1}
	d.motor_rad = d.output_rad
	const u, volt = 0.8, 13.0
	for range 5000 {
		d.step(1e-4, u, volt)
	}
	load := p.MotorCoulomb_Nm + p.Coulomb_Nm/(p.Ratio*p.Efficiency)
	speed := (p.K_Vs*u*volt/p.Winding_Ohm - load) / (p.MotorViscous + p.K_Vs*p.K_Vs/p.Winding_Ohm)
	assert.InEpsilon(t, speed, d.speed_rad_s, 1e-4)
	assert.InEpsilon(t, (load+p.MotorViscous*speed)/p.K_Vs, d.current_A, 1e-4)
}

// Against a stop, the current is the board's limit, and the flap stands where the
// stop's spring balances what the gear hands on: k·x + F = N·η·(K·i − M0).
func TestStall(t *testing.T) {
	p := whole(t, "flap")
	p.Inertia_kgm2 /= 1000 // hardly any impact
	d := &drive{p: &p, output_rad: p.StopHigh*p.Travel_rad + 0.003}
	d.motor_rad = d.output_rad - p.Play_rad/2
	for range 20000 {
		d.step(1e-4, 0.9, 13)
	}
	assert.InEpsilon(t, p.Limit_A, d.current_A, 1e-9)
	force := p.Ratio*p.Efficiency*(p.K_Vs*p.Limit_A-p.MotorCoulomb_Nm) - p.Coulomb_Nm
	pressed := (d.output_rad - p.StopHigh*p.Travel_rad) * p.Stop_Nm
	assert.InEpsilon(t, force, pressed, 0.02)
	p.Limit_A = 10 // no limit: R alone
	for range 20000 {
		d.step(1e-4, 0.5, 13)
	}
	assert.InEpsilon(t, 0.5*13/p.Winding_Ohm, d.current_A, 1e-6)
}

// A spring's torque comes back through the gear by 2 − 1/η and turns the motor
// when nothing drives it; a gear below one half locks itself.
func TestBackdrive(t *testing.T) {
	for _, c := range []struct {
		efficiency float64
		moves      bool
	}{{0.8, true}, {0.5, false}} {
		p := whole(t, "spring")
		p.Efficiency = c.efficiency
		d := &drive{p: &p, output_rad: 0.7}
		d.motor_rad = d.output_rad + p.Play_rad/2
		for range 20000 {
			d.step(1e-4, 0, 13)
		}
		assert.Equal(t, c.moves, d.output_rad < 0.1, "efficiency %g: at %g rad", c.efficiency, d.output_rad)
	}
}

// The output follows a motor that turns round only after the whole play.
func TestPlay(t *testing.T) {
	p := whole(t, "flap")
	d := &drive{p: &p, output_rad: 0.5}
	d.motor_rad = 0.5
	d.carry(0.1, 0, p.Coulomb_Nm)
	top := d.output_rad
	assert.InDelta(t, 0.6-p.Play_rad/2, top, 1e-12)
	d.carry(-p.Play_rad*0.99, 0, p.Coulomb_Nm)
	assert.Equal(t, top, d.output_rad)
	d.carry(-p.Play_rad*0.51, 0, p.Coulomb_Nm)
	assert.InDelta(t, top-p.Play_rad/2, d.output_rad, 1e-12)
}

// The open voltage is in proportion to the place, and the wiper's resistance is
// R·s·(1−s) and the series one (voltage divider).
func TestTrack(t *testing.T) {
	p := whole(t, "flap")
	p.Noise, p.Bow = 0, 0
	for _, at := range []float64{0, 0.25, 0.5, 1} {
		r := plug(t, p, "", 0, at)
		r.line = sim.Line{State: sim.LineReleased, High_V: 12}
		r.run(300 * time.Millisecond)
		volt, ohm := r.u.Position()
		s := 0.1 + 0.8*at
		assert.InDelta(t, 5*s, volt, 1e-6)
		assert.InDelta(t, 470+5000*s*(1-s), ohm, 1e-6)
	}
}

// The charge at switch-on is C·U, and the current decays with C·(Rs + re).
func TestSwitchOn(t *testing.T) {
	n := net{farad: 1e-4, esr: 0.06}
	src := sim.Source{On: true, Open_V: 12, Ohm: 0.04}
	var charge float64
	for range 50 {
		charge += n.step(1e-6, src, 0) * 1e-6
	}
	tau := 1e-4 * 0.1
	assert.InEpsilon(t, 12e-4*(1-math.Exp(-50e-6/tau)), charge, 1e-9)
	i := (12 - n.plug_V) / 0.04
	assert.InEpsilon(t, 120*math.Exp(-50e-6/tau), i, 1e-6)
}

// Every size goes where it is asked, both ways, within its dead band and little
// more, and draws no more than its limit.
func TestFollows(t *testing.T) {
	for _, size := range Sizes() {
		t.Run(size, func(t *testing.T) {
			p := whole(t, size)
			r := plug(t, p, "", 0, 0.5).ask(0.2)
			r.run(3 * time.Second)
			for _, to := range []float64{0.8, 0.3, 0.31, 0.29, 0.9, 0.1} {
				r.ask(to).run(2500 * time.Millisecond)
				assert.InDelta(t, to, r.u.Truth().Place, p.DeadBand+0.006, "asked for %g", to)
				assert.Less(t, r.peak, 1.1*(p.Limit_A+p.Quiet_A))
				t.Logf("to %g: %.4f, peak %.3f A, mean %.3f A, overshoot %.4f %.4f", to, r.u.Truth().Place, r.peak, r.mean, r.lows, r.highs)
			}
			// Beyond an end it presses, gives up, and stays.
			r.ask(1.04).run(6 * time.Second)
			assert.InDelta(t, 1, r.u.Truth().Place, 0.02)
			if p.SpringAt0_Nm == 0 {
				assert.Equal(t, "latched", r.u.Truth().State)
				r.run(200 * time.Millisecond)
				assert.InDelta(t, p.Quiet_A, r.mean, 1e-3)
			}
		})
	}
}

// A command that changes by less than the dead band moves nothing, one by more
// does.
func TestDeadBand(t *testing.T) {
	p := whole(t, "flap")
	p.Noise, p.Bow = 0, 0
	r := plug(t, p, "", 0, 0.5).ask(0.6)
	r.run(2 * time.Second)
	stands := r.u.Truth().Place
	e := 0.6 - stands
	r.ask(0.6 + p.DeadBand - e - 0.002).run(time.Second)
	assert.InDelta(t, stands, r.u.Truth().Place, 1e-9)
	r.ask(0.6 + p.DeadBand - e + 0.002).run(time.Second)
	assert.Greater(t, r.u.Truth().Place, stands+p.DeadBand/2)
}

func TestWithoutCommand(t *testing.T) {
	for _, c := range []struct {
		does Behaviour
		at   float64
	}{{Holds, 0.6}, {GoesLow, 0}, {GoesHigh, 1}} {
		p := whole(t, "flap")
		p.Missing = Missing{Open: c.does, After_s: 0.3}
		r := plug(t, p, "", 0, 0.5).ask(0.6)
		r.run(2 * time.Second)
		r.line = sim.Line{State: sim.LineReleased, High_V: 12}
		r.run(3 * time.Second)
		assert.InDelta(t, c.at, r.u.Truth().Place, 0.01)
	}
}

// Units are drawn alike from like sources, and different from others.
func TestDraw(t *testing.T) {
	for _, size := range Sizes() {
		a, err := Draw(size, rand.New(rand.NewPCG(1, 2)))
		require.NoError(t, err)
		b, _ := Draw(size, rand.New(rand.NewPCG(1, 2)))
		c, _ := Draw(size, rand.New(rand.NewPCG(1, 3)))
		assert.Equal(t, a, b)
		assert.NotEqual(t, a, c)
	}
	_, err := Draw("boat", rand.New(rand.NewPCG(1, 2)))
	assert.ErrorContains(t, err, "boat")
	_, err = New(Params{}, "", 0, 0, 1)
	assert.Error(t, err)
}
