package result

import "math"

// View is a picture of what a unit did, beside its curve: lines over one axis,
// such as a coil's current at switch-on or a positioner's reached position.
type View struct {
	Name  string     `json:"name"` // one word
	Title string     `json:"title"`
	X     Axis       `json:"x"`
	Y     Axis       `json:"y"`
	Lines []ViewLine `json:"lines"`
	Marks []ViewMark `json:"marks,omitempty"`
}

// MostViewPoints is how many points a line of a view has at most, so that a
// result stays small enough to be kept, sent and drawn.
const MostViewPoints = 400

// Axis is what is drawn along one.
type Axis struct {
	Label string `json:"label"`
	Unit  string `json:"unit,omitempty"`
}

// ViewLine is one line; Low and High, where given, are what good units do there.
type ViewLine struct {
	Name string    `json:"name"`
	X    []float64 `json:"x"`
	Y    []float64 `json:"y"`
	Low  []float64 `json:"low,omitempty"`
	High []float64 `json:"high,omitempty"`
}

// ViewMark is a place on the X axis where something happened.
type ViewMark struct {
	X     float64 `json:"x"`
	Label string  `json:"label"`
}

// Clean is a view as JSON can hold it: points that are no numbers are left out,
// with how many there were; a band that is not known along the whole of its line
// is; and of longer lines as many points as a view may have.
func (v View) Clean() (out View, lost int) {
	out = v
	out.Lines, out.Marks = nil, nil
	for _, l := range v.Lines {
		n := min(len(l.X), len(l.Y))
		c := ViewLine{Name: l.Name, X: []float64{}, Y: []float64{}}
		step := max(1, (n+MostViewPoints-1)/MostViewPoints)
		low, high := len(l.Low) >= n, len(l.High) >= n
		for i := 0; i < n; i += step {
			if !isNumber(l.X[i]) || !isNumber(l.Y[i]) {
				lost++
				continue
			}
			c.X, c.Y = append(c.X, l.X[i]), append(c.Y, l.Y[i])
			if low = low && isNumber(l.Low[i]); low {
				c.Low = append(c.Low, l.Low[i])
			}
			if high = high && isNumber(l.High[i]); high {
				c.High = append(c.High, l.High[i])
			}
		}
		if !low {
			c.Low = nil
		}
		if !high {
			c.High = nil
		}
		out.Lines = append(out.Lines, c)
	}
	if out.Lines == nil {
		out.Lines = []ViewLine{}
	}
	for _, m := range v.Marks {
		if isNumber(m.X) {
			out.Marks = append(out.Marks, m)
		} else {
			lost++
		}
	}
	return out, lost
}

func isNumber(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
