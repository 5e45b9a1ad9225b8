package fan

import (
	"fmt"
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/step"
	"dutybench/signal/trace"
)

// followsDuty says that the current goes with the duty as only that of turning
// blades does: over four duties or more without one out of place in twenty, by
// half as much again. An awake board between attempts draws the same at all.
func (d *detail) followsDuty() bool {
	var duty, amps []float64
	for _, q := range d.plateaus {
		above := q.Median_A - d.rest()
		if above <= 0 || q.SD_A > above/2 {
			return false
		}
		duty, amps = append(duty, q.Duty_pct), append(amps, above)
	}
	return len(duty) >= 4 && stat.RankCorrelation(duty, amps) > 0.95 && slices.Max(amps) > 1.5*slices.Min(amps)
}

func (d *detail) measureStart(tr *trace.Trace, m *kind.Measured) {
	s := d.start
	later := func(why string) {
		miss(m, "s", why, StartDelay, StartSettle)
		miss(m, "A", why, StartPeak)
	}
	switch {
	case math.IsNaN(s.Commanded_s):
		miss(m, "", "the trace holds no command to run", StartAttempts)
		later("the trace holds no command to run")
		return
	case d.follows && !s.Ran:
		miss(m, "", "the running current is so small beside that of the start that attempts cannot be told from it", StartAttempts)
		later("the start cannot be told from so faint a run")
		return
	case len(s.Attempts) > 0 && s.Ran && s.Commanded_s <= tr.Time()[0]:
		miss(m, "", "the unit was running when the trace begins", StartAttempts)
		later("the unit was running when the trace begins")
		return
	}
	add(m, StartAttempts, "", stat.Exact(float64(len(s.Attempts))))
	if len(s.Attempts) == 0 {
		later("the unit made no attempt to start")
		return
	}
	first, peak := s.Attempts[0], 0.0
	for _, a := range s.Attempts {
		peak = max(peak, a.Peak_A)
	}
	add(m, StartDelay, "s", stat.Quantity{Value: first.Start_s - s.Commanded_s}.With("sampling interval", 1/max(tr.Rate(), 1)/math.Sqrt(12), 0))
	if s.Ran && !math.IsNaN(s.Settled_s) {
		add(m, StartSettle, "s", stat.Quantity{Value: s.Settled_s - first.Start_s}.With("envelope", 0.01, 0))
	} else {
		miss(m, "s", "the current never settled after a start", StartSettle)
	}
	add(m, StartPeak, "A", stat.Quantity{Value: peak}.With("noise", d.noise_A, 0))
}

// highestDuty is the plateau of the highest duty, the longest of several.
func (d *detail) highestDuty() (top step.Plateau, ok bool) {
	for _, q := range d.plateaus {
		if !ok || q.Duty_pct > top.Duty_pct+0.5 || math.Abs(q.Duty_pct-top.Duty_pct) <= 0.5 && q.End-q.Start > top.End-top.Start {
			top, ok = q, true
		}
	}
	return top, ok
}

// measureFull reads the current at full: from the profile's duty on, else 95 %.
func (d *detail) measureFull(m *kind.Measured, p *profiles.Profile) {
	full := 95.0
	if p != nil && p.Command.Full_pct > 0 {
		full = min(full, p.Command.Full_pct-0.5)
	}
	top, ok := d.highestDuty()
	switch {
	case !ok:
		miss(m, "A", "no step of the trace lasts long enough for a plateau", Full)
	case top.Duty_pct < full:
		miss(m, "A", fmt.Sprintf("the highest duty in the trace is %.0f %%", top.Duty_pct), Full)
	default:
		add(m, Full, "A", top.Current)
		if !math.IsNaN(top.Supply_V) {
			add(m, kind.SupplyVoltage, "V", stat.Exact(top.Supply_V))
		}
	}
}

// countDropOuts counts gaps in the plateaus: the current falls below half of what
// runs and does not come back to three quarters for 30 ms or longer. Coasting
// blades keep no current up; a gap shorter than that is one of commutation or
// sampling, and noise that touches half within one does not make two of it.
func (d *detail) countDropOuts(tr *trace.Trace, m *kind.Measured) {
	const least_s = 0.03
	if !d.start.Ran && !d.follows {
		miss(m, "", "the unit did not run", DropOuts)
		return
	}
	t, x, n := tr.Time(), tr.Current(), 0
	for _, q := range d.plateaus {
		above := q.Median_A - d.rest()
		if above < 10*max(d.noise_A, q.SD_A/10) {
			continue
		}
		from, last := -1, -1 // the first and the last sample of a gap that are low
		for i := q.Start; i < q.End; i++ {
			switch {
			case x[i] < d.rest()+above/2:
				if from < 0 {
					from = i
				}
				last = i
			case from >= 0 && x[i] > d.rest()+0.75*above:
				if last > from && t[i]-t[from] >= least_s && low(x[from:i], d.rest()+above/2) {
					n++
				}
				from = -1
			}
		}
	}
	add(m, DropOuts, "", stat.Exact(float64(n)))
}

// low says that most of these samples lie below a level: a slow swing that touches
// it is no gap.
func low(x []float64, level float64) bool {
	below := 0
	for _, v := range x {
		if v < level {
			below++
		}
	}
	return 2*below > len(x)
}
