package positioner

import (
	"fmt"
	"math"

	"dutybench/bench/result"
)

// views are what a person at the bench looks at: places reached over places asked
// for, both ways, and the current along the travel.
func (d *detail) views() (out []result.View) {
	percent := result.Axis{Label: "position asked for", Unit: "%"}
	reached := result.View{Name: "reached", Title: "Position reached", X: percent, Y: result.Axis{Label: "position reached", Unit: "%"}}
	for _, up := range []bool{true, false} {
		l := result.ViewLine{Name: direction(up)}
		for _, p := range d.reached() {
			if p.up == up && len(l.X) < result.MostViewPoints {
				l.X, l.Y = append(l.X, p.asked), append(l.Y, p.reached)
			}
		}
		if len(l.X) > 1 {
			reached.Lines = append(reached.Lines, l)
		}
	}
	if len(reached.Lines) > 0 {
		out = append(out, reached)
	}
	current := result.View{Name: "along", Title: "Current along the travel", X: result.Axis{Label: "position", Unit: "%"}, Y: result.Axis{Label: "current", Unit: "A"}}
	drawn := map[bool]int{}
	for _, a := range d.along {
		if n := drawn[a.up]; len(a.bins.Place_pct) > 1 && n < 2 {
			drawn[a.up]++
			current.Lines = append(current.Lines, result.ViewLine{Name: fmt.Sprintf("%s %d", direction(a.up), n+1), X: cap400(a.bins.Place_pct), Y: cap400(a.bins.Current_A)})
		}
	}
	if len(current.Lines) > 0 {
		if !math.IsNaN(d.binding) {
			current.Marks = append(current.Marks, result.ViewMark{X: d.binding, Label: "highest"})
		}
		out = append(out, current)
	}
	return out
}

func cap400(x []float64) []float64 { return x[:min(len(x), result.MostViewPoints)] }

func direction(up bool) string {
	if up {
		return "up"
	}
	return "down"
}
