package plot

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// written records the words drawn at the left of a frame.
type written struct{ at []float64 }

func (*written) Line(XY, XY, Stroke)         {}
func (*written) Polyline([]XY, Stroke)       {}
func (*written) Polygon([]XY, Color, Stroke) {}
func (w *written) Text(at XY, _ string, f Font) {
	if f.Anchor == End && f.Color == Faint {
		w.at = append(w.at, at.Y)
	}
}

// However low a panel is, the words of its ticks do not lie on each other.
func TestTickWordsStandApart(t *testing.T) {
	for height := 80.0; height < 500; height += 7 {
		g := Figure{Panels: []Panel{
			{Y: Axis{Zero: true}, Share: 2, Marks: []Mark{Line{X: []float64{0, 1}, Y: []float64{0, 5.3}}}},
			{Y: Axis{Zero: true}, Marks: []Mark{Line{X: []float64{0, 1}, Y: []float64{-110, 130}}}},
		}}
		var w written
		g.Draw(&w, 760, height)
		for i := 1; i < len(w.at); i++ {
			if d := w.at[i-1] - w.at[i]; d > 0 { // the next panel begins further down
				assert.GreaterOrEqual(t, d, 12*0.9-1e-9, "height %g", height)
			}
		}
	}
}
