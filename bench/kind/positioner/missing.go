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

// measureMissing is where the unit stood after a while without a command; for one
// that is to stay, how far it went.
func (d *detail) measureMissing(tr *trace.Trace, p *profiles.Profile, m *kind.Measured) {
	const enough = 0.8 // s, chosen: boards take a command as lost after some tenths of a second, and then go half of the way
	t := tr.Time()
	for _, u := range weigh.UndrivenOf(p) {
		found := false
		for _, l := range d.lapses {
			if l.state != u.Line || t[l.to-1]-t[l.from] < enough {
				continue
			}
			end := d.samples.In(t[l.to-1]-0.2, t[l.to-1]+1e-9).P_pct
			before := d.samples.In(t[l.from]-0.1, t[l.from]).P_pct
			if len(end) < 2 || len(before) < 2 {
				continue
			}
			x := stat.Median(end)
			if u.Does == "hold" {
				x -= stat.Median(before)
			}
			found = true
			add(m, u.Check().Name, "%", stat.Quantity{Value: x}.With("noise", orZero(d.noise), 0))
			break
		}
		if !found {
			miss(m, u.Check().Name, "%", "not tried, or the position was not read")
		}
	}
}

// holdMissing holds that against what the profile says: an end within a quarter
// of the travel, or staying within a twentieth (chosen: a unit that obeys is
// there, one that does not stays where it was, in the middle).
func holdMissing(m *kind.Measured, p *profiles.Profile, t *weigh.Table) {
	for _, u := range weigh.UndrivenOf(p) {
		k := u.Check()
		k.Unit = "%"
		v := m.Get(k.Name)
		if v == nil {
			continue
		}
		if v.Missing != "" {
			k.Note += "; " + v.Missing
			t.Add(k)
			continue
		}
		low, high := -5.0, 5.0
		switch u.Does {
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
