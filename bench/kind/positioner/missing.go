package positioner

import (
	"math"

	"dutybench/bench/kind"
	"dutybench/bench/kind/weigh"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// missingName is the measurement of what it did without a command.
func missingName(s lineState) string { return "missing_command_" + s.String() }

// wanted is what the profile says that the unit does in each state of its line.
func wanted(p *profiles.Profile) map[lineState]string {
	if p == nil {
		return nil
	}
	c := p.Command.Missing
	return map[lineState]string{lineOpen: c.Open, lineLow: c.Low, lineHigh: c.High}
}

// measureMissing is where the unit stood after a while without a command; for one
// that is to stay, how far it went.
func (d *detail) measureMissing(tr *trace.Trace, p *profiles.Profile, m *kind.Measured) {
	want, t := wanted(p), tr.Time()
	for _, s := range []lineState{lineOpen, lineLow, lineHigh} {
		if want[s] == "" {
			continue
		}
		found := false
		for _, l := range d.lapses {
			if l.state != s || t[l.to-1]-t[l.from] < 0.8 {
				continue
			}
			end := d.samples.In(t[l.to-1]-0.2, t[l.to-1]+1e-9).P_pct
			before := d.samples.In(t[l.from]-0.1, t[l.from]).P_pct
			if len(end) < 2 || len(before) < 2 {
				continue
			}
			x := stat.Median(end)
			if want[s] == "hold" {
				x -= stat.Median(before)
			}
			found = true
			add(m, missingName(s), "%", stat.Quantity{Value: x}.With("noise", orZero(d.noise), 0))
			break
		}
		if !found {
			miss(m, missingName(s), "%", "not tried, or the position was not read")
		}
	}
}

// holdMissing holds that against what the profile says: an end within a quarter
// of the travel, or staying within a twentieth (chosen: a unit that obeys is
// there, one that does not stays where it was, in the middle).
func holdMissing(m *kind.Measured, p *profiles.Profile, t *weigh.Table) {
	want := wanted(p)
	for _, s := range []lineState{lineOpen, lineLow, lineHigh} {
		v := m.Get(missingName(s))
		if v == nil {
			continue
		}
		k := weigh.Check{Finding: result.Finding{Name: v.Name, Unit: "%", Result: result.NotMeasured, Note: "profile: " + want[s]}, Chance: 1}
		if v.Missing != "" {
			k.Note += "; " + v.Missing
			t.Add(k)
			continue
		}
		low, high := -5.0, 5.0
		switch want[s] {
		case "stop":
			low, high = math.NaN(), 25
		case "full":
			low, high = 75, math.NaN()
		}
		t.Yardstick.Hold(&k, v.Q, math.NaN(), low, high)
		if k.Result == result.Failed {
			k.Z, k.SD = 10, 1
		}
		t.Add(k)
	}
}
