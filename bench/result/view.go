package result

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
