package sim

import "math/rand/v2"

// Positioned is a unit that tells where it stands by a voltage. One that tells
// it by a PWM is a Returner.
type Positioned interface {
	// Position is the output's open voltage and the resistance behind it.
	Position() (volt, ohm float64)
}

// Position passes on what a two-wire unit tells.
func (s *switched) Position() (volt, ohm float64) {
	if p, ok := s.body.(Positioned); ok {
		return p.Position()
	}
	return 0, 0
}

// Return passes on what a two-wire unit tells; a level that stays low where it
// tells nothing.
func (s *switched) Return() (frequency_Hz, high float64) {
	if r, ok := s.body.(Returner); ok {
		return r.Return()
	}
	return 0, 0
}

// sensed is what the rig reads of a unit beside current and supply: the divided
// position, and the wire between a two-wire unit and its switch.
type sensed struct {
	// At which input of the voltage converter each is; 0: at none.
	positionInput, nodeInput int
	means                    bool    // the converter takes means, so integrals are kept
	positionLoad_Ohm         float64 // what the rig's divider puts on the output
	positionRatio, nodeRatio float64 // output over input of the dividers
	positionFault            positionFault
	position_Vs, node_Vs     float64 // integrals from time zero, at the plug
}

// positionFault is what is wrong with the wire of the position.
type positionFault int

const (
	positionWhole   positionFault = iota
	positionOpen                  // off: the divider pulls the input to ground
	positionShorted               // against the supply at the plug
)

// position_V is at the rig's end of the wire.
func (w *World) position_V() float64 {
	switch w.sensed.positionFault {
	case positionOpen:
		return 0
	case positionShorted:
		return w.plug_V
	}
	p, ok := w.unit.(Positioned)
	if !ok {
		return 0
	}
	v, ohm := p.Position()
	load := w.sensed.positionLoad_Ohm
	return v * load / (load + ohm)
}

// node_V is the level between the load and its switch. With an empty socket the
// divider pulls it to ground, but where a switch on the high side feeds it.
func (w *World) node_V() float64 {
	if s, ok := w.unit.(*switched); ok {
		return s.node_V
	}
	if _, empty := w.unit.(Unplugged); empty && w.Driver.HighSide && w.conducts(w.stepped) {
		return w.plug_V
	}
	return 0
}

// Node_V is the level of the wire between a two-wire unit and its switch.
func (w *World) Node_V() float64 {
	w.settle(w.now)
	return w.node_V()
}

// Position_V is the level at the rig's end of the position's wire.
func (w *World) Position_V() float64 {
	w.settle(w.now)
	return w.position_V()
}

// sense adds up what converters that take means read.
func (w *World) sense(dt_s float64) {
	s := &w.sensed
	if !s.means {
		return
	}
	s.position_Vs += w.position_V() * dt_s
	s.node_Vs += w.node_V() * dt_s
}

// newSensed is what the options ask for. The dividers' errors are drawn apart,
// so that the rest of the bench is the same for a seed.
func newSensed(o Options) sensed {
	rng := rand.New(rand.NewPCG(o.Seed, 0x706f736974696f6e))
	within := func(limit float64) float64 { return limit * (2*rng.Float64() - 1) }
	s := sensed{positionInput: o.PositionInput, nodeInput: o.NodeInput, positionLoad_Ohm: o.PositionLoad_Ohm,
		means: o.Current == CurrentINA226 || o.Current == CurrentINA219}
	if s.positionLoad_Ohm == 0 {
		s.positionLoad_Ohm = DividerTop_Ohm + DividerBottom_Ohm
	}
	if o.Current == CurrentMCP3208 {
		if s.positionInput == 0 && s.nodeInput != MCPPosition {
			s.positionInput = MCPPosition
		}
		if s.nodeInput == 0 && s.positionInput != MCPNode {
			s.nodeInput = MCPNode
		}
	}
	s.means = s.means && (s.positionInput > 0 || s.nodeInput > 0)
	s.positionRatio, s.nodeRatio = 1/dividerRatio, 1/dividerRatio
	if o.PositionRatio > 0 {
		s.positionRatio = 1 / o.PositionRatio
	}
	if o.NodeRatio > 0 {
		s.nodeRatio = 1 / o.NodeRatio
	}
	if !o.Ideal { // both resistors of each, as NewBench has it
		for _, r := range []*float64{&s.positionRatio, &s.nodeRatio} {
			*r *= 1 + (within(DividerTolerance)-within(DividerTolerance))*10/11
		}
	}
	return s
}
