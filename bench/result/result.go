// Package result holds what a test says: findings, causes, verdict, and their
// JSON, which scripts rely on.
package result

import "slices"

// Schema is the version of the JSON object.
const Schema = 1

// Verdict on a unit.
type Verdict string

// The verdicts.
const (
	Pass      Verdict = "pass"
	Fail      Verdict = "fail"
	Undecided Verdict = "undecided"
)

// Outcome of one finding against its limits.
type Outcome string

// The outcomes. NotMeasured is never a pass.
const (
	Passed      Outcome = "pass"
	Failed      Outcome = "fail"
	Doubtful    Outcome = "undecided"
	NotMeasured Outcome = "not-measured"
)

// Cause names the side that has failed.
type Cause string

// The causes.
const (
	ControlBoard Cause = "control-board"
	Mechanical   Cause = "mechanical"
	Electrical   Cause = "electrical" // coil, winding or brushes of a unit without a board
	Hydraulic    Cause = "hydraulic"
	Wiring       Cause = "wiring" // the bench's side of the sense points
	Bench        Cause = "bench"
)

// Causes lists all causes in the order in which reports show them.
func Causes() []Cause {
	return []Cause{ControlBoard, Mechanical, Electrical, Hydraulic, Wiring, Bench}
}

// Finding is one measured value with its uncertainty against its limits.
type Finding struct {
	Name string `json:"name"`
	// Value in Unit; nil when not measured.
	Value *float64 `json:"value"`
	Unit  string   `json:"unit"`
	// Uncertainty is expanded with K; nil when not measured or a count.
	Uncertainty *float64 `json:"uncertainty"`
	K           float64  `json:"k,omitempty"`
	Low         *float64 `json:"low"`
	High        *float64 `json:"high"`
	Result      Outcome  `json:"result"`
	// Spread is how far the value lies from what good units do, in standard
	// deviations of good units; nil when the profile holds no spread.
	Spread *float64 `json:"spread_sd,omitempty"`
	// Note is one plain sentence for the person who reads it.
	Note string `json:"note,omitempty"`
	// Guard is the standard uncertainty that the limits do not contain yet,
	// from which guard bands are made.
	Guard float64 `json:"guard_u,omitempty"`
	// Conformity is the probability that the true value lies within the
	// limits, given the measured one and the uncertainty that the limits do not
	// contain (JCGM 106:2012, 7.4); nil without limits or such uncertainty.
	Conformity *float64 `json:"conformity,omitempty"`
	// Budget is where the uncertainty comes from.
	Budget []Part `json:"budget,omitempty"`
}

// Part is one line of an uncertainty budget, a standard uncertainty in the
// finding's unit.
type Part struct {
	Source string  `json:"source"`
	U      float64 `json:"u"`
	DoF    float64 `json:"dof,omitempty"`
	// Contained says that the limits, learned from measurements with the same
	// error, hold it already: it is not guarded for again.
	Contained bool `json:"contained,omitempty"`
}

// Risk is how sure a verdict is.
type Risk struct {
	// Rule is the decision rule in words, Purpose what it was chosen for.
	Purpose string `json:"purpose,omitempty"`
	Rule    string `json:"rule"`
	// Refusal is the rate at which the whole test, all findings together,
	// refuses good units.
	Refusal float64 `json:"good_refused"`
	// Measurement is the probability, at most, that errors of this
	// measurement alone turned the verdict; nil for undecided.
	Measurement *float64 `json:"turned_by_measurement,omitempty"`
	// Chance is the probability, at most, that a good unit lies as far out as
	// this one in any finding.
	Chance *float64 `json:"good_as_far,omitempty"`
	// Unseen are effects with the size from which on nine of ten units are
	// refused, each a clause: a pass leaves smaller ones open.
	Unseen []string `json:"unseen,omitempty"`
}

// CauseProbability is one cause with what speaks for and against it.
type CauseProbability struct {
	Cause       Cause    `json:"cause"`
	Probability float64  `json:"probability"`
	For         []string `json:"for,omitempty"`
	Against     []string `json:"against,omitempty"`
}

// Point is one plateau of the curve. Low and high are nil where the profile
// says nothing at that duty.
type Point struct {
	Duty        float64  `json:"duty_pct"`
	Direction   string   `json:"direction"` // "up" or "down"
	Current     float64  `json:"current_A"`
	Uncertainty float64  `json:"uncertainty_A"` // expanded, k = 2
	Low         *float64 `json:"low_A"`
	High        *float64 `json:"high_A"`
	Supply      *float64 `json:"supply_V,omitempty"`
}

