package trial

import (
	"math"

	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// Window is what a bench without this program could do: one window around the
// current of good units at full command. It is set on the study's own good
// units, so that it knows its population as well as anybody could, and so wide
// that of a normal population it refuses the share that was refused here.
type Window struct {
	Profile string  `json:"profile"`
	Good    int     `json:"good"` // units that it is set on
	Mean_A  float64 `json:"mean_A"`
	SD_A    float64 `json:"sd_A"`
	Factor  float64 `json:"factor"` // the window is the mean ± factor deviations
	Low_A   float64 `json:"low_A"`
	High_A  float64 `json:"high_A"`
	// Rate is the share of good units that it is set to refuse: (refused +
	// ½)/(good + 1) of the full test, so that none is not taken for never.
	Rate float64 `json:"set_to_refuse"`
}

// fewestForWindow is how many good units a window is set on at least; chosen.
const fewestForWindow = 5

// windows are those of each size that has enough good units.
func (t *Table) windows() []Window {
	var out []Window
	sizes, _, _ := t.axes()
	for _, s := range sizes {
		var amps stat.Running
		refused := 0
		for i := range t.Trials {
			x := &t.Trials[i]
			if x.Profile != s || !Good(x) {
				continue
			}
			if x.Score() != Passed {
				refused++
			}
			if !math.IsNaN(x.Full_A) {
				amps.Add(x.Full_A)
			}
		}
		if n := amps.N(); n >= fewestForWindow {
			w := Window{Profile: s, Good: n, Mean_A: amps.Mean(), SD_A: amps.SD(), Rate: (float64(refused) + 0.5) / float64(n+1)}
			w.Factor = stat.Normal(1 - w.Rate/2)
			w.Low_A, w.High_A = w.Mean_A-w.Factor*w.SD_A, w.Mean_A+w.Factor*w.SD_A
			out = append(out, w)
		}
	}
	return out
}

// refuses says that a full current lies outside; one that was never reached
// does.
func (w Window) refuses(amps float64) bool { return !(amps >= w.Low_A && amps <= w.High_A) }

// metered is the stretch, in seconds, over which a meter is read: chosen.
const metered = 1.0

// fullCurrent is the mean current, in amperes, of the last second of the first
// stretch at full command with the supply on; NaN when there is none.
func fullCurrent(tr *trace.Trace, full_pct float64) float64 {
	if full_pct <= 0 {
		full_pct = 100
	}
	t, duty, amps, on := tr.Time(), tr.Duty(), tr.Current(), tr.Values(trace.ColSupplyOn)
	at := func(i int) bool { return duty[i] >= full_pct-0.5 && (i >= len(on) || on[i] == 1) }
	from := 0
	for from < len(t) && !at(from) {
		from++
	}
	to := from
	for to < len(t) && at(to) {
		to++
	}
	var mean stat.Running
	for i := to - 1; i >= from && t[i] > t[to-1]-metered; i-- {
		mean.Add(amps[i])
	}
	return mean.Mean()
}
