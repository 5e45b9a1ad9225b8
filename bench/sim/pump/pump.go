package pump

import (
	"fmt"
	"math/rand/v2"
	"time"

	"dutybench/bench/sim"
)

// Pump is one unit. It belongs to one goroutine.
type Pump struct {
	params Params
	defect defect
	rng    *rand.Rand

	source    sim.Source // as last given
	feed      feed       // the same, made safe
	net       net
	regulator regulator

	// Board.
	phase      phase
	since_s    float64 // in the phase
	attempt    int     // of the present start
	wakeUps    int     // of the present start
	slipped    bool    // the rotor did not follow the ramp
	low_s      float64 // below the stall speed
	calm_s     float64 // latched and not asked to run
	nextDrop_s float64
	drop_s     float64 // length of the present coast
	line       sim.Line
	what       felt
	duty       float64 // line duty as the board counts it
	heard      bool    // the command stands as long as the line does
	run        bool
	share      float64 // of the way from least to full
	silent_s   float64 // since the last valid command

	// Motor and shaft.
	speed    float64 // rad/s
	turns    float64 // of the shaft or, forced, of the field, 0 to 1
	ripple   float64 // sine of the commutation angle at the end of the last step
	phase_A  float64
	motor_W  float64 // into the motor, mean of the last step
	limited  bool    // the regulator did not get the current it wanted
	stuck_Nm float64 // stiction beyond Coulomb friction

	friction, viscous, hydraulic, unrest float64 // of this step

	// Heat.
	winding_Ohm       float64
	winding_S         float64 // its conductance
	winding_C, waterC float64
	slow_s            float64 // since the last slow step
	copper_J          float64 // since then
	motor_J           float64
	viscosity20       float64
	commutations      float64 // in a turn
	gain              float64 // of the speed regulator, A·s/rad
	ticks             uint
	perSpeed          float64 // flow over speed, l/min·s; 0 until asked for
}

// slow_s is the pitch of what changes slowly: heat, viscosity, the flow's unrest.
const slow_s = 2e-3

// New plugs together a unit with the fault at a severity of 0 to 1; an empty
// fault is a good unit. The seed sets the flow's unrest and the drop-outs.
func New(params Params, fault string, severity float64, seed uint64) (*Pump, error) {
	if params.Law == nil || !(params.Inertia_kgm2 > 0) || !(params.Capacitor_F > 0) || !(params.Winding_Ohm > 0) || !(params.Efficiency > 0) {
		return nil, fmt.Errorf("pump: parameters of size %q are incomplete; begin with Nominal or Draw", params.Size)
	}
	params, d, err := damage(params, fault, severity)
	if err != nil {
		return nil, err
	}
	p := &Pump{
		params: params, defect: d, rng: rand.New(rand.NewPCG(seed, 0x70756d70)),
		net:   net{farad: params.Capacitor_F, esr: params.ESR_Ohm},
		feed:  newFeed(sim.Source{}),
		phase: unpowered, what: feltOpen, stuck_Nm: d.stuck_Nm,
		winding_C: params.Water_C, waterC: params.Water_C, viscosity20: waterViscosity(20),
		commutations: float64(6 * params.PolePairs), gain: params.Inertia_kgm2 * loop_rad_s / params.K_Vs,
	}
	p.regulator = newRegulator(&p.params)
	p.nextDrop_s = p.drawDrop()
	p.warm()
	p.wobble()
	return p, nil
}

// longest is the longest step that is computed at once.
const longest = 100 * time.Microsecond

// Step implements sim.Unit. A dt of zero or less changes nothing.
func (p *Pump) Step(dt time.Duration, src sim.Source, line sim.Line) (current_A, plug_V float64) {
	if src != p.source {
		p.source, p.feed = src, newFeed(src)
	}
	if dt <= longest {
		if dt <= 0 {
			return 0, p.seen()
		}
		current_A = p.step(float64(dt)*1e-9, line)
		return current_A, p.seen()
	}
	var charge float64
	for left := dt; left > 0; left -= longest {
		part := float64(min(left, longest)) * 1e-9
		charge += p.step(part, line) * part
	}
	return charge / dt.Seconds(), p.seen()
}

// seen is the voltage across the plug as the bench sees it.
func (p *Pump) seen() float64 {
	if p.defect.unplugged {
		if !p.feed.on {
			return 0
		}
		return p.feed.open
	}
	return p.net.plug_V
}

func (p *Pump) step(dt float64, line sim.Line) (current_A float64) {
	if p.defect.unplugged {
		return 0
	}
	if p.slow_s += dt; p.slow_s >= slow_s {
		p.slowly()
	}
	f := p.feed
	crossed := p.defect.reversed
	if crossed {
		f.cross()
	}
	if f.on && f.open < 0 && p.net.cap_V < 1e-3 {
		p.phase = unpowered
		p.coastBy(dt)
		i, v := reverse(f, p.defect.diode_Ohm)
		p.net.cap_V, p.net.plug_V = 0, v
		if !crossed {
			p.net.plug_V, i = -v, -i
		}
		return i
	}
	p.think(dt, line)
	switch {
	case p.phase.forced():
		return p.force(dt, f)
	case p.phase == closed:
		return p.regulate(dt, f)
	}
	return p.idleBy(dt, f)
}

// quiet is the board's own current at the plug voltage.
func (p *Pump) quiet() float64 {
	i := p.params.Quiet_A
	switch p.phase {
	case unpowered:
		i = p.params.Asleep_A
	case asleep, napping:
		i = p.params.Asleep_A
	}
	return p.defect.quiet*i*min(max(p.net.plug_V, 0)/4, 1) + p.defect.extra_A*clamp01(p.net.plug_V)
}

// PullUp implements sim.Unit.
func (p *Pump) PullUp() (open_V, ohm float64) {
	if p.defect.unplugged || p.defect.reversed || p.defect.noPullUp || p.params.PullUpOhm <= 0 {
		return 0, 0
	}
	return p.params.PullUpShare * p.net.plug_V, p.params.PullUpOhm
}

// Temperature implements sim.Unit: the water in °C.
func (p *Pump) Temperature() float64 { return p.waterC }

// Truth is what no bench sees, for tests.
type Truth struct {
	State               string  // what the board is doing
	Speed_rad_s         float64 // of the shaft
	Phase_A             float64
	Winding_C, Water_C  float64
	Winding_Ohm         float64
	Attempt             int // of the present start
	Share               float64
	Run                 bool // the board wants to run
	Capacitor_V, Plug_V float64
}

// Truth tells the present state.
func (p *Pump) Truth() Truth {
	return Truth{State: p.phase.String(), Speed_rad_s: p.speed, Phase_A: p.phase_A, Winding_C: p.winding_C, Water_C: p.waterC,
		Winding_Ohm: p.winding_Ohm, Attempt: p.attempt, Share: p.share, Run: p.run, Capacitor_V: p.net.cap_V, Plug_V: p.net.plug_V}
}

// Params tells the unit's parameters, the fault's changes included.
func (p *Pump) Params() Params { return p.params }
