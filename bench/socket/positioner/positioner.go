// Package positioner puts simulated positioners into the socket.
package positioner

import (
	"fmt"
	"math"

	"dutybench/bench/sim"
	simpositioner "dutybench/bench/sim/positioner"
	"dutybench/bench/socket"
	"dutybench/profiles"
)

// Socket takes positioners.
type Socket struct{}

// Faults that simulated positioners can have.
func (Socket) Faults() (out []socket.Fault) {
	for _, f := range simpositioner.Faults() {
		out = append(out, socket.Fault{Name: f.Name, Side: f.Side, Line: f.Line, Half: f.Half, Full: f.Full, Graded: f.Graded, Inseparable: f.Inseparable, Besides: f.Besides})
	}
	return out
}

// Perturbations are the simulator's groups of constants.
func (Socket) Perturbations() []string { return simpositioner.Perturbations() }

// commanded is what a profile's own section may say of the command: the duty at
// a position of 0 % and of 100 %.
type commanded interface {
	Ends() (at0_pct, at100_pct float64)
}

// sprung is what it may say of a return spring.
type sprung interface{ Sprung() bool }

// What differs from one simulated test of a unit to the next, and from one
// mounting to the next, as standard deviations: chosen, as for the other kinds.
const (
	againSupply   = 0.001 // share of the supply's open voltage
	againFriction = 0.02  // share of the flap's friction: where its grease lies
	mountLead_Ohm = 0.002 // of the plug, put on again
)

// Bench is a simulated bench with a unit of the profile's type in its socket.
func (Socket) Bench(p *profiles.Profile, s socket.Simulated) (sim.Options, error) {
	size, err := sizeFor(p)
	if err != nil {
		return sim.Options{}, err
	}
	supply := sim.DefaultSupply()
	supply.Open_V = p.Supply.Nominal_V
	rng := s.UnitSource()
	unit, err := simpositioner.Draw(size, rng)
	if err != nil {
		return sim.Options{}, err
	}
	at := rng.Float64() // where it was left standing
	if s.Perturb != (socket.Perturbation{}) {
		if unit, err = unit.Perturbed(s.Perturb.Group, s.Perturb.Factor); err != nil {
			return sim.Options{}, err
		}
	}
	listen(&unit, p)
	if r := s.AgainSource(); r != nil {
		supply.Open_V *= 1 + againSupply*socket.Cut(r)
		unit.Coulomb_Nm *= 1 + againFriction*socket.Cut(r)
	}
	if r := s.FillingSource(); r != nil {
		supply.Ohm += mountLead_Ohm * (1 + socket.Cut(r)/3)
	}
	if unit.SpringAt0_Nm > 0 {
		at = 0
	}
	body, err := simpositioner.New(unit, s.Fault, s.Severity, at, s.Seed^s.Again<<32)
	if err != nil {
		return sim.Options{}, err
	}
	src := simpositioner.SourceChange(unit, s.Fault, s.Severity, sim.Source{Open_V: supply.Open_V, Ohm: supply.Ohm, Limit_A: supply.Limit_A})
	supply.Ohm, supply.Limit_A = src.Ohm, src.Limit_A
	return sim.Options{Seed: s.Seed, Again: s.Again, Unit: body, Supply: supply, Wire: wireFor(p.Command), Fault: s.Bench}, nil
}

// sizeFor is the size that answers as the profile says, by its spring and its
// supply.
func sizeFor(p *profiles.Profile) (string, error) {
	spring := false
	if s, ok := p.Section.(sprung); ok {
		spring = s.Sprung()
	}
	for _, size := range simpositioner.Sizes() {
		u, err := simpositioner.Nominal(size)
		if err != nil {
			return "", err
		}
		if u.SpringAt0_Nm > 0 == spring && u.Return_Hz > 0 == (p.Position.By == profiles.ByPWM) &&
			math.Abs(p.Supply.Nominal_V-u.Nominal_V) <= 2 && p.Command.Type == profiles.Signal &&
			p.Limits.Peak_A >= u.Limit_A+u.Quiet_A && p.Limits.Current_A <= 10*u.Limit_A {
			return size, nil
		}
	}
	return "", fmt.Errorf("profile %s: %w: there is none for its supply, spring, currents and way to tell its position: test it on a rig, or judge recorded traces", p.Name, socket.ErrNoUnit)
}

// listen makes the unit's board hear the line, and tell its position, as the
// profile says.
func listen(u *simpositioner.Params, p *profiles.Profile) {
	c := p.Command
	u.MinHz, u.MaxHz = c.Frequency_Hz*(1-2*c.Tolerance)-1, c.Frequency_Hz*(1+2*c.Tolerance)+1
	u.ActiveLow = c.Inverted
	if e, ok := p.Section.(commanded); ok {
		if lo, hi := e.Ends(); lo != hi {
			u.At0, u.At1 = lo/100, hi/100
		}
	}
	if c.Drive == "push-pull" {
		u.PullUpOhm = 0
	}
	for _, m := range []struct {
		does string
		to   *simpositioner.Behaviour
	}{{c.Missing.Open, &u.Missing.Open}, {c.Missing.Low, &u.Missing.Low}, {c.Missing.High, &u.Missing.High}} {
		switch m.does {
		case "full":
			*m.to = simpositioner.GoesHigh
		case "stop":
			*m.to = simpositioner.GoesLow
		case "hold":
			*m.to = simpositioner.Holds
		}
	}
	// The track is made so that the reading at the ends is the profile's.
	if pos := p.Position; pos.By == profiles.ByVoltage && pos.At100 > pos.At0 {
		u.Reference_V = (pos.At100 - pos.At0) / 0.8
	}
	if pos := p.Position; pos.By == profiles.ByPWM {
		u.Return0, u.Return1 = pos.At0/100, pos.At100/100
	}
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
