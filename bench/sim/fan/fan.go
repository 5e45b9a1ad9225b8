package fan

import (
	"fmt"
	"math"
	"time"

	"dutybench/bench/sim"
)

// Fan is one unit. It belongs to one goroutine.
type Fan struct {
	params  Params
	defect  defect
	density float64

	// Board.
	phase    phase
	since_s  float64 // in the phase
	attempt  int     // of the present start
	slipped  bool    // the rotor did not follow the ramp
	run      bool
	share    float64 // of the way from least to full
	silent_s float64 // since the last valid command
	goal     float64 // slewed: rad/s, or share of the supply
	integral float64 // A

	// Electrics and shaft.
	plug_V   float64
	speed    float64 // rad/s
	angle    float64 // of the shaft, or while it is forced, of the field; rad
	ripple   float64 // cosine of the commutation's angle at the end of the last step
	phase_A  float64
	stuck_Nm float64
}

// New is a unit with the fault at a severity of 0 to 1; an empty fault is a
// good unit.
func New(params Params, fault string, severity float64) (*Fan, error) {
	if !(params.Inertia_kgm2 > 0) || !(params.Capacitor_F > 0) || !(params.Winding_Ohm > 0) || !(params.Efficiency > 0) || !(params.Room_Pa > 0) {
		return nil, fmt.Errorf("fan: parameters of size %q are incomplete; begin with Nominal or Draw", params.Size)
	}
	params, d, err := damage(params, fault, severity)
	if err != nil {
		return nil, err
	}
	return &Fan{params: params, defect: d, density: params.Density(), stuck_Nm: d.stuck_Nm, ripple: 1}, nil
}

// longest is the longest step that is computed at once.
const longest = 100 * time.Microsecond

// Step implements sim.Unit. A dt of zero or less changes nothing.
func (f *Fan) Step(dt time.Duration, src sim.Source, line sim.Line) (current_A, plug_V float64) {
	if f.defect.unplugged {
		if !src.On {
			return 0, 0
		}
		return 0, src.Open_V
	}
	if dt <= 0 {
		return 0, f.plug_V
	}
	var charge float64
	for left := dt; left > 0; left -= longest {
		part := min(left, longest).Seconds()
		charge += f.step(part, src, line) * part
	}
	return charge / dt.Seconds(), f.plug_V
}

func (f *Fan) step(dt float64, src sim.Source, line sim.Line) float64 {
	f.think(dt, line)
	watts := 0.0
	switch {
	case f.phase.forced():
		watts = f.force(dt)
	case f.phase == closed:
		watts = f.regulate(dt)
	default:
		f.turn(dt, 0)
	}
	volts := max(f.plug_V, 1)
	draw := watts / (f.params.Efficiency * volts)
	return f.feed(dt, src, f.quiet()+draw*(1+f.commutation()))
}

// feed moves the capacitor's voltage by dt under the board's load and returns
// the mean current through the shunt.
func (f *Fan) feed(dt float64, src sim.Source, load_A float64) float64 {
	c, before := f.params.Capacitor_F, f.plug_V
	if !src.On {
		f.plug_V = max(0, before+dt*(src.Leak_A-load_A-before/sim.SenseLoad_Ohm)/c)
		return src.Leak_A
	}
	ohm := max(src.Ohm, 1e-3)
	settled := src.Open_V - ohm*load_A
	f.plug_V = settled + (before-settled)*math.Exp(-dt/(ohm*c))
	mean := load_A + c*(f.plug_V-before)/dt
	if src.Limit_A > 0 && mean > src.Limit_A {
		f.plug_V = max(0, before+dt*(src.Limit_A-load_A)/c)
		return src.Limit_A
	}
	return mean
}

// quiet is the board's own current at the plug voltage.
func (f *Fan) quiet() float64 {
	return f.defect.quiet * f.params.Quiet_A * min(f.plug_V/4, 1)
}

// commutation is the mean over the last step of the ripple that six
// commutations in an electrical turn make, as a share of the motor's current.
func (f *Fan) commutation() float64 {
	was := f.ripple
	f.ripple = math.Cos(float64(6*f.params.PolePairs) * f.angle)
	return f.params.Ripple * (was + f.ripple) / 2
}

