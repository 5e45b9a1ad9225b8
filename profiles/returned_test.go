package profiles

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// returned is a [return] in the manner of VDMA sheet 24224 as pump makers'
// manuals print it: 75 Hz ± 5 %, 90 % for a blocked rotor, 0 to 70 % for power.
const returned = `
[return]
wire = "own"
speed_by_duty = [{ duty = "1 %", speed = "800 /min" }, { duty = "70 %", speed = "4800 /min" }]

[[return.code]]
name = "running"
meaning = "runs"
duty = "1 % to 71 %"
frequency = "71.25 Hz to 78.75 Hz"

[[return.code]]
name = "blocked"
meaning = "stopped, rotor blocked"
cause = "mechanical"
duty = "88 % to 92 %"
frequency = "71.25 Hz to 78.75 Hz"
`

// pulled is one on the command's wire.
const pulled = `
[return]
wire = "command"

[[return.code]]
name = "dry"
meaning = "ran dry"
length = "400 ms to 0.6 s"

[[return.code]]
name = "blocked"
meaning = "rotor blocked"
length = "0.9 s to 1.1 s"
`

// withReturn puts a [return] before the good units of the tests' profile.
func withReturn(t *testing.T, text string) string {
	t.Helper()
	i := strings.Index(good, "[fixture]")
	require.Positive(t, i)
	return good[:i] + text + "\n" + good[i:]
}

func TestReturn(t *testing.T) {
	p, err := Parse([]byte(withReturn(t, returned)), "r.toml", section)
	require.NoError(t, err)
	f := HertzRange{Low_Hz: 71.25, High_Hz: 78.75}
	assert.Equal(t, Return{Wire: OwnWire,
		Codes: []ReturnCode{
			{Name: "running", Meaning: "runs", Duty: Window{1, 71}, Frequency: f},
			{Name: "blocked", Meaning: "stopped, rotor blocked", Cause: "mechanical", Duty: Window{88, 92}, Frequency: f},
		},
		SpeedByDuty: []SpeedPoint{{1, 800}, {70, 4800}},
	}, p.Return)
	assert.Equal(t, "duty 88 to 92 %, 71.25 to 78.75 Hz", p.Return.Codes[1].String())

	for _, text := range []string{returned, pulled, strings.ReplaceAll(strings.Replace(returned, "by_duty", "by_frequency", 1), `{ duty = "1 %", speed = "800 /min" }, { duty = "70 %"`, `{ frequency = "1 Hz", speed = "800 /min" }, { frequency = "0.07 kHz"`)} {
		p, err := Parse([]byte(withReturn(t, text)), "r.toml", section)
		require.NoError(t, err)
		data, err := Encode(p)
		require.NoError(t, err)
		again, err := Parse(data, "r.toml", section)
		require.NoError(t, err, string(data))
		assert.Equal(t, p.Return, again.Return)
		twice, err := Encode(again)
		require.NoError(t, err)
		assert.Equal(t, string(data), string(twice))
	}
	p, err = Parse([]byte(good), "good.toml", section)
	require.NoError(t, err)
	assert.Zero(t, p.Return)
}

func TestReturnRefuses(t *testing.T) {
	for _, c := range []struct{ in, old, new, says string }{
		{returned, `"own"`, `"bus"`, "it must be own or command"},
		{returned, `"own"`, `"command"`, "carry no speed"},
		{returned, `wire = "own"`, "", "lacks the key wire"},
		{returned, `meaning = "runs"`, "", "[[return.code]] number 1 lacks the key meaning"},
		{returned, `name = "blocked"`, "", "[[return.code]] number 2 lacks the key name"},
		{returned, `"88 % to 92 %"`, `"70 % to 92 %"`, `this code and "running", number 1`},
		{returned, `"88 % to 92 %"`, `"88 % to 102 %"`, "beyond 0 % to 100 %"},
		{returned, `"88 % to 92 %"`, `"92 % to 88 %"`, "runs backwards"},
		{returned, `"88 % to 92 %"`, `"0 % to 0 %"`, "number 1: make"},
		{returned, `"71.25 Hz to 78.75 Hz"`, `"71.25 to 78.75 Hz"`, "has no unit"},
		{returned, `"blocked"`, `"running"`, "stands twice"},
		{returned, `"blocked"`, `"Rotor blocked"`, "use small letters"},
		{returned, `"70 %", speed`, `"0.5 %", speed`, "points must rise"},
		{returned, `, { duty = "70 %", speed = "4800 /min" }`, "", "at least two points"},
		{returned, `"800 /min"`, `"800 rpm"`, `wrong unit "rpm"`},
		{returned, `cause =`, `blame =`, "unknown key blame"},
		{returned, "duty = \"88 % to 92 %\"\n", "length = \"1 s to 2 s\"\n", "state duty or frequency instead"},
		{pulled, `length = "0.9 s to 1.1 s"`, `duty = "1 % to 2 %"`, "state length instead"},
		{pulled, `length = "0.9 s to 1.1 s"`, ``, "state its length"},
		{pulled, `"0.9 s to 1.1 s"`, `"0.6 s to 1.1 s"`, "make their ranges apart"},
		{pulled, pulled[strings.Index(pulled, "[[return.code]]"):], "", "says nothing"},
	} {
		text := strings.Replace(c.in, c.old, c.new, 1)
		require.NotEqual(t, c.in, text, c.old)
		_, err := Parse([]byte(withReturn(t, text)), "r.toml", section)
		if assert.Error(t, err, "%s → %s", c.old, c.new) {
			assert.Contains(t, err.Error(), c.says)
		}
	}
}
