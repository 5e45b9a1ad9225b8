package trace

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Values of the key "duty": which of the two the column duty_pct is.
const (
	DutyCommand = "command" // what the unit is asked to do
	DutyLine    = "line"    // what is on the wire
)

// Format is the value of the key "trace" that this package reads and writes.
const Format = "1"

// annotation tells keys that are kept without a word: a plan's labels and
// the circumstances, none of which changes a measurement.
func annotation(key string) bool {
	switch key {
	case "step", "program", "calibration", "serial", "profile", KeyEnough,
		KeyRig, KeyFixture, KeyFluid, KeyFilling, KeyPartRevision, KeyDate:
		return true
	}
	return strings.HasPrefix(key, "x-")
}

// knownKey tells whether the bench knows a key, and whether its value is a
// number.
func knownKey(key string) (known, numeric bool) {
	switch key {
	case KeyTrace, KeyUnit, KeyKind, KeyDuty, KeyEnded:
		return true, false
	case KeyNominal, KeyPWM, KeySampleRate, KeyLost, KeyThinned, KeyRested,
		KeyCurrentGainU, KeyCurrentOffsetU, KeyVoltageGainU, KeyDutyU:
		return true, true
	}
	return strings.HasPrefix(key, KeyGauge), false
}

// Number is the first value of a comment key as a number; ok is false when
// there is none or it is no finite number.
func (t *Trace) Number(key string) (v float64, ok bool) {
	s, found := t.Get(key)
	if !found {
		return 0, false
	}
	v, f := parseFloat([]byte(s))
	return v, f == fine
}

// isComment tells a comment line, "# …".
func isComment(line []byte) bool {
	for _, c := range line {
		if c != ' ' && c != '\t' {
			return c == '#'
		}
	}
	return false
}

// parseComment splits "# key: value" at the first colon. A line without a
// colon, or with nothing before it, has an empty key.
func parseComment(line string) Entry {
	text := strings.TrimSpace(strings.TrimPrefix(strings.TrimSpace(line), "#"))
	key, value, ok := strings.Cut(text, ":")
	if key = strings.TrimSpace(key); !ok || key == "" {
		return Entry{Value: text}
	}
	return Entry{Key: key, Value: strings.TrimSpace(value)}
}

// comments gathers the comment lines and what is to be said about them.
type comments struct {
	entries []Entry
	unknown []string // keys, each once, the first maxUnknown of them
	notes   []string
}

// maxUnknown bounds the unknown keys and columns that are named one by one.
const maxUnknown = 50

func (m *comments) add(e Entry) (problem, advice string) {
	if len(m.entries) >= MaxComments {
		return "there are more than " + strconv.Itoa(MaxComments) + " comment lines",
			"keep only those that describe the test"
	}
	if problem, advice = checkEntry(e); problem != "" {
		return problem, advice
	}
	known, numeric := knownKey(e.Key)
	switch {
	case e.Key == "" || annotation(e.Key):
	case !known:
		if len(m.unknown) < maxUnknown && !slices.Contains(m.unknown, e.Key) {
			m.unknown = append(m.unknown, e.Key)
			m.notes = append(m.notes, fmt.Sprintf("The key %s is not known; it was kept.", quote(e.Key)))
		}
	default:
		problem, advice = m.again(e)
		if _, f := parseFloat([]byte(e.Value)); numeric && f != fine {
			m.notes = append(m.notes, fmt.Sprintf("The key %q holds %s, which is no number; it was kept but does not count.",
				e.Key, quote(e.Value)))
		}
	}
	if problem == "" {
		m.entries = append(m.entries, e)
	}
	return problem, advice
}

// again looks at a known key that stands a second time: the first counts,
// and for the meaning of the duty both must agree.
func (m *comments) again(e Entry) (problem, advice string) {
	i := slices.IndexFunc(m.entries, func(o Entry) bool { return o.Key == e.Key })
	if i < 0 || m.entries[i].Value == e.Value {
		return "", ""
	}
	if e.Key == KeyDuty {
		return `the key "duty" stands twice, with different values`, "keep the right one"
	}
	note := fmt.Sprintf("The key %q stands more than once; the first value counts.", e.Key)
	if !slices.Contains(m.notes, note) {
		m.notes = append(m.notes, note)
	}
	return "", ""
}

// checkEntry refuses known keys with a value that cannot be right.
func checkEntry(e Entry) (problem, advice string) {
	switch {
	case e.Key == KeyTrace && e.Value != Format:
		return "the trace format " + quote(e.Value) + " is not known",
			"this program reads format " + Format + "; use the program that wrote it, or a later one"
	case e.Key == KeyDuty && e.Value != DutyCommand && e.Value != DutyLine:
		return `the key "duty" holds ` + quote(e.Value),
			`write "command" (what the unit is asked to do) or "line" (what is on the wire)`
	}
	return "", ""
}

// foreign is a comment of a recording that a mapping reads: keys of ours are
// taken where they make sense and the mapping does not give them; all else is
// kept as "x-comment".
func foreign(e Entry, given map[string]string) Entry {
	known, _ := knownKey(e.Key)
	problem, _ := checkEntry(e)
	if _, taken := given[e.Key]; (known || annotation(e.Key)) && problem == "" && !taken {
		return e
	}
	if e.Key == "" {
		return Entry{"x-comment", e.Value}
	}
	return Entry{"x-comment", e.Key + ": " + e.Value}
}
