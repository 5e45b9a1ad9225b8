package run

import (
	"fmt"
	"slices"
	"time"

	"dutybench/bench/result"
	"dutybench/bench/rig"
	"dutybench/profiles"
	"dutybench/signal/trace"
	onwire "dutybench/signal/wire"
)

// ReturnTable says what a unit of this profile reports on its return signal;
// nil where the profile has none.
func ReturnTable(p *profiles.Profile) *onwire.Table {
	if p == nil || p.Return.Wire == "" {
		return nil
	}
	t := &onwire.Table{Line: p.Return.Wire == profiles.CommandWire, Command_Hz: p.Command.Frequency_Hz}
	for _, c := range p.Return.Codes {
		k := onwire.Code{Name: c.Name, Meaning: c.Meaning, Hint: c.Cause}
		if c.Duty != (profiles.Window{}) {
			k.Duty_pct = &onwire.Range{Low: c.Duty.From_pct, High: c.Duty.To_pct}
		}
		if c.Frequency != (profiles.HertzRange{}) {
			k.Frequency_Hz = &onwire.Range{Low: c.Frequency.Low_Hz, High: c.Frequency.High_Hz}
		}
		if c.Length != (profiles.SecondsRange{}) {
			k.Length_s = &onwire.Range{Low: c.Length.Low_s, High: c.Length.High_s}
		}
		t.Codes = append(t.Codes, k)
	}
	points := p.Return.SpeedByFrequency
	if t.SpeedBy = "frequency"; len(points) == 0 {
		t.SpeedBy, points = "duty", p.Return.SpeedByDuty
	}
	for _, q := range points {
		t.Speed = append(t.Speed, onwire.SpeedPoint{X: q.X, Speed_per_min: q.Speed_per_min})
	}
	return t
}

// ReadReturn reads what the unit said of itself during a test whose trace
// began at a rig time. Pull-downs of the command's wire count only while the
// rig itself did not hold the wire low.
func ReadReturn(p *profiles.Profile, heard rig.EdgeRecord, began time.Duration, t *trace.Trace) ([]result.UnitReport, error) {
	table := ReturnTable(p)
	if table == nil {
		return nil, nil
	}
	e := onwire.Edges{Start_s: (heard.Start - began).Seconds(), End_s: (heard.End - began).Seconds(), StartHigh: heard.StartHigh,
		High: heard.High, Resolution_s: heard.Resolution.Seconds(), At_s: make([]float64, len(heard.At))}
	for i, at := range heard.At {
		e.At_s[i] = (at - began).Seconds()
	}
	told, err := table.Decode(&e)
	if err != nil {
		return nil, fmt.Errorf("run: return signal: %w", err)
	}
	var out []result.UnitReport
	for _, x := range told {
		if x.To_s <= 0 || table.Line && heldLow(t, x.From_s-2/table.Command_Hz, x.To_s) {
			continue
		}
		x.From_s = max(x.From_s, 0) // the trace has no time before
		r := result.UnitReport{From: x.From_s, To: x.To_s, Sentence: table.Sentence(x), Unknown: table.Unknown(x)}
		if x.Code != onwire.NoCode {
			c := table.Codes[x.Code]
			r.Code, r.Meaning, r.Cause = c.Name, c.Meaning, c.Hint
		}
		out = append(out, r)
	}
	return out, nil
}

// heldLow says that the rig itself put a line duty of nought on the wire, or
// that what it put there is not known.
func heldLow(t *trace.Trace, from, to float64) bool {
	at, duty := t.Time(), t.Values(trace.ColLineDuty)
	if duty == nil {
		return true
	}
	i, _ := slices.BinarySearch(at, from)
	for i = max(i-1, 0); i < len(at) && at[i] <= to; i++ {
		if !(duty[i] > 0) {
			return true
		}
	}
	return false
}
