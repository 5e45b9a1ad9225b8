package result

import "math"

// CheckState is how one check of the bench and its plug came out.
type CheckState string

// The states. Attention leaves the test to go on; a failed check ends it.
const (
	CheckOK       CheckState = "ok"
	CheckNotice   CheckState = "attention"
	CheckFailed   CheckState = "failed"
	CheckUnlooked CheckState = "not-measured"
)

// Check is one check of the bench, the plug and the wires before a test.
type Check struct {
	Name string `json:"name"`
	// Value in Unit; nil when not measured. Low and High are nil without a limit.
	Value *float64   `json:"value"`
	Unit  string     `json:"unit"`
	Low   *float64   `json:"low"`
	High  *float64   `json:"high"`
	State CheckState `json:"state"`
	// Sentence says what it means, or why it was not measured.
	Sentence string `json:"sentence"`
}

// NewCheck is a check with a value against limits; NaN stands for none. The
// state follows from them: failed outside the limits, not measured without a
// value.
func NewCheck(name string, value float64, unit string, low, high float64, sentence string) Check {
	c := Check{Name: name, Value: number(value), Unit: unit, Low: number(low), High: number(high), State: CheckOK, Sentence: sentence}
	switch {
	case c.Value == nil:
		c.State = CheckUnlooked
	case value < low || value > high:
		c.State = CheckFailed
	}
	return c
}

// number is nil for what is none.
func number(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}
