package positioner

import (
	"math"

	"dutybench/bench/kind"
	"dutybench/signal/stat"
)

// measureSmall finds the dead band from small steps that turn round: how far the
// command goes back until the unit follows. The step in which it followed tells
// it to half a step; where it never followed the band is at least as wide as what
// was tried. Where in its band the unit stood when the command turned is chance, so
// one reading is anything from nought to the whole band: too little says nothing.
func (d *detail) measureSmall(m *kind.Measured) {
	var found, steps []float64
	way := 0.0    // of the last motion
	turned := 0.0 // how far the command has gone back since
	back := false // it has turned
	tried := 0.0  // in vain, at the end of a run
	for _, x := range d.moves {
		place, by := d.asked(x)
		small := !math.IsNaN(by) && math.Abs(by) <= smallStep && by != 0 && inside(place)
		if !small {
			if back && turned > 0 {
				tried = max(tried, turned)
			}
			back, turned = false, 0
			if x.Moved {
				way = x.Way()
			}
			continue
		}
		switch {
		case way == 0 || by*way > 0: // on the same way
			if back && turned > 0 { // it had turned round, in vain, and goes on
				back, turned = false, 0
			}
			if x.Moved && x.Way()*by > 0 {
				way = x.Way()
			}
		default:
			back = true
			turned += math.Abs(by)
			if x.Moved && x.Way()*by > 0 {
				found, steps = append(found, turned-math.Abs(by)/2), append(steps, math.Abs(by))
				way, back, turned = x.Way(), false, 0
			}
		}
	}
	if back && turned > 0 {
		tried = max(tried, turned)
	}
	switch {
	case len(found) > 0:
		add(m, DeadBand, "%", stat.Quantity{Value: stat.Median(found)}.With("size of the steps", stat.Median(steps)/math.Sqrt(12), 0))
	case tried > 0:
		add(m, DeadBand, "%", stat.Quantity{Value: tried}.With("it never followed: at least", tried/math.Sqrt(12), 0))
	case !d.told:
		miss(m, DeadBand, "%", noPosition)
	default:
		miss(m, DeadBand, "%", "no small steps of the command, one way and back")
	}
}
