package positioner

import (
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
	"dutybench/signal/travel"
)

// pushes is the share of its typical moving current from which on a unit counts
// as pushing: half-way would miss a motor that turns for nothing, which draws
// about half (chosen; where a motor's own friction is less than a third of all,
// what turns for nothing is not seen here but as a slower way).
const pushes = 0.35

// push_s is how long current without motion counts as pushing: a start against
// friction is over sooner (common practice, no source: tens of milliseconds).
const push_s = 0.1

// window_s is the least time over which motion is looked for.
const window_s = 0.03

// measurePushing finds current without motion: the longest stretch away from the
// ends, at either end, and how much it then is.
func (d *detail) measurePushing(tr *trace.Trace, p *profiles.Profile, m *kind.Measured) {
	names := []string{IdlePush, PressLow, PressHigh}
	why := ""
	switch {
	case !d.told:
		why = noPosition
	case !(d.moving > 0) || math.IsNaN(d.quiet):
		why = "what it draws while it moves is not known"
	case d.samples.Pitch_s() > 0.1:
		why = "the position was read less than ten times a second"
	}
	if why != "" {
		for _, n := range names {
			miss(m, n, "s", why)
		}
		miss(m, StopCurrent, "A", why)
		return
	}
	base := d.quiet
	if v := m.Get(Holding); v != nil && v.Missing == "" {
		base += max(0, v.Q.Value)
	}
	over := base + pushes*d.moving
	w := max(window_s, 3*d.samples.Pitch_s())
	var longest [3]float64
	var amps []float64
	tested := [3]bool{}
	d.told_s = 0
	for _, x := range d.moves {
		// After switch-on a board may go to a place of its own.
		asked := !math.IsNaN(x.Before_pct) || !d.strays(x)
		place, _ := d.asked(x)
		k := 0
		switch {
		case place <= nearEnd:
			k = 1
		case place >= 100-nearEnd:
			k = 2
		}
		tested[k] = true
		for _, s := range d.pushing(tr, x, over, w) {
			long := tr.Time()[s[1]-1] - tr.Time()[s[0]]
			longest[k] = max(longest[k], long)
			if asked {
				d.told_s = max(d.told_s, long)
			}
			if long > push_s {
				amps = append(amps, stat.Median(tr.Current()[s[0]:s[1]])-d.quiet)
			}
		}
	}
	for k, n := range names {
		if d.pushed_s = max(d.pushed_s, longest[k]); !tested[k] {
			miss(m, n, "s", "no command asked for this end")
			continue
		}
		add(m, n, "s", stat.Quantity{Value: longest[k]}.With("time over which motion is looked for", w/math.Sqrt(12), 0))
	}
	if len(amps) == 0 {
		miss(m, StopCurrent, "A", "it never pushed without moving")
		return
	}
	add(m, StopCurrent, "A", stat.Quantity{Value: stat.Median(amps)}.With("scatter", 1.25*orZero(stat.RobustSD(amps))/math.Sqrt(float64(len(amps))), 0))
}

// pushing is the stretches of a step in which current flows and nothing moves: a
// mean over the window for the current, and over it less way than the unit makes
// at a tenth of its speed, or than readings tell.
func (d *detail) pushing(tr *trace.Trace, x travel.Move, over, w float64) (out [][2]int) {
	t, amps := tr.Time(), tr.Current()
	slow := max(d.least, 3*orZero(d.noise))
	from := -1
	end := func(i int) {
		if from >= 0 {
			out = append(out, [2]int{from, i})
		}
		from = -1
	}
	for i := x.From; i < x.To; i++ {
		still := false
		if amps[i] > over {
			a, b := d.samples.At(max(x.Start_s, t[i]-w/2)), d.samples.At(min(x.End_s, t[i]+w/2))
			still = math.Abs(b-a) < slow
		}
		switch {
		case still && from < 0:
			from = i
		case !still:
			end(i)
		}
	}
	end(x.To)
	return out
}

// strays says that the position changed during a step, once its board was awake.
func (d *detail) strays(x travel.Move) bool {
	p := d.samples.In(x.Start_s+boot_s, x.End_s).P_pct
	return len(p) > 1 && slices.Max(p)-slices.Min(p) > 3*d.least
}