// Attempt is one try of the unit's board to turn the rotor.
type Attempt struct {
	Start  float64 `json:"start_s"`
	Length float64 `json:"length_s"`
	Mean   float64 `json:"mean_A"`
	Peak   float64 `json:"peak_A"`
}

// Startup is what happened from the first command until the current settled.
type Startup struct {
	Attempts []Attempt `json:"attempts"`
	// Settled is the time in seconds, on the trace's own axis, from which the
	// current stays settled; nil when it never did.
	Settled *float64 `json:"settled_s"`
}

// Profile names what the unit was judged against.
type Profile struct {
	Name     string `json:"name"`
	Revision int    `json:"revision"`
	SHA256   string `json:"sha256"`
}

// Result is the outcome of one test, and the JSON object that scripts get.
type Result struct {
	Schema  int     `json:"schema"`
	Source  string  `json:"source"`
	Unit    string  `json:"unit,omitempty"`
	Kind    string  `json:"kind,omitempty"`
	Verdict Verdict `json:"verdict,omitempty"`
	// Cause is the likeliest cause when the unit did not pass; nil otherwise.
	Cause  *Cause             `json:"cause"`
	Causes []CauseProbability `json:"causes"`
	// Inseparable is the set of causes that this test cannot tell apart, when
	// there is one; SeparatedBy is the further test that would.
	Inseparable []Cause `json:"inseparable,omitempty"`
	SeparatedBy string  `json:"separated_by,omitempty"`
	// Sentence is verdict, cause and what to do in plain words.
	Sentence string `json:"sentence,omitempty"`
	// Carried names the findings that carry the cause.
	Carried   []string `json:"carried_by,omitempty"`
	Disproof  string   `json:"disproof,omitempty"`
	NextStep  string   `json:"next_step,omitempty"`
	Reusable  []string `json:"reusable,omitempty"`
	NotTested []string `json:"not_tested,omitempty"`

	// Risk of a wrong verdict; nil when nothing was judged.
	Risk *Risk `json:"risk,omitempty"`

	Profile  Profile   `json:"profile"`
	Findings []Finding `json:"findings"`
	Curve    []Point   `json:"curve"`
	Views    []View    `json:"views,omitempty"`
	Startup  Startup   `json:"startup"`
	Warnings []string  `json:"warnings"`
	// Surroundings says that nothing was decided because of how or where the
	// unit was tested.
	Surroundings bool `json:"surroundings,omitempty"`
	// Ended says why the test ended before its plan did; empty otherwise.
	Ended string `json:"ended,omitempty"`
	// Checks are those of bench, plug and wires before the test.
	Checks []Check `json:"checks,omitempty"`
	// Inspection is what the person saw and felt; nil when nobody was asked.
	Inspection *Inspection `json:"inspection,omitempty"`
	// Reports are what the unit said of itself on its return signal; they
	// decided nothing.
	Reports []UnitReport `json:"unit_reports,omitempty"`
	// Early says at which step a test was meant to end, as no further one was
	// expected to change the verdict; empty when the plan was carried out.
	Early  string `json:"ended_early,omitempty"`
	Record string `json:"record,omitempty"`
	// Error is set, and the rest empty, when the trace could not be read.
	Error string `json:"error,omitempty"`
}

// Exit is the exit status for one result: 0 pass, 3 fail, 4 undecided,
// 5 undecided because the bench or its wiring is at fault, 1 error.
func (r Result) Exit() int {
	switch {
	case r.Error != "":
		return 1
	case r.Verdict == Pass:
		return 0
	case r.Verdict == Fail:
		return 3
	case r.Cause != nil && atBench(*r.Cause) && !slices.ContainsFunc(r.Inseparable, func(c Cause) bool { return !atBench(c) }):
		return 5
	default:
		return 4
	}
}

// atBench says that a cause lies outside the unit, on the bench's side.
func atBench(c Cause) bool { return c == Wiring || c == Bench }

// WorstExit is the exit status of several units: the worst in the order
// 2, 1, 5, 3, 4, 0.
func WorstExit(codes ...int) int {
	for _, c := range []int{2, 1, 5, 3, 4} {
		for _, got := range codes {
			if got == c {
				return c
			}
		}
	}
	return 0
}
