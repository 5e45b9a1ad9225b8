package positioner

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"dutybench/bench/sim"
)

// Unit is one positioner. It belongs to one goroutine.
type Unit struct {
	params Params
	defect defect
	rng    *rand.Rand

	net   net
	drive drive
	board
	track track
	due_s float64 // until the board's next tick
	slope float64 // travels a second, filtered
}

// New plugs together a unit with the fault at a severity of 0 to 1; an empty
// fault is a good unit. It stands at place at, of 0 to 1. The seed sets the
// track's noise.
func New(params Params, fault string, severity, at float64, seed uint64) (*Unit, error) {
	if !(params.Inertia_kgm2 > 0) || !(params.Capacitor_F > 0) || !(params.Winding_Ohm > 0) || !(params.Ratio > 0) || !(params.Travel_rad > 0) || !(params.Efficiency > 0) || !(params.Filter_s > 0) {
		return nil, fmt.Errorf("positioner: parameters of size %q are incomplete; begin with Nominal or Draw", params.Size)
	}
	params, d, err := damage(params, fault, severity, rand.New(rand.NewPCG(seed, 0x73706f74)))
	if err != nil {
		return nil, err
	}
	u := &Unit{params: params, defect: d, rng: rand.New(rand.NewPCG(seed, 0x706f73)), net: net{farad: params.Capacitor_F, esr: params.ESR_Ohm}}
	u.drive.p = &u.params
	at = min(max(at, params.StopLow), params.StopHigh)
	u.drive.output_rad = at * params.Travel_rad
	u.drive.motor_rad = u.drive.output_rad
	if params.SpringAt0_Nm > 0 { // the spring has it against its flank
		u.drive.motor_rad += params.Play_rad / 2
	}
	if math.IsInf(params.Tooth, 1) { // no teeth are left
		u.drive.idle_rad = params.Tooth
	}
	u.read()
	return u, nil
}

// longest is the longest step that is computed at once.
const longest = 100 * time.Microsecond

// Step implements sim.Unit. A dt of zero or less changes nothing.
func (u *Unit) Step(dt time.Duration, src sim.Source, line sim.Line) (current_A, plug_V float64) {
	if u.defect.unplugged {
		if !src.On {
			return 0, 0
		}
		return 0, src.Open_V
	}
	var charge float64
	for left := dt; left > 0; left -= longest {
		s := float64(min(left, longest)) * 1e-9
		charge += u.step(s, src, line) * s
	}
	if dt <= 0 {
		return 0, u.net.plug_V
	}
	return charge / dt.Seconds(), u.net.plug_V
}

func (u *Unit) step(dt float64, src sim.Source, line sim.Line) float64 {
	if u.due_s -= dt; u.due_s <= 0 {
		u.due_s += tick_s
		u.think(line)
	}
	volt := max(u.net.plug_V, 0)
	drive := u.board.u
	if u.defect.motorOpen {
		drive = 0
	}
	if drive != 0 || u.drive.speed_rad_s != 0 || u.params.SpringAt0_Nm > 0 {
		u.drive.step(dt, drive, volt)
	} else {
		u.drive.current_A = 0
	}
	if u.defect.motorOpen {
		u.drive.current_A = 0
	}
	load := u.quiet(volt) + max(0, drive*u.drive.current_A)
	return u.net.step(dt, src, load)
}

// quiet is the board's own current.
func (u *Unit) quiet(volt float64) float64 {
	i := u.params.Quiet_A * min(volt/4, 1)
	if u.defect.dead {
		return 0.1 * i
	}
	return i
}

// net is the input capacitor behind the source.
type net struct {
	farad, esr float64
	cap_V      float64
	plug_V     float64
}

// step moves the capacitor on by dt with the load held, and gives the mean
// current through the shunt.
func (n *net) step(dt float64, src sim.Source, load float64) float64 {
	if !src.On {
		n.cap_V = max(0, n.cap_V-(load+n.cap_V/sim.SenseLoad_Ohm)*dt/n.farad)
		n.plug_V = n.cap_V
		return src.Leak_A
	}
	was := n.cap_V
	rs := max(src.Ohm, 1e-6)
	goal := src.Open_V - load*rs
	end := goal + (was-goal)*math.Exp(-dt/(n.farad*(rs+n.esr)))
	mean := load + n.farad*(end-was)/dt
	if src.Limit_A > 0 && mean > src.Limit_A {
		mean = src.Limit_A
		end = max(0, was+(mean-load)*dt/n.farad)
		n.cap_V, n.plug_V = end, max(0, end+(mean-load)*n.esr)
		return mean
	}
	n.cap_V = end
	into := (goal - end) / (rs + n.esr) // into the capacitor at the end
	n.plug_V = src.Open_V - (load+into)*rs
	return mean
}

// PullUp implements sim.Unit.
func (u *Unit) PullUp() (open_V, ohm float64) {
	if u.defect.unplugged || u.defect.noPullUp || u.params.PullUpOhm <= 0 {
		return 0, 0
	}
	return u.params.PullUpShare * u.net.plug_V, u.params.PullUpOhm
}

// Temperature implements sim.Unit: the body in °C.
func (u *Unit) Temperature() float64 { return u.params.Body_C }

// Truth is what no bench sees, for tests.
type Truth struct {
	State       string  // what the board is doing
	Place       float64 // of the output, share of the travel
	Speed_rad_s float64 // of the motor
	Motor_A     float64
	Drive       float64 // share of the supply on the motor
	Asked       float64 // place
	Plug_V      float64
	Skips       int
}

// Truth tells the present state.
func (u *Unit) Truth() Truth {
	return Truth{State: u.phase.String(), Place: u.drive.output_rad / u.params.Travel_rad, Speed_rad_s: u.drive.speed_rad_s,
		Motor_A: u.drive.current_A, Drive: u.board.u, Asked: u.asked, Plug_V: u.net.plug_V, Skips: u.drive.skips}
}

// Params tells the unit's parameters, the fault's changes included.
func (u *Unit) Params() Params { return u.params }
