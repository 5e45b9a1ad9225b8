package profiles

import (
	"fmt"
	"math"

	"dutybench/profiles/strict"
)

// Functions of a cavity.
const (
	CavitySupply = "supply" // plus
	CavityGround = "ground" // minus
	CavityLine   = "line"   // the command
	CavityReturn = "return" // the unit's own signal
	CavityUnused = "unused"
)

// SeenFrom are the sides from which a connector is drawn: into the open face,
// or at the wires' backs.
const (
	MatingSide = "mating side"
	WireSide   = "wire side"
)

// Connector is the unit's plug, for whoever wires it. Its zero value is none.
type Connector struct {
	Name     string // words, such as "3-way, sealed"
	SeenFrom string // MatingSide or WireSide: where rows and columns are counted from
	Cavities []Cavity
}

// Cavity is one place of a connector.
type Cavity struct {
	Label       string // as on the housing, such as "1"
	Function    string
	Wire_mm2    float64 // least cross-section of its wire; 0: not stated
	Colour      string  // of the unit's own lead
	Row, Column int     // from 1, as seen from the connector's side
}

// Grid is the cavities by row and column, nil where there is none.
func (c Connector) Grid() [][]*Cavity {
	rows, columns := 0, 0
	for _, v := range c.Cavities {
		rows, columns = max(rows, v.Row), max(columns, v.Column)
	}
	grid := make([][]*Cavity, rows)
	for r := range grid {
		grid[r] = make([]*Cavity, columns)
	}
	for i, v := range c.Cavities {
		if v.Row >= 1 && v.Column >= 1 {
			grid[v.Row-1][v.Column-1] = &c.Cavities[i]
		}
	}
	return grid
}

type fileConnector struct {
	Name     string       `toml:"name,omitempty" comment:"such as \"3-way, sealed\""`
	SeenFrom string       `toml:"seen_from" oneof:"mating side|wire side" comment:"where rows and columns are counted from"`
	Cavities []fileCavity `toml:"cavity"`
}

// A connector larger than this grid is not one of a unit with its own board
// (chosen).
type fileCavity struct {
	Label    string           `toml:"label"`
	Function string           `toml:"function" oneof:"supply|ground|line|return|unused"`
	Wire     *strict.Quantity `toml:"wire,omitempty"`
	Colour   string           `toml:"colour,omitempty"`
	Row      int              `toml:"row" min:"1" max:"12"`
	Column   int              `toml:"column" min:"1" max:"24"`
}

// mm2 is the unit of a wire's cross-section.
const mm2 = "mm2"

func (f fileConnector) connector() Connector {
	c := Connector{Name: f.Name, SeenFrom: f.SeenFrom}
	for _, v := range f.Cavities {
		k := Cavity{Label: v.Label, Function: v.Function, Colour: v.Colour, Row: v.Row, Column: v.Column}
		if v.Wire != nil {
			k.Wire_mm2 = v.Wire.X
		}
		c.Cavities = append(c.Cavities, k)
	}
	return c
}

func fileConnectorOf(c Connector) fileConnector {
	f := fileConnector{Name: c.Name, SeenFrom: c.SeenFrom}
	for _, v := range c.Cavities {
		k := fileCavity{Label: v.Label, Function: v.Function, Colour: v.Colour, Row: v.Row, Column: v.Column}
		if v.Wire_mm2 != 0 {
			k.Wire = &strict.Quantity{X: v.Wire_mm2, Unit: mm2}
		}
		f.Cavities = append(f.Cavities, k)
	}
	return f
}

// checkConnector holds the cavities against each other.
func (d *decoder) checkConnector(n *strict.Node, c fileConnector) {
	labels, places := map[string]int{}, map[[2]int]int{}
	has := map[string]int{}
	for i, v := range c.Cavities {
		at := n.At("cavity", i)
		if !strict.IsPlain(v.Label) {
			d.Add(at.At("label").Place, "label is %q: give the cavity a name of visible characters, as on the housing", strict.Clip(v.Label))
		}
		if j, twice := labels[v.Label]; twice {
			d.Add(at.At("label").Place, "cavity %q stands twice, first as [[connector.cavity]] number %d: each cavity once", strict.Clip(v.Label), j+1)
		}
		labels[v.Label] = i
		place := [2]int{v.Row, v.Column}
		if j, twice := places[place]; twice {
			d.Add(at.At("row").Place, "row %d, column %d holds cavity %q already: give each its own place", v.Row, v.Column, strict.Clip(c.Cavities[j].Label))
		}
		places[place] = i
		if w := v.Wire; w != nil && (w.Unit != mm2 || !(w.X > 0 && w.X <= 35) || math.IsNaN(w.X)) {
			d.Add(at.At("wire").Place, "wire is %v %s: give the cross-section as \"0.75 mm2\", up to 35 mm2", w.X, w.Unit)
		}
		has[v.Function]++
	}
	for _, must := range []string{CavitySupply, CavityGround, CavityLine} {
		if has[must] == 0 {
			d.Add(n.Place, "[connector] has no cavity for %s: a unit needs supply, ground and line to be tested", must)
		}
	}
}

// ConnectorTOML is a connector as a profile holds it, to be pasted into one.
// Functions that are not known yet are for the person to fill in.
func ConnectorTOML(c Connector) (string, error) {
	data, err := strict.Encode("", "", &struct {
		Connector fileConnector `toml:"connector" comment:"The unit's plug."`
	}{fileConnectorOf(c)})
	if err != nil {
		return "", fmt.Errorf("profiles: the connector cannot be written: %w", err)
	}
	return string(data), nil
}
