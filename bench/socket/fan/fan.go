// Package fan puts simulated fans into the socket.
package fan

import (
	"fmt"
	"math"

	"dutybench/bench/sim"
	simfan "dutybench/bench/sim/fan"
	"dutybench/bench/socket"
	"dutybench/profiles"
)

// Socket takes fans.
type Socket struct{}

// Faults that simulated fans can have.
func (Socket) Faults() (out []socket.Fault) {
	for _, f := range simfan.Faults() {
		out = append(out, socket.Fault{Name: f.Name, Side: f.Side, Line: f.Line, Half: f.Half, Full: f.Full, Graded: f.Graded, Inseparable: f.Inseparable})
	}
	return out
}

// Perturbations are the simulator's groups of constants.
func (Socket) Perturbations() []string { return simfan.Perturbations() }

// Slows says that a perturbation makes a good unit start later.
func (Socket) Slows(group string) bool {
	return group == simfan.RetryTiming || group == simfan.RampTiming
}

// widest is how far, as a ratio, a simulated unit's full current may lie from
// that of the profile's: sizes lie no further apart than this.
const widest = 1.6

// What differs from one test, and one mounting, to the next, as standard
// deviations. The room is drawn for every unit, as good units come in over many
// days: 2 K and 8 hPa, an ordinary workshop and its weather (chosen; no limit
// rests on them).
const (
	room_K      = 2.0
	room_Pa     = 800.0
	againSupply = 0.001
	mountAir    = 0.006 // of the air's torque: walls, guard, how it stands in its vice
	mountLead   = 0.001 // ohm, of the plug, put on again
)

// Bench is a simulated bench with a unit of the profile's type in its socket:
// the size whose full current is the profile's, which listens to the line as the
// profile says.
func (Socket) Bench(p *profiles.Profile, s socket.Simulated) (sim.Options, error) {
	supply := sim.DefaultSupply()
	supply.Open_V = p.Supply.Nominal_V
	size, err := sizeFor(p, supply)
	if err != nil {
		return sim.Options{}, err
	}
	r := s.UnitSource()
	unit, err := simfan.Draw(size, r)
	if err != nil {
		return sim.Options{}, err
	}
	unit.Room_C += room_K * socket.Cut(r)
	unit.Room_Pa += room_Pa * socket.Cut(r)
	if s.Perturb != (socket.Perturbation{}) {
		if unit, err = unit.Perturbed(s.Perturb.Group, s.Perturb.Factor); err != nil {
			return sim.Options{}, err
		}
	}
	listen(&unit, p.Command)
	if r := s.AgainSource(); r != nil {
		supply.Open_V *= 1 + againSupply*socket.Cut(r)
		unit.Room_C += room_K / 4 * socket.Cut(r)
	}
	if r := s.FillingSource(); r != nil {
		unit.Air_Nms2 *= 1 + mountAir*socket.Cut(r)
		supply.Ohm += mountLead * (1 + socket.Cut(r)/3)
	}
	body, err := simfan.New(unit, s.Fault, s.Severity)
	if err != nil {
		return sim.Options{}, err
	}
	src := simfan.SourceChange(unit, s.Fault, s.Severity, sim.Source{Open_V: supply.Open_V, Ohm: supply.Ohm, Limit_A: supply.Limit_A})
	supply.Ohm, supply.Limit_A = src.Ohm, src.Limit_A
	return sim.Options{Seed: s.Seed, Again: s.Again, Unit: body, Supply: supply, Wire: wireFor(p.Command), Fault: s.Bench}, nil
}

// sizeFor is the size that runs at the profile's supply and draws nearest to its
// full current: that of its good units or, before any were measured, what its
// current limit leaves room for.
func sizeFor(p *profiles.Profile, supply sim.Supply) (string, error) {
	want := socket.FullCurrent(p)
	best, off := "", math.Log(widest)
	for _, size := range simfan.Sizes() {
		u, err := simfan.Nominal(size)
		if err != nil {
			return "", err
		}
		full := u.Behind(1, supply.Open_V, supply.Ohm).Supply_A
		if d := math.Abs(math.Log(full / want)); d < off && math.Abs(p.Supply.Nominal_V-u.Nominal_V) < 3 {
			best, off = size, d
		}
	}
	if best == "" {
		return "", fmt.Errorf("profile %s: %w: the fans here run at 13.5 V and draw other currents: test it on a rig, or judge recorded traces", p.Name, socket.ErrNoUnit)
	}
	return best, nil
}

// listen makes the unit's board hear the line as the profile says.
func listen(u *simfan.Params, c profiles.Command) {
	u.MinHz, u.MaxHz = c.Frequency_Hz*(1-2*c.Tolerance)-1, c.Frequency_Hz*(1+2*c.Tolerance)+1
	u.Inverted = c.Inverted
	if c.Drive == "push-pull" {
		u.PullUp_Ohm = 0
	}
	for _, m := range []struct {
		does string
		to   *bool
	}{{c.Missing.Open, &u.Missing.Open}, {c.Missing.Low, &u.Missing.Low}, {c.Missing.High, &u.Missing.High}} {
		if m.does == "full" || m.does == "stop" {
			*m.to = m.does == "full"
		}
	}
	u.Missing.Wrong = u.Missing.Open
}

// wireFor is the simulated rig's line for a command: its transistor, or a 5 V
// buffer.
func wireFor(c profiles.Command) sim.Wire {
	w := sim.DefaultWire()
	if c.Drive == "push-pull" {
		w.OpenDrain, w.Inverted, w.High_V = false, false, 5
	}
	return w
}
