package record

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/result"
)

var when = time.Date(2026, 3, 4, 5, 6, 7, 8e6, time.UTC)

// sample is a whole record of an invented unit.
func sample(unit string) *Record {
	temperature := 21.5
	return &Record{
		When: when, Purpose: "incoming", Program: "dutybench test",
		Rig:     Rig{Name: "sim", Facts: []Fact{{"shunt", "2 mΩ & 1 %"}}},
		Profile: Profile{Name: "medium", Revision: 3, Text: []byte("name = \"medium\"\n")},
		At:      Circumstances{Unit: unit, Kind: "pump", Operator: "Ä. <B>", Fluid: "water", Temperature_C: &temperature, Primed: true},
		Trace:   []byte("t_s,duty_pct,current_A\n0,0,0\n"),
		Result:  []byte(`{"verdict":"fail","cause":"mechanical"}`),
	}
}

// place is where the samples are put.
var place = Place{Bench: "k3v7q2m9xw", Seq: 12, Previous: strings.Repeat("ab", 32), After: when}

func TestSealAndUnseal(t *testing.T) {
	r := sample("A1")
	r.Files = []File{{"rig.toml", []byte("x")}, {"photo-1.jpg", nil}}
	data, err := Seal(r, place)
	require.NoError(t, err)
	assert.Equal(t, ID{"k3v7q2m9xw", 12}, r.ID)
	assert.Equal(t, hash(data), r.Hash)
	assert.Equal(t, NoCalibration, r.Calibration)

	got, parts, err := Unseal(data)
	require.NoError(t, err)
	assert.Equal(t, Parts{Trace: hash(r.Trace), Result: hash(r.Result), Profile: hash(r.Profile.Text),
		Files: []Part{{"photo-1.jpg", 0, hash(nil)}, {"rig.toml", 1, hash([]byte("x"))}}}, parts)
	got.Trace, got.Result, got.Profile.Text, got.Files = r.Trace, r.Result, r.Profile.Text, r.Files
	assert.Equal(t, r, got)

	e, again, previous, err := Examine(data)
	require.NoError(t, err)
	assert.Equal(t, parts, again)
	assert.Equal(t, place.Previous, previous)
	assert.Equal(t, Entry{ID: r.ID, Hash: r.Hash, When: when, Purpose: "incoming", Program: r.Program, Rig: r.Rig, Calibration: NoCalibration,
		Profile: Profile{Name: "medium", Revision: 3, SHA256: r.Profile.SHA256}, At: r.At,
		Verdict: result.Fail, Cause: result.Mechanical}, e)
}

// Records from before it was kept whether a bench was simulated stay whole:
// they lack the key, and one that has it is read back with it.
func TestWhatIsNotToldIsNotWritten(t *testing.T) {
	data, err := Seal(sample("A1"), place)
	require.NoError(t, err)
	for _, key := range []string{"simulated", "interrupted", "workshop", "files", "part_number", "attempt"} {
		assert.NotContains(t, string(data), `"`+key+`"`)
	}
	r := sample("A1")
	r.Rig.Simulated, r.Profile, r.Result = true, Profile{}, nil
	data, err = Seal(r, place)
	require.NoError(t, err)
	got, parts, err := Unseal(data)
	require.NoError(t, err)
	assert.True(t, got.Rig.Simulated)
	assert.Equal(t, Parts{Trace: hash(r.Trace)}, parts)
}

func TestClockDoubt(t *testing.T) {
	r := sample("A2")
	r.When = time.Date(1970, 1, 1, 0, 3, 0, 0, time.UTC)
	r.ClockDoubt = "no network"
	_, err := Seal(r, place)
	require.NoError(t, err)
	assert.Equal(t, "no network; the clock stands before 2026 and was hardly set; the clock stands before that of record 000011, made earlier", r.ClockDoubt)
}

// A test that broke off is put when it is found: that it is older than the one
// before speaks not against the clock.
func TestInterruptedIsPutLate(t *testing.T) {
	r := sample("A2")
	r.When, r.Interrupted = when.Add(-time.Hour), true
	_, err := Seal(r, place)
	require.NoError(t, err)
	assert.Empty(t, r.ClockDoubt)
}

