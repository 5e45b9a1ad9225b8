// Package pump puts simulated pumps into the socket.
package pump

import (
	"fmt"
	"math"
	"strings"

	"dutybench/bench/sim"
	simpump "dutybench/bench/sim/pump"
	"dutybench/bench/socket"
	"dutybench/profiles"
)

// Socket takes pumps.
type Socket struct{}

// Faults that simulated pumps can have.
func (Socket) Faults() []socket.Fault {
	var out []socket.Fault
	for _, f := range simpump.Faults() {
		l := socket.Fault{Name: f.Name, Side: f.Side, Line: f.Line, Half: f.Half, Full: f.Full, Graded: f.Graded, Inseparable: f.Inseparable}
		if f.Name == "command-lost-full" || f.Name == "command-lost-off" {
			// A deaf board whose pull-up is gone too shows the levels of a broken
			// signal wire.
			l.Besides = []string{"wiring"}
		}
		out = append(out, l)
	}
	return out
}

// FaultsFor says of which size the figures in the faults are.
func (Socket) FaultsFor() string { return "figures in amperes are for a unit of about 60 W" }

// Slows: boards that wait, or ramp, for longer start later.
func (Socket) Slows(group string) bool {
	return group == simpump.RetryTiming || group == simpump.RampTiming
}

// Perturbations are the simulator's groups of constants.
func (Socket) Perturbations() []string { return simpump.Perturbations() }

// widest is how far, as a ratio, a simulated unit's full current may lie from
// that of the profile's good units: sizes lie further apart than this.
const widest = 2

// Bench is a simulated bench with a unit of the profile's type in its socket:
// the size whose supply and full current are the profile's, listening to the
// line as the profile says.
func (Socket) Bench(p *profiles.Profile, s socket.Simulated) (sim.Options, error) {
	supply := sim.DefaultSupply()
	supply.Open_V = p.Supply.Nominal_V
	size, err := sizeFor(p, supply)
	if err != nil {
		return sim.Options{}, err
	}
	unit, err := simpump.Draw(size, s.UnitSource())
	if err != nil {
		return sim.Options{}, err
	}
	if s.Perturb != (socket.Perturbation{}) {
		if unit, err = unit.Perturbed(s.Perturb.Group, s.Perturb.Factor); err != nil {
			return sim.Options{}, err
		}
	}
	listen(&unit, p.Command)
	differ(s, &unit, &supply)
	body, err := simpump.New(unit, s.Fault, s.Severity, s.Seed^s.Again<<32)
	if err != nil {
		return sim.Options{}, err
	}
	src := simpump.SourceChange(unit, s.Fault, s.Severity, sim.Source{Open_V: supply.Open_V, Ohm: supply.Ohm, Limit_A: supply.Limit_A})
	supply.Ohm, supply.Limit_A = src.Ohm, src.Limit_A
	return sim.Options{Seed: s.Seed, Again: s.Again, Unit: body, Supply: supply, Wire: wireFor(p.Command), Fault: s.Bench}, nil
}

// sizeFor is the size that runs at the profile's supply, follows the kind of
// line law that it has, and draws nearest to its full current: that of its
// good units or, before any were measured, what its current limit leaves room
// for.
func sizeFor(p *profiles.Profile, supply sim.Supply) (string, error) {
	best, off := "", math.Inf(1)
	var draws []string
	for _, size := range simpump.Sizes() {
		u, err := simpump.Nominal(size)
		if err != nil {
			return "", err
		}
		_, direct := u.Law.(simpump.Direct)
		if v := p.Supply.Nominal_V; v < u.On_V || v > u.Over_V || direct != (len(p.Command.Law) == 0) {
			continue
		}
		full := u.Behind(1, supply.Open_V, supply.Ohm, u.Water_C, u.Water_C).Supply_A
		draws = append(draws, fmt.Sprintf("%.2g A", full))
		if d := math.Abs(math.Log(full / socket.FullCurrent(p))); d < off {
			best, off = size, d
		}
	}
	if off > math.Log(widest) {
		have := "there is none for its supply and line law"
		if len(draws) > 0 {
			have = "those for its supply draw " + strings.Join(draws, ", ") + " at full"
		}
		return "", fmt.Errorf("profile %s: %w: %s: test it on a rig, or judge recorded traces", p.Name, socket.ErrNoUnit, have)
	}
	return best, nil
}

// listen makes the unit's board hear the line as the profile says. The laws
// of circulators are the simulator's own, from the published sheet.
func listen(u *simpump.Params, c profiles.Command) {
	u.MinHz, u.MaxHz = c.Frequency_Hz*(1-2*c.Tolerance)-1, c.Frequency_Hz*(1+2*c.Tolerance)+1
	switch {
	case len(c.Law) == 0:
		u.ActiveLow = c.Inverted
	case c.Inverted:
		u.Law = simpump.Heating{}
	default:
		u.Law = simpump.Solar{}
	}
	if c.Drive != "push-pull" && u.PullUpOhm == 0 {
		u.PullUpShare, u.PullUpOhm = 1, 10e3
	}
	for _, m := range []struct {
		does string
		to   *simpump.Behaviour
	}{{c.Missing.Open, &u.Missing.Open}, {c.Missing.Low, &u.Missing.Low}, {c.Missing.High, &u.Missing.High}} {
		switch m.does {
		case "full":
			*m.to = simpump.RunsFull
		case "stop":
			*m.to = simpump.Stops
		}
	}
	u.Missing.Frequency = u.Missing.Open
}

// wireFor is the simulated rig's line for a command: its transistor, or a 5 V
// buffer, above the 4 V that published sheets ask of a high level.
func wireFor(c profiles.Command) sim.Wire {
	w := sim.DefaultWire()
	if c.Drive == "push-pull" {
		w.OpenDrain, w.Inverted, w.High_V = false, false, 5
	}
	return w
}
