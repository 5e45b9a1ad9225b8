package plot

import "strconv"

// Canvas is a surface to draw on. The origin is the upper left corner, x runs
// right and y runs down, and all lengths are in the same unit.
type Canvas interface {
	Line(from, to XY, s Stroke)
	Polyline(pts []XY, s Stroke)
	// Polygon closes and fills the outline; an empty fill leaves it open to
	// what lies below, a stroke of no width draws no edge.
	Polygon(pts []XY, fill Color, s Stroke)
	// Text stands on the baseline at the given point.
	Text(at XY, text string, f Font)
}

// XY is a point, on a canvas or in the units of the axes.
type XY struct{ X, Y float64 }

// Color is "#rrggbb"; empty means none.
type Color string

// RGB is the three parts of a colour; ok is false for none or a wrong one.
func (c Color) RGB() (r, g, b uint8, ok bool) {
	if len(c) != 7 || c[0] != '#' {
		return 0, 0, 0, false
	}
	v, err := strconv.ParseUint(string(c[1:]), 16, 24)
	if err != nil {
		return 0, 0, 0, false
	}
	return uint8(v >> 16), uint8(v >> 8), uint8(v), true
}

// The colours of figures. The three that carry lines and words stand out from
// white by more than 4.5 to 1.
const (
	Ink       Color = "#22303a" // words, frame
	Faint     Color = "#5d6b75" // tick words
	Grid      Color = "#d3dadd"
	Paper     Color = "#ffffff"
	BandTop   Color = "#d8e6dc" // what good units do
	BandRim   Color = "#86a892"
	bandWords Color = "#3f6a4e"
	First     Color = "#1f4e79" // the main line, the sweep up
	Second    Color = "#8c4a14" // the sweep down
	Third     Color = "#5b3b82" // markers
	Shade     Color = "#ece6f3" // regions
)

// Stroke is how a line looks. Dash is lengths of line and gap in turn.
type Stroke struct {
	Color Color
	Width float64
	Dash  []float64
}

// Anchor is which end of a text its point holds.
type Anchor int

// The anchors.
const (
	Start Anchor = iota
	Middle
	End
)

// Font is how a text looks.
type Font struct {
	Size   float64
	Color  Color
	Anchor Anchor
	Bold   bool
}

// TextWidth is about how wide a text comes out in a common sans-serif face,
// rather too wide than too narrow.
func TextWidth(s string, size float64) float64 {
	var em float64
	for _, r := range s {
		switch {
		case r == ' ' || r == '.' || r == ',' || r == 'i' || r == 'l' || r == 'j' || r == 't' || r == 'f' || r == '-':
			em += 0.34
		case r == 'm' || r == 'w' || r == 'M' || r == 'W' || r == '%':
			em += 0.9
		case r >= 'A' && r <= 'Z':
			em += 0.7
		case r > 0x2e80:
			em++
		default:
			em += 0.58
		}
	}
	return em * size
}
