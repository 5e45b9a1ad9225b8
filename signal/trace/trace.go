// Package trace holds the time-stamped samples of one test and reads and
// writes them as CSV.
//
// The format: UTF-8, comma, decimal point, LF or CRLF. Comment lines first,
// "# key: value"; then a header line; then rows in time order. Required
// columns are t_s, duty_pct (the command, 0 to 100) and current_A. An empty
// cell in any other column means not sampled. Keys and columns that are not
// known are kept, with a warning; an unknown column may hold text. Time that
// runs back, NaN, a value that is no number and a missing column are errors
// that name file, line and column.
package trace

import "math"

// Names of the columns that the bench knows. All but the first three are
// optional.
const (
	ColTime        = "t_s"
	ColDuty        = "duty_pct"
	ColCurrent     = "current_A"
	ColSupplyOn    = "supply_on"
	ColSupply      = "supply_V"
	ColLineDuty    = "line_duty_pct"
	ColLine        = "line_V"
	ColTemperature = "temperature_C"
	ColFlow        = "flow_l_per_min"
	ColPosition    = "position_pct"
	ColPositionV   = "position_V"
	ColDirection   = "direction"
)

// Keys of the comment lines that the bench knows.
const (
	KeyTrace      = "trace"
	KeyUnit       = "unit"
	KeyKind       = "kind"
	KeyDuty       = "duty"
	KeyNominal    = "supply_nominal_V"
	KeyPWM        = "pwm_frequency_Hz"
	KeySampleRate = "sample_rate_Hz"
	KeyEnded      = "ended"
	KeyLost       = "lost_samples"
	// Stretches of a long test may hold means over so many seconds instead of
	// samples.
	KeyThinned = "thinned_s"
	// Before which step enough was known, of a test that was meant to end then.
	KeyEnough = "enough"

	// Circumstances: when (ISO 8601), which revision of the part, which
	// filling of the loop, what with, in what, how long after the unit last
	// ran (seconds).
	KeyDate         = "date"
	KeyRig          = "rig"
	KeyPartRevision = "part_revision"
	KeyFilling      = "filling"
	KeyFluid        = "fluid"
	KeyFixture      = "fixture"
	KeyRested       = "rested_s"

	// What the bench knows of its own errors: relative standard uncertainties
	// of gain, and standard uncertainties of what is left of the offsets and
	// of the duty at the plug.
	KeyCurrentGainU   = "current_gain_u"
	KeyCurrentOffsetU = "current_offset_u_A"
	KeyVoltageGainU   = "voltage_gain_u"
	KeyDutyU          = "duty_u_pct"
	// KeyGauge begins a key for each finding that a gauge study of the bench
	// measured, such as gauge_full_current. Its value is four numbers: the
	// standard uncertainty of repeatability in the finding's unit, its degrees
	// of freedom, and the same of refilling and remounting.
	KeyGauge = "gauge_"
	// With 1: samples are means over the interval between them.
	KeyIntegrating = "x-integrating"
	// Of a unit that the bench switches itself: whether the current that
	// recirculates when the switch opens is in the readings (RecirculationSeen) or
	// not. Without the key it is not known.
	KeyRecirculation = "x-recirculation"
)

// What KeyRecirculation says.
const (
	RecirculationSeen   = "seen"
	RecirculationUnseen = "not-seen"
)

// Trace is the samples of one test.
type Trace struct {
	// Source is the path or name the trace was read from, as given.
	Source string
	// SHA256 is the hash of the original bytes, hex; empty for a trace that
	// was never bytes.
	SHA256 string
	// Meta is the comment lines in their order, unknown keys included. A key
	// may stand more than once.
	Meta []Entry
	// Columns in file order, the required ones included.
	Columns []Column
	// Warnings are what a reader should know but need not stop for, each a
	// whole sentence.
	Warnings []string
}

// Entry is one comment line, "# key: value".
type Entry struct{ Key, Value string }

// Column is one channel. NaN in Values means not sampled at that instant;
// the required columns never hold it.
type Column struct {
	Name   string
	Values []float64
	// Missing counts the NaN in Values.
	Missing int
	// Resolution is the smallest step of the channel in its own unit as far
	// as the values tell (or the converter stated); 0 when not known.
	Resolution float64
	// Text holds the cells of an unknown column that are no numbers; Values
	// is then nil.
	Text []string
}

// Len is the number of samples.
func (t *Trace) Len() int {
	if c := t.Column(ColTime); c != nil {
		return len(c.Values)
	}
	return 0
}

// Column finds a channel by name; nil when the trace has none.
func (t *Trace) Column(name string) *Column {
	for i := range t.Columns {
		if t.Columns[i].Name == name {
			return &t.Columns[i]
		}
	}
	return nil
}

// Values is the samples of a column, nil when the trace has no such column.
func (t *Trace) Values(name string) []float64 {
	if c := t.Column(name); c != nil {
		return c.Values
	}
	return nil
}

// Time in seconds.
func (t *Trace) Time() []float64 { return t.Values(ColTime) }

// Duty is the command in percent.
func (t *Trace) Duty() []float64 { return t.Values(ColDuty) }

// Current is the supply current in amperes.
func (t *Trace) Current() []float64 { return t.Values(ColCurrent) }

// Get is the first value of a comment key; ok is false when there is none.
func (t *Trace) Get(key string) (value string, ok bool) {
	for _, e := range t.Meta {
		if e.Key == key {
			return e.Value, true
		}
	}
	return "", false
}

// Rate is the mean sampling rate in Hz over the whole trace, 0 for fewer
// than two samples; of a trace that was thinned in part it is the rate stated.
func (t *Trace) Rate() float64 {
	if _, thinned := t.Number(KeyThinned); thinned {
		if r, ok := t.Number(KeySampleRate); ok && r > 0 {
			return r
		}
	}
	x := t.Time()
	if len(x) < 2 || x[len(x)-1] <= x[0] {
		return 0
	}
	return float64(len(x)-1) / (x[len(x)-1] - x[0])
}

// NotSampled is the value of an optional channel at an instant when it was
// not sampled.
func NotSampled() float64 { return math.NaN() }
