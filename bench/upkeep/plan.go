package upkeep

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"dutybench/bench/plot"
)

// Plan is a gauge study: so many units, each mounted and the loop filled so
// many times, and tested so many times in each filling. It is a file beside the
// records, and which tests are done follows from the records alone: a study may
// rest for days, and goes on where it stood after a power cut.
type Plan struct {
	Name     string    `toml:"name" json:"name" comment:"of the study; it begins the name of each filling"`
	Made     time.Time `toml:"made" json:"made"`
	Seed     uint64    `toml:"seed" json:"seed" comment:"draws the order of the fillings"`
	Units    []string  `toml:"units" json:"units" comment:"serials"`
	Fillings int       `toml:"fillings" json:"fillings" comment:"of each unit: taken off, mounted, the loop filled and bled again"`
	Repeats  int       `toml:"repeats" json:"repeats" comment:"tests in each filling, with nothing touched between them"`
	Rig      string    `toml:"rig" json:"rig" comment:"as --rig names it"`
	Profile  string    `toml:"profile" json:"profile" comment:"as --profile names it"`
}

// Mount is one filling: a unit mounted, and the loop filled and bled.
type Mount struct {
	Number int    `json:"number"` // in the order in which they are made, from 1
	Unit   string `json:"unit"`
	// Filling counts those of this unit, from 1; Label is what its records
	// bear as the name of the filling.
	Filling int    `json:"filling"`
	Label   string `json:"label"`
}

// Most of each; all chosen, beyond what anyone would do by hand.
const mostUnits, mostFillings, mostRepeats = 50, 20, 20

// Check refuses what is no plan.
func (p *Plan) Check() error {
	switch {
	case strings.TrimSpace(p.Name) == "":
		return fmt.Errorf("upkeep: the plan of the study has no name; plan it anew")
	case len(p.Units) < 2 || len(p.Units) > mostUnits:
		return fmt.Errorf("upkeep: a study of %d units: give 2 to %d; five or more tell the units' own spread", len(p.Units), mostUnits)
	case p.Fillings < 2 || p.Fillings > mostFillings:
		return fmt.Errorf("upkeep: a study of %d fillings: give 2 to %d; three is usual", p.Fillings, mostFillings)
	case p.Repeats < 2 || p.Repeats > mostRepeats:
		return fmt.Errorf("upkeep: a study of %d tests a filling: give 2 to %d", p.Repeats, mostRepeats)
	}
	if err := plain(p.Name); err != nil {
		return fmt.Errorf("upkeep: the name %q of the study %w; plan it anew", p.Name, err)
	}
	for i, u := range p.Units {
		if err := plain(u); err != nil {
			return fmt.Errorf("upkeep: unit %q of the study %w; plan it anew", u, err)
		}
		if strings.TrimSpace(u) == "" || slices.Contains(p.Units[:i], u) {
			return fmt.Errorf("upkeep: unit %q of the study is named twice, or has no name", u)
		}
	}
	return nil
}

// plain says, to follow the name, why a name would not be the same in a record
// or trace; nil: it would.
func plain(name string) error {
	if strings.Join(strings.Fields(name), " ") != name || plot.Plain(name) != name || !utf8.ValidString(name) {
		return errors.New("has blanks at its ends or in a row, or letters that no terminal shows")
	}
	return nil
}

// Tests is how many the study has.
func (p *Plan) Tests() int { return len(p.Units) * p.Fillings * p.Repeats }

// Mounts are all fillings in the order in which they are made: at random, so
// that what drifts over the days falls on no unit more than on others. The same
// seed gives the same order.
func (p *Plan) Mounts() []Mount {
	var out []Mount
	for _, u := range p.Units {
		for f := range p.Fillings {
			out = append(out, Mount{Unit: u, Filling: f + 1})
		}
	}
	rng := rand.New(rand.NewPCG(p.Seed, 0x6761756765))
	rng.Shuffle(len(out), func(i, j int) { out[i], out[j] = out[j], out[i] })
	seen := map[string]int{}
	for i := range out {
		// Fillings of a unit are numbered as they come.
		seen[out[i].Unit]++
		out[i].Number, out[i].Filling = i+1, seen[out[i].Unit]
		out[i].Label = fmt.Sprintf("%s%d", p.label(), i+1)
	}
	return out
}

// label begins the name of each filling.
func (p *Plan) label() string { return "study " + p.Name + ", filling " }

// Progress is how far a study is.
type Progress struct {
	Plan   Plan
	Mounts []Mount
	// Done holds the tests of each filling, in their order; those beyond the
	// plan are left out, the first ones count.
	Done [][]Test
	// Extra counts tests that bear the study's name and belong to none of its
	// fillings, or were made on another bench or profile than the first.
	Extra int
}

// Follow finds which tests of a plan are done.
func Follow(p Plan, tests []Test) (*Progress, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	g := &Progress{Plan: p, Mounts: p.Mounts()}
	g.Done = make([][]Test, len(g.Mounts))
	var setting *Setting
	rig := ""
	for _, t := range tests {
		if !strings.HasPrefix(t.Filling, p.label()) {
			continue
		}
		i := slices.IndexFunc(g.Mounts, func(m Mount) bool { return m.Label == t.Filling && m.Unit == t.Unit })
		switch {
		case i < 0, setting != nil && (setting.changed(t.Setting) != "" || rig != t.Rig):
			g.Extra++
			continue
		case setting == nil:
			s := t.Setting
			setting, rig = &s, t.Rig
		}
		if len(g.Done[i]) < p.Repeats {
			g.Done[i] = append(g.Done[i], t)
		} else {
			g.Extra++
		}
	}
	return g, nil
}

// Next is the filling whose test comes next, and which test of it, from 1; ok
// is false when all are done.
func (g *Progress) Next() (m Mount, repeat int, ok bool) {
	for i, done := range g.Done {
		if len(done) < g.Plan.Repeats {
			return g.Mounts[i], len(done) + 1, true
		}
	}
	return Mount{}, 0, false
}

// Made is how many tests are done.
func (g *Progress) Made() (n int) {
	for _, d := range g.Done {
		n += len(d)
	}
	return n
}

// values are those of one finding as [unit][filling][repeat], in the order of
// the plan's units.
func (g *Progress) values(finding string) (out [][][]float64, missing string) {
	out = make([][][]float64, len(g.Plan.Units))
	for i, m := range g.Mounts {
		var cell []float64
		for _, t := range g.Done[i] {
			f := t.Finding(finding)
			if f == nil || f.Value == nil {
				return nil, fmt.Sprintf("not measured in record %s", t.ID)
			}
			cell = append(cell, *f.Value)
		}
		u := slices.Index(g.Plan.Units, m.Unit)
		out[u] = append(out[u], cell)
	}
	return out, ""
}

// tests are all that are done, in the order of the plan.
func (g *Progress) tests() (out []Test) {
	for _, d := range g.Done {
		out = append(out, d...)
	}
	return out
}
