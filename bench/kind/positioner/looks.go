package positioner

import (
	"math"
	"slices"

	"dutybench/bench/kind/weigh"
)

// clamp tells a supply at its limit from leads by how the voltage goes with the
// current where it is down; each costs the more the nearer it lies to the other.
func (d *detail) clamp(limit bool) func(*weigh.Table) float64 {
	return func(*weigh.Table) float64 {
		switch {
		case math.IsNaN(d.clamped):
			return 0
		case limit:
			return weigh.Most * min(1, max(0, d.clamped-0.3))
		}
		return weigh.Most * min(1, max(0, 0.7-d.clamped))
	}
}

// modest speaks against a unit that takes too much where it never took more than
// good ones do against a stop, twice over.
func (d *detail) modest(t *weigh.Table) float64 {
	good := append(weigh.Values(t.Yardstick.Profile, MovingUp), weigh.Values(t.Yardstick.Profile, StopCurrent)...)
	if len(good) == 0 || math.IsNaN(d.peak_A) || d.peak_A > 5*slices.Max(good) {
		return 0
	}
	return weigh.Most
}

// pushesHard tells a motor that is held from one that turns freely by the current
// while nothing moves: that of good units against a stop, or half of what moving
// takes.
func (d *detail) pushesHard(held bool) func(t *weigh.Table) float64 {
	return func(t *weigh.Table) float64 {
		x := t.Value(StopCurrent)
		if math.IsNaN(x) || !(d.moving > 0) {
			return 0
		}
		// Between the two lies a unit whose current does not know its load.
		if held && x < 0.75*d.moving || !held && x > 1.5*d.moving {
			return 3
		}
		return 0
	}
}

// holdsUp tells what holds a unit up at its slowest place, where that lies out: a
// motor that turns for nothing draws less there than along the way, one that is
// held more.
func (d *detail) holdsUp(t *weigh.Table, binds bool) float64 {
	slow := t.Get(SlowPlace)
	switch {
	case !slow.Out():
		return 0
	case !binds && t.Z(TrackNoise) > -slow.Z && math.Abs(d.noisy-d.slowAt) < spot, !math.IsNaN(d.slow_A) && d.slow_A > 1 != binds:
		// Or it only looks slow, where its readings scatter.
		return weigh.Most
	}
	return 0
}

// comesBack speaks against a gear where readings that jumped came back at once,
// staysAway against a track where they did not.
func (d *detail) comesBack() float64 {
	if math.IsNaN(d.jumpAt) {
		return 0
	}
	return weigh.Most / 2 * (1 - d.lone)
}

func (d *detail) staysAway() float64 {
	if math.IsNaN(d.jumpAt) {
		return 0
	}
	return weigh.Most / 2 * d.lone
}

// broad speaks against one place that binds where the median current lies out as
// far as the worst place does: then it is the whole way.
func (d *detail) broad(t *weigh.Table) float64 {
	spot := max(t.Z(StrokeBinding), t.Z(StepWork))
	all := max(t.Z(MovingUp), t.Z(MovingDown))
	if all > weigh.Calm && all > spot/2 {
		return min(weigh.Most, all-spot/2)
	}
	return 0
}

// shifted tells a way that is as long as it should be and lies elsewhere from one
// that ends elsewhere: a cost for the one that it is not.
func shifted(t *weigh.Table, want bool) float64 {
	travel, low, high := math.Abs(t.Z(Travel)), t.Z(LowEnd), t.Z(HighEnd)
	is := low*high > 0 && min(math.Abs(low), math.Abs(high)) > weigh.Calm && travel < max(math.Abs(low), math.Abs(high))/2
	if is == want {
		return 0
	}
	return weigh.Most / 2
}

// hunts is the cost of a board that does not mind leaps of its position, when it
// did: it pushed, or went off, as it would for a leap in its own eyes.
func (d *detail) hunts() float64 {
	if d.pushed_s > 0.2 {
		return 1
	}
	return 0
}
