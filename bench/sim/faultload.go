package sim

import (
	"math/rand/v2"
	"slices"
	"time"
)

// What a fault of the bench needs to be there, in BenchFault.Needs.
const (
	NeedsI2C      = "i2c"      // an INA226 and an ADS1115
	NeedsLoad     = "load"     // a unit that the bench switches
	NeedsPosition = "position" // a unit that tells its position
)

// BenchFaultsOf lists the faults that a bench with these parts can be armed
// with: those that need nothing, and those that need one of them.
func BenchFaultsOf(parts ...string) []BenchFault {
	var out []BenchFault
	for _, f := range armables() {
		if f.Needs == "" || slices.Contains(parts, f.Needs) {
			out = append(out, f.BenchFault)
		}
	}
	return out
}

// lacks says which part a fault needs that the bench has not; empty: none.
func (b *Bench) lacks(needs string) string {
	_, switched := b.World.unit.(*switched)
	switch {
	case needs == NeedsI2C && (b.MCP320x != nil || b.INA219 != nil):
		return "an INA226 and an ADS1115"
	case needs == NeedsLoad && !switched:
		return "a unit in its socket that it switches itself"
	case needs == NeedsPosition && !b.World.tellsPosition():
		return "a unit in its socket that tells its position"
	}
	return ""
}

// tellsPosition says that the unit does, in one way or the other.
func (w *World) tellsPosition() bool {
	u := any(w.unit)
	if s, ok := u.(*switched); ok {
		u = s.body
	}
	_, volts := u.(Positioned)
	_, edges := u.(Returner)
	return volts || edges
}

// loadFaults are those of the load switch, its free-wheel path and the wire of
// the position.
func loadFaults() []armable {
	driver := func(change func(d *Driver, severity float64)) func(*Bench, float64, *rand.Rand) func() {
		return func(b *Bench, severity float64, _ *rand.Rand) func() {
			was := b.World.Driver
			change(&b.World.Driver, severity)
			return func() { b.World.Driver = was }
		}
	}
	position := func(f positionFault) func(*Bench, float64, *rand.Rand) func() {
		return func(b *Bench, _ float64, _ *rand.Rand) func() {
			b.World.sensed.positionFault = f
			return func() { b.World.sensed.positionFault = positionWhole }
		}
	}
	return []armable{
		{BenchFault: BenchFault{Name: "load-welded", Side: sideBench, Needs: NeedsLoad,
			Line: "the load switch conducts, whatever it is told", Half: "for 2 s", Full: "for ever"},
			lasts: spell(2 * time.Second), set: driver(func(d *Driver, _ float64) { d.StuckOn = true })},
		{BenchFault: BenchFault{Name: "load-dead", Side: sideBench, Needs: NeedsLoad,
			Line: "the load switch does not close, or opens and stays open", Half: "for 2 s", Full: "for ever"},
			lasts: spell(2 * time.Second), set: driver(func(d *Driver, _ float64) { d.StuckOff = true })},
		// A joint of the diode's that heats; then the switch breaks down at each
		// opening.
		{BenchFault: BenchFault{Name: "diode-open", Side: sideBench, Needs: NeedsLoad,
			Line: "the free-wheel path is bad or open", Half: "a joint of 2 ohm in it", Full: "open: the switch's own breakdown takes the coil's current"},
			set: driver(func(d *Driver, severity float64) {
				if severity >= 1 {
					d.Diode = false
					return
				}
				d.FreeWheel.Ohm += between(severity, 2, 20)
			})},
		// In the seen wiring the short lies beside shunt and unit: fuse and supply
		// feel it, the shunt does not.
		{BenchFault: BenchFault{Name: "diode-short", Side: sideBench, Needs: NeedsLoad,
			Line: "the free-wheel diode has broken down, or sits the wrong way round", Half: "5 ohm", Full: "0.05 ohm"},
			set: driver(func(d *Driver, severity float64) { d.Short_Ohm = between(severity, 5, 0.05) })},
		{BenchFault: BenchFault{Name: "position-open", Side: sideWiring, Needs: NeedsPosition,
			Line: "the wire of the position is off the plug", Half: "for 0.2 s", Full: "for ever"},
			lasts: spell(200 * time.Millisecond), set: position(positionOpen)},
		{BenchFault: BenchFault{Name: "position-short", Side: sideWiring, Needs: NeedsPosition,
			Line: "the wire of the position touches the supply at the plug", Half: "for 0.2 s", Full: "for ever"},
			lasts: spell(200 * time.Millisecond), set: position(positionShorted)},
	}
}
