// Package plot draws measurements: one model of a figure, drawn on whatever
// implements Canvas. An SVG canvas is here; a page of a PDF is another. What
// a terminal can show is drawn apart from it, in characters.
//
// Figures tell things apart by shape and by words at the line's end, never by
// colour alone. NaN and infinite values are left out; a figure without a
// single value says that there is nothing to draw.
package plot

import "math"

// Figure is one or more panels above each other that share the x axis.
type Figure struct {
	// Title and Desc are for people who do not see the figure; they are not
	// drawn.
	Title, Desc string
	X           Axis
	Panels      []Panel
	// Text is the size of the lettering in canvas units; 0 means 12.
	Text float64
}

// Axis is what stands along one side.
type Axis struct {
	// Label is the quantity and Unit its unit, such as "current" and "A".
	Label, Unit string
	// Range fixes the ends; nil means that they follow the values.
	Range *Range
	// Whole has ticks at whole numbers alone, as counts ask for.
	Whole bool
	// Zero keeps zero on the axis, and lets noise of up to 3 % of the range
	// beyond zero end at it.
	Zero bool
	// AtLeast is a value that the axis reaches even when no value does; 0
	// asks for nothing.
	AtLeast float64
	// Held, in units of the x axis, lets peaks shorter than this run off the
	// top when they would flatten all else. Each is marked with an arrow and
	// the highest with its value. 0 keeps every value on the axis.
	Held float64
}

// Range is a lowest and a highest value.
type Range struct{ Low, High float64 }

// Panel is one frame with what is drawn in it, first mark lowest.
type Panel struct {
	Y     Axis
	Marks []Mark
	// Share of the figure's height against the other panels; 0 means 1.
	Share float64
}

// Mark is something drawn in a panel: Band, Line, Points, Region or Marker.
type Mark interface {
	// widen adds the mark's finite values to the extents of the axes.
	widen(x, y *extent)
	// draw puts the mark into the frame.
	draw(c Canvas, f *frame)
	// legend says where the mark's words belong; ok is false without a name.
	legend(f *frame) (l label, ok bool)
}

// extent is the range of the finite values seen.
type extent struct {
	low, high float64
	any       bool
}

func (e *extent) add(vs ...float64) {
	for _, v := range vs {
		if !finite(v) {
			continue
		}
		if !e.any {
			e.low, e.high, e.any = v, v, true
			continue
		}
		e.low, e.high = min(e.low, v), max(e.high, v)
	}
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// shortest is the length that all the slices have.
func shortest(a []float64, more ...[]float64) int {
	n := len(a)
	for _, m := range more {
		n = min(n, len(m))
	}
	return n
}
