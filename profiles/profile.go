// Package profiles holds what good units of a type do: the format, its
// strict reading and writing, the revision and hash, and the built-ins.
//
// A profile has three parts: what the type needs in order to run (command,
// supply, limits), a section of its kind's own ([pump] and so on, read by
// that kind), and what good units measured (good units' rows, from which the
// judge takes means, spreads and limits) or, instead or in addition, limits
// stated by hand.
package profiles

import "time"

// Format is the version of the TOML format written here.
const Format = 1

// Profile is what a good unit of a type does.
type Profile struct {
	Format       int
	Name         string
	Revision     int
	Kind         string
	Title        string // one line for people
	PartRevision string // revision of the part that it holds for; empty: any
	Invented     bool   // true for built-ins: no real unit stands behind it
	Notes        []string

	Command  Command
	Supply   Supply
	Limits   Limits
	Return   Return   // how it reports on itself
	Position Position // how it tells where it stands
	Fixture  Fixture
	// Connector is the unit's plug; its zero value when the profile has none.
	Connector Connector
	Learned   Learned
	// Stated are limits written by hand; one for a finding replaces the limit
	// that the good units would give.
	Stated []Limit
	// Grid is the command duties, in percent and rising, at which Good.Up and
	// Good.Down hold plateau currents.
	Grid []float64
	Good []GoodUnit

	// Section is the kind's own part, a pointer to the struct that the kind
	// gave to Parse; nil when the file has none.
	Section any
	// SHA256 is the hash of the file's bytes, hex.
	SHA256 string
	// Source is the path, or "built-in".
	Source string
}

// Command is how the unit is told what to do.
type Command struct {
	Type         string  // Signal or Switched; other kinds of command are refused clearly
	Frequency_Hz float64 // nominal; 0, of a switched unit only: it is switched on and off
	Tolerance    float64 // relative, on the frequency
	Inverted     bool    // line duty runs against the command: line = 100 − command
	Drive        string  // of the signal: "open-drain" or "push-pull"
	PullUp_Ohm   float64 // of the unit itself; 0 none or not known
	PullUp_V     float64 // its open voltage at nominal supply; 0 not known
	Stop_pct     float64 // command duty at which the unit stands still
	Wake_pct     float64 // command duty from which it wakes
	Full_pct     float64 // command duty from which it runs at full
	// Reserved windows of line duty, which a test keeps out of but for the
	// stop command.
	Reserved []Window
	// Law maps line duty to command, for types whose wire follows a published
	// sheet: points of line duty and speed command, straight between; empty:
	// line duty and command are the same (or 100 − it when Inverted).
	Law []LawPoint
	// Missing says what the unit does without a valid command.
	Missing Missing
}

// Window is a range of duty in percent.
type Window struct{ From_pct, To_pct float64 }

// LawPoint is one point of a line-signal law.
type LawPoint struct{ Line_pct, Command_pct float64 }

// Missing is the behaviour without a command: "full", "stop", "hold", or
// "" for not known (then it is not tested).
type Missing struct{ Open, Low, High string }

// Supply the unit is tested at.
type Supply struct{ Nominal_V, Low_V, High_V float64 }

// Limits that the guard keeps.
type Limits struct {
	Current_A float64       // above this for longer than Time: trip
	Time      time.Duration // how long Current_A may be passed
	Peak_A    float64       // above this at any time but the charging peak: trip
	// Continuous_A is borne without end; of what is beyond, squared, Heat_A2s at
	// most, over time. Above Stall_A a unit may stand still for StallTime. 0: not stated.
	Continuous_A float64
	Heat_A2s     float64
	Stall_A      float64
	StallTime    time.Duration
	Charge_C     float64       // charge that a charging peak may take
	ChargeTime   time.Duration // and how long it may last
	DryRun       time.Duration // longest run without water; 0: none allowed beyond the test's own
	Rest         time.Duration // rest between two tests
	StartTimeout time.Duration // longest wait for a start
}

// Types of fixture.
const (
	Loop   = "loop"
	Bucket = "bucket"
	Vice   = "vice" // held dry
)

// Fixture is where the good units were measured.
type Fixture struct {
	Type       string // Loop, Bucket or Vice
	Bore_mm    float64
	Lift_m     float64
	Fluid      string
	LowTemp_C  float64
	HighTemp_C float64
	// Remount is what refilling and remounting changes in the current, a
	// relative standard deviation from a gauge study; 0 when none was made.
	Remount     float64
	Description string
}

// Learned says how the good units' rows came about.
type Learned struct {
	On          string // date, ISO 8601
	Units       int
	Provisional bool
	Rate_Hz     float64 // lowest sampling rate among the traces
	Supply_V    float64 // mean supply they ran at; 0 when not measured
	// Rigs that measured them, and the largest relative standard uncertainty
	// of current gain among those; 0 when not known.
	Rigs  []string
	GainU float64
	// Days, Fillings of the loop and part revisions that they come from; a
	// profile that has one only has not seen what differs from one to the
	// next. Nought or empty when the traces do not say.
	Days, Fillings int
	PartRevisions  []string
	// Own is the standard uncertainty that each measurement of a good unit had
	// of its own, the median over the units; the units' spread holds it.
	Own       []Value
	Program   string
	Statement []string // what so few units can and cannot support
}

// Limit is stated by hand. NaN means no limit on that side.
type Limit struct {
	Finding   string
	Unit      string
	Low, High float64
	Source    string
}

// GoodUnit is what one good unit measured. NaN means not measured.
type GoodUnit struct {
	Unit   string
	Trace  string    // SHA-256 of its trace
	Up     []float64 // A at Grid, duty rising
	Down   []float64 // A at Grid, duty falling; nil when never swept down
	Values []Value   // the kind's measurements by name
}

// Value is one named number with its unit.
type Value struct {
	Name string
	X    float64
	Unit string
}

// Get is the named measurement of a good unit; ok is false when it has none.
func (g GoodUnit) Get(name string) (x float64, ok bool) {
	for _, v := range g.Values {
		if v.Name == name {
			return v.X, true
		}
	}
	return 0, false
}
