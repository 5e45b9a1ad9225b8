package upkeep

import (
	"time"

	"dutybench/signal/quality"
)

// How the check unit is charted.
const (
	// Baseline is how many first tests of a phase the limits rest on (chosen).
	// Limits allow for what so few do not know: 20 know the standard deviation
	// to 21 % (quality.SigmaError). Of four findings one that has moved by two
	// standard deviations is then seen within 7 tests on half of all benches and
	// within 23 on nine of ten; with ten first tests half of them need more than 90,
	// with forty it is 5 and 9, but those take two months of working days (Seen).
	Baseline = 20
	// FalseAlarms: the whole bench, all findings and ways of looking together,
	// gives one false alarm in so many tests at most, half a year of working
	// days (chosen). Simulated with a baseline of 20: one in 180. Limits for one
	// in 370 that do not allow for the baseline gave one in 17.
	FalseAlarms = 100
	// Weight of the newest test in the average for drift (chosen). With exact
	// limits for four findings it would show a shift of one standard deviation
	// after 18 tests and one of two after 5, single values after 279 and 22; a
	// weight of 0.1 15 and 6, one of 0.4 35 and 5.
	Weight = 0.2
)

// shift, in standard deviations, that the run lengths are told for.
const shift = 2

// ways in which each finding is looked at: value, range, drift.
const ways = 3

// Alarm is one test that lies out in one finding.
type Alarm struct {
	When    time.Time `json:"when"`
	Record  string    `json:"record"`
	Finding string    `json:"finding,omitempty"`
	// Kind is value, range, drift or verdict.
	Kind string `json:"kind"`
	// Sentence says what lies where, Next one next step.
	Sentence string `json:"sentence"`
	Next     string `json:"next_step"`
}

// Phase is a stretch of tests with one setting.
type Phase struct {
	From  int    `json:"from"` // place of its first test
	Why   string `json:"why,omitempty"`
	Tests int    `json:"tests"`
}

// Point is one test in a chart. NaN is not measured, or not known yet.
type Point struct {
	Value, Range, Average            float64
	Low, High                        float64 // of the value
	RangeHigh, AverageLow, AverageUp float64
	InBaseline, Out                  bool
}

// Limits are those of one finding in one phase.
type Limits struct {
	Mean, Sigma, Low, High, RangeHigh, AverageHalf float64
	// Capability of the check unit between the profile's limits; nil without.
	Capability *quality.Capability
}

// Chart is one finding over all tests.
type Chart struct {
	Finding string
	Unit    string
	Points  []Point
	Limits  []*Limits // by phase; nil: not enough tests yet
	Note    string    // why there are no limits in the last phase
}

// Other is a check unit besides the one that is charted.
type Other struct {
	Unit   string    `json:"unit"`
	When   time.Time `json:"when"` // of its newest test
	Record string    `json:"record"`
	Why    string    `json:"why"` // a clause
}

// Health is what a check unit says of the bench.
type Health struct {
	Unit, Rig string
	Simulated bool
	Tests     []Test
	Phases    []Phase
	Charts    []Chart
	Alarms    []Alarm // of all time, in their order
	// Out says that the newest test lies out: the bench is not to be trusted.
	Out bool
	// Open are alarms from before a phase began that nobody has put words to yet.
	Open []Alarm
	// Others are further check units of this rig that lay out when they were
	// tested last: another unit does not clear their alarm.
	Others []Other
	// Missing is how many tests the newest phase still lacks to its baseline.
	Missing  int
	Baseline int

	// Sigmas is how far the limits of single values lie out, L those of the
	// average for drift before what the baseline adds; ShiftValue and ShiftDrift
	// are how many tests either needs on average for a shift of two standard
	// deviations on a bench whose baseline came out exactly right. Seen says it for
	// any bench.
	Sigmas, L, ShiftValue, ShiftDrift float64
	// rate of false alarms of one finding in one way of looking.
	rate float64
}