// force is a step of alignment, ramp or verification: the phase current is held,
// and the rotor follows the field as long as its torque allows. It returns the
// motor's power.
func (f *Fan) force(dt float64) float64 {
	p := &f.params
	field, rise := 0.0, 0.0
	switch f.phase {
	case ramp:
		rise = p.HandOver_rad_s / p.Ramp_s
		field = min(f.since_s*rise, p.HandOver_rad_s)
	case verify:
		field = p.HandOver_rad_s
	}
	amps := p.Start_A
	if f.defect.open > 0 && int(f.angle/(2*math.Pi)*float64(6*p.PolePairs))%3 == 2 {
		amps *= 1 - f.defect.open // two of six steps
	}
	amps = max(0, min(amps, (f.plug_V*highest-p.K_Vs*f.speed)/p.Winding_Ohm))
	watts := amps * amps * p.Winding_Ohm
	needs, _ := p.torque(f.speed, f.density)
	needs += f.defect.rub_Nm + p.Inertia_kgm2*rise
	const pullOut = 0.9 // the share of the start torque that a rotor can follow; chosen
	able := pullOut*p.K_Vs*p.Start_A >= needs+f.stuck_Nm && f.defect.open == 0
	switch {
	case f.phase == align:
		f.turn(dt, -amps) // a turning rotor is caught
		return watts
	case able && !f.slipped:
		f.speed, f.stuck_Nm = field, 0
		watts += needs * field
		f.angle = math.Mod(f.angle+field*dt, 2*math.Pi)
	default:
		f.slipped = true
		at := f.angle
		f.turn(dt, 0)
		f.angle = math.Mod(at+field*dt, 2*math.Pi)
	}
	f.phase_A = amps
	return watts
}

// loop_rad_s is the bandwidth of the speed regulator; chosen.
const loop_rad_s = 15.0

// regulate is a step of closed loop; it returns the motor's power.
func (f *Fan) regulate(dt float64) float64 {
	p := &f.params
	to := p.Least + f.share*(p.Full-p.Least)
	most := (p.Full - p.Least) / p.Slew_s * dt
	f.goal += min(max(to-f.goal, -most), most)
	volts, want := highest, p.Limit_A
	if p.ByVoltage {
		volts = f.goal
	} else {
		off := p.Inertia_kgm2 * loop_rad_s / p.K_Vs * (f.goal - f.speed)
		want = max(0, off+f.integral)
		if able := p.able(f.speed, volts, f.plug_V); want < able || off < 0 { // at a limit the integral waits
			f.integral = min(max(f.integral+off*loop_rad_s/4*dt, 0), p.Limit_A)
		}
	}
	amps := min(want, p.able(f.speed, volts, f.plug_V))
	watts := amps * (p.Winding_Ohm*amps + p.K_Vs*f.speed)
	f.turn(dt, amps)
	return watts
}

// turn moves the free shaft by dt under the phase current.
func (f *Fan) turn(dt, amps float64) {
	p := &f.params
	f.phase_A = amps
	drive := p.K_Vs * amps
	against, slope := p.torque(f.speed, f.density)
	if f.defect.rub_Nm > 0 { // a bump over an eighth of the turn, its mean one
		c := (1 + math.Cos(f.angle)) / 2
		against += f.defect.rub_Nm * c * c * c * c * 256 / 70
	}
	if f.speed <= 0 {
		if f.speed = 0; drive <= against+f.stuck_Nm {
			return
		}
		f.stuck_Nm = 0
	} else {
		against += p.Turn_Nm * math.Sin(f.angle)
	}
	f.speed = max(0, f.speed+dt*(drive-against)/(p.Inertia_kgm2+dt*slope))
	f.angle = math.Mod(f.angle+f.speed*dt, 2*math.Pi)
}

// PullUp implements sim.Unit.
func (f *Fan) PullUp() (open_V, ohm float64) {
	if f.defect.unplugged || f.defect.noPullUp || f.params.PullUp_Ohm <= 0 {
		return 0, 0
	}
	return f.plug_V, f.params.PullUp_Ohm
}

// Temperature implements sim.Unit: of the room, in °C.
func (f *Fan) Temperature() float64 { return f.params.Room_C }

// Truth is what no bench sees, for tests.
type Truth struct {
	State                string
	Speed_rad_s, Phase_A float64
	Attempt              int
}

// Truth tells the present state.
func (f *Fan) Truth() Truth {
	return Truth{State: f.phase.String(), Speed_rad_s: f.speed, Phase_A: f.phase_A, Attempt: f.attempt}
}
