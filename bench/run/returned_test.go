package run

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/rig"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// edges of stretches: level and how long.
func edgeRecord(start time.Duration, parts ...time.Duration) rig.EdgeRecord {
	r := rig.EdgeRecord{Start: start, StartHigh: true}
	at, high := start, true
	for _, p := range parts {
		at += p
		high = !high
		r.At, r.High = append(r.At, at), append(r.High, high)
	}
	r.End = at + time.Second
	return r
}

func lineTrace(lineDuty func(t float64) float64) *trace.Trace {
	t := &trace.Trace{Columns: []trace.Column{{Name: trace.ColTime}, {Name: trace.ColLineDuty}}}
	for i := range 1000 {
		at := float64(i) * 0.01
		t.Columns[0].Values = append(t.Columns[0].Values, at)
		t.Columns[1].Values = append(t.Columns[1].Values, lineDuty(at))
	}
	return t
}

func TestReadReturnOnItsOwnWire(t *testing.T) {
	p := &profiles.Profile{Return: profiles.Return{Wire: profiles.OwnWire, Codes: []profiles.ReturnCode{
		{Name: "blocked", Meaning: "rotor blocked", Cause: "mechanical", Duty: profiles.Window{From_pct: 88, To_pct: 92}}}}}
	var parts []time.Duration
	for range 100 { // 100 Hz, high for 90 %
		parts = append(parts, 9*time.Millisecond, time.Millisecond)
	}
	list, err := ReadReturn(p, edgeRecord(5*time.Second, parts...), 5500*time.Millisecond, lineTrace(func(float64) float64 { return 50 }))
	require.NoError(t, err)
	require.NotEmpty(t, list)
	assert.Equal(t, "blocked", list[0].Code)
	assert.Equal(t, "mechanical", list[0].Cause)
	assert.Zero(t, list[0].From, "what was said before the trace began is not shown")
	assert.InDelta(t, 0.5, list[0].To, 0.02)
	assert.Contains(t, list[0].Sentence, "From 0.00 s to 0.5", "nor told")
	assert.False(t, list[0].Unknown)
	p.Return.Codes[0].Duty.From_pct, p.Return.Codes[0].Duty.To_pct = 10, 12
	list, err = ReadReturn(p, edgeRecord(5*time.Second, parts...), 5500*time.Millisecond, lineTrace(func(float64) float64 { return 50 }))
	require.NoError(t, err)
	require.NotEmpty(t, list)
	assert.True(t, list[0].Unknown)

	list, err = ReadReturn(&profiles.Profile{}, rig.EdgeRecord{}, 0, nil)
	assert.NoError(t, err)
	assert.Empty(t, list)
}

// Pull-downs of the command's wire are the unit's only while the rig commands.
func TestReadReturnOnTheCommandsWire(t *testing.T) {
	p := &profiles.Profile{Command: profiles.Command{Frequency_Hz: 100}, Return: profiles.Return{Wire: profiles.CommandWire, Codes: []profiles.ReturnCode{
		{Name: "dry", Meaning: "ran dry", Length: profiles.SecondsRange{Low_s: 0.4, High_s: 0.6}}}}}
	parts := []time.Duration{time.Second, 500 * time.Millisecond, 2 * time.Second, 500 * time.Millisecond, time.Second}
	duty := func(at float64) float64 {
		if at > 3.4 && at < 4.1 {
			return 0 // the rig holds the wire low
		}
		return 50
	}
	list, err := ReadReturn(p, edgeRecord(0, parts...), 0, lineTrace(duty))
	require.NoError(t, err)
	require.Len(t, list, 1)
	assert.Equal(t, "dry", list[0].Code)
	assert.InDelta(t, 1, list[0].From, 1e-6)
}
