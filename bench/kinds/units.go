package kinds

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"

	"dutybench/bench/kind/pump"
	"dutybench/bench/sim"
	simpump "dutybench/bench/sim/pump"
	"dutybench/profiles"
)

// ErrNoUnit says that no simulated unit is of a profile's type.
var ErrNoUnit = errors.New("no simulated unit of this type")

// Fault is one that a simulated unit, or the bench under it, can have.
type Fault struct {
	Name string
	Side string // the cause that a right verdict names
	Line string // what it is, in one line
	// Half and Full are what a severity of 0.5 and of 1 mean, in physical
	// units and, where good units differ in them, in their standard deviations.
	Half, Full string
}

// Faults lists the faults of a kind's simulated units; none for a kind that
// has no simulated units.
func Faults(kind string) []Fault {
	if kind != (pump.Kind{}).Name() {
		return nil
	}
	var out []Fault
	for _, f := range simpump.Faults() {
		out = append(out, Fault{Name: f.Name, Side: f.Side, Line: f.Line, Half: f.Half, Full: f.Full})
	}
	return out
}

// Simulated says which unit to put on the simulated bench.
type Simulated struct {
	Seed uint64 // draws the unit and the errors of the bench's chips
	Unit uint64 // draws the unit in the place of Seed; 0: Seed does
	// Again is which test of this unit on this bench it is, and Filling which
	// filling of the loop: each number above zero draws what differs from one to
	// the next. With 0 nothing does.
	Again, Filling uint64
	Fault          string  // of the unit or of the bench, see Faults and BenchFaults; empty: none
	Severity       float64 // 0 to 1
	// Bench is a fault of the bench at a time of its own, beside Fault.
	Bench sim.Armed
	// Perturb changes constants that the simulator itself chose, of the good
	// unit below any fault; for studies of what rests on them.
	Perturb Perturbation
}

// Perturbation is a group of the simulator's constants and the factor on
// them. The zero value changes nothing.
type Perturbation struct {
	Group  string // one of Perturbations(kind)
	Factor float64
}

// Noise is the factor on the noise of the bench's chips, which lie outside
// the unit.
func (p Perturbation) Noise() float64 {
	if p.Group == simpump.NoiseGroup {
		return p.Factor
	}
	return 1
}

// Perturbations lists the groups of constants of a kind's simulated units.
func Perturbations(kind string) []string {
	if kind != (pump.Kind{}).Name() {
		return nil
	}
	return simpump.Perturbations()
}

// widest is how far, as a ratio, a simulated unit's full current may lie from
// that of the profile's good units: sizes lie further apart than this.
const widest = 2

// Bench is a simulated bench with a unit of the profile's type in its socket:
// the size whose supply and full current are the profile's, listening to the
// line as the profile says. The supply stands at the profile's nominal
// voltage, and the line is driven as the profile asks.
func Bench(p *profiles.Profile, s Simulated) (sim.Options, error) {
	if p.Kind != (pump.Kind{}).Name() {
		return sim.Options{}, fmt.Errorf("kinds: profile %s is for a %s: %w: only pumps are simulated", p.Name, p.Kind, ErrNoUnit)
	}
	if IsBenchFault(s.Fault) {
		s.Bench, s.Fault, s.Severity = armed(s.Fault, s.Severity, s.Seed), "", 0
	}
	if f := s.Bench; f != (sim.Armed{}) && (!IsBenchFault(f.Name) || !(f.Severity >= 0 && f.Severity <= 1)) {
		return sim.Options{}, fmt.Errorf("kinds: fault %q of the bench at %g: there is none of that name, or its severity lies outside 0 to 1", f.Name, f.Severity)
	}
	supply := sim.DefaultSupply()
	supply.Open_V = p.Supply.Nominal_V
	size, err := sizeFor(p, supply)
	if err != nil {
		return sim.Options{}, err
	}
	unit, err := simpump.Draw(size, rand.New(rand.NewPCG(cmp.Or(s.Unit, s.Seed), 0x756e6974)))
	if err != nil {
		return sim.Options{}, fmt.Errorf("kinds: %w", err)
	}
	if s.Perturb != (Perturbation{}) {
		if unit, err = unit.Perturbed(s.Perturb.Group, s.Perturb.Factor); err != nil {
			return sim.Options{}, fmt.Errorf("kinds: %w", err)
		}
	}
	listen(&unit, p.Command)
	s.differ(&unit, &supply)
	body, err := simpump.New(unit, s.Fault, s.Severity, s.Seed^s.Again<<32)
	if err != nil {
		return sim.Options{}, fmt.Errorf("kinds: %w", err)
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
			return "", fmt.Errorf("kinds: %w", err)
		}
		_, direct := u.Law.(simpump.Direct)
		if v := p.Supply.Nominal_V; v < u.On_V || v > u.Over_V || direct != (len(p.Command.Law) == 0) {
			continue
		}
		full := u.Behind(1, supply.Open_V, supply.Ohm, u.Water_C, u.Water_C).Supply_A
		draws = append(draws, fmt.Sprintf("%.2g A", full))
		if d := math.Abs(math.Log(full / fullCurrent(p))); d < off {
			best, off = size, d
		}
	}
	if off > math.Log(widest) {
		have := "there is none for its supply and line law"
		if len(draws) > 0 {
			have = "those for its supply draw " + strings.Join(draws, ", ") + " at full"
		}
		return "", fmt.Errorf("kinds: profile %s: %w: %s: test it on a rig, or judge recorded traces", p.Name, ErrNoUnit, have)
	}
	return best, nil
}

// fullCurrent is what the profile's good units draw at full, in A.
func fullCurrent(p *profiles.Profile) float64 {
	sum, n := 0.0, 0.0
	for _, g := range p.Good {
		if len(g.Up) > 0 && g.Up[len(g.Up)-1] > 0 {
			sum, n = sum+g.Up[len(g.Up)-1], n+1
		}
	}
	if n == 0 {
		return p.Limits.Current_A / 1.5 // as learning sets the limit
	}
	return sum / n
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