func TestTextThatIsNoUTF8IsKeptReadable(t *testing.T) {
	r := sample("A\xff1")
	_, err := Seal(r, place)
	require.NoError(t, err)
	assert.Equal(t, "A\ufffd1", r.At.Unit)
}

func TestRefused(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*Record)
		says   string
	}{
		"result is no JSON":   {func(r *Record) { r.Result = []byte("{") }, "JSON object"},
		"hash of another":     {func(r *Record) { r.Profile.SHA256 = strings.Repeat("0", 64) }, "load the profile again"},
		"profile hash only":   {func(r *Record) { r.Profile.SHA256, r.Profile.Text = strings.Repeat("0", 64), nil }, "text is missing"},
		"time beyond writing": {func(r *Record) { r.When = time.Date(12000, 1, 1, 0, 0, 0, 0, time.UTC) }, "cannot be written"},
		"endless notes":       {func(r *Record) { r.At.Notes = strings.Repeat("x", maxBody) }, "shorten them"},
		"file above":          {func(r *Record) { r.Files = []File{{Name: "../x"}} }, "cannot name a file"},
		"file twice":          {func(r *Record) { r.Files = []File{{Name: "x"}, {Name: "x"}} }, "cannot name a file"},
	} {
		r := sample("A1")
		c.change(r)
		_, err := Seal(r, place)
		assert.ErrorContains(t, err, c.says, name)
	}
}

func TestKeyWords(t *testing.T) {
	for range 100 {
		require.True(t, IsKey(NewKey()))
	}
	for _, s := range []string{"", "k3v7q2m9x", "k3v7q2m9xww", "K3v7q2m9xw", "k3v7q2m9x/", "k3v7q2m9xo"} {
		assert.False(t, IsKey(s), s)
	}
}

func TestLocation(t *testing.T) {
	for _, c := range []struct {
		flag string
		env  map[string]string
		want string
	}{
		{"/s", map[string]string{"DUTYBENCH_STORE": "/e"}, "/s"},
		{"", map[string]string{"DUTYBENCH_STORE": "/e", "XDG_DATA_HOME": "/x"}, "/e"},
		{"", map[string]string{"XDG_DATA_HOME": "/x", "HOME": "/h"}, "/x/dutybench"},
		{"", map[string]string{"XDG_DATA_HOME": "x", "HOME": "/h"}, "/h/.local/share/dutybench"},
		{"postgres://u:p@h/db", nil, "postgres://u:p@h/db"},
		{"", nil, ""},
	} {
		got, err := Location(c.flag, func(k string) string { return c.env[k] })
		assert.Equal(t, c.want, got)
		assert.Equal(t, c.want == "", err != nil)
	}
}

func TestParseID(t *testing.T) {
	id := ID{"k3v7q2m9xw", 12}
	got, err := ParseID(id.String())
	require.NoError(t, err)
	assert.Equal(t, id, got)
	got, err = ParseID("12")
	require.NoError(t, err)
	assert.Equal(t, ID{Seq: 12}, got)
	for _, s := range []string{"", "-", "0", "-1", "+1", "k3v7q2m9xw-", "k3v7q2m9xw-0", "../../x-1", "k3v7q2m9xw-1/..", "9999999999"} {
		_, err := ParseID(s)
		assert.Error(t, err, s)
	}
}

func FuzzParseBody(f *testing.F) {
	b, err := bodyOf(sample("A1"))
	require.NoError(f, err)
	b.Bench, b.Seq = "k3v7q2m9xw", 1
	_, data, err := settle(b)
	require.NoError(f, err)
	_, err = parseBody(data)
	require.NoError(f, err)
	f.Add(data)
	f.Add([]byte("{}"))
	f.Add([]byte(strings.Replace(string(data), `"seq": 1`, `"seq": 1, "seq": 2`, 1)))
	f.Add(append(data[:len(data):len(data)], '\n'))
	f.Fuzz(func(t *testing.T, data []byte) {
		b, err := parseBody(data)
		if err != nil {
			return
		}
		again, err := encode(b)
		require.NoError(t, err)
		require.Equal(t, string(data), string(again), "one form only")
		require.NotPanics(t, func() { b.record(hash(data)) })
	})
}
