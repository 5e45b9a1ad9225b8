package positioner

import (
	"math"

	"dutybench/bench/kind"
	"dutybench/signal/stat"
	"dutybench/signal/travel"
)

// farther than anything goes, %/s: the whole travel in a fiftieth of a second
// (chosen), where the unit's own speed is not known.
const farther = 5000

// measureTrack says how steady the feedback is: standing, at its worst place, and
// whether it jumps.
func (d *detail) measureTrack(m *kind.Measured) {
	if !d.told || math.IsNaN(d.noise) {
		why := noPosition
		if d.told {
			why = "the position was hardly read"
		}
		for _, n := range []string{Noise, TrackNoise, Creep} {
			miss(m, n, "%", why)
		}
		miss(m, Jumps, "", why)
		return
	}
	res := d.read.step / math.Sqrt(12)
	add(m, Noise, "%", stat.Quantity{Value: d.noise}.With("resolution", res/2, 0))
	d.worstNoise(m)
	d.jumps(m)
	creep, n := 0.0, 0
	for _, x := range d.moves {
		// While it pushes or still goes it is not left standing.
		if !math.IsNaN(x.Creep_pct) && !math.IsNaN(x.Before_pct) && x.Standing_A < d.quiet+pushes*orZero(d.moving) {
			creep, n = max(creep, x.Creep_pct), n+1
		}
	}
	if n == 0 {
		miss(m, Creep, "%", "it was not left standing")
		return
	}
	add(m, Creep, "%", stat.Quantity{Value: creep}.With("noise", d.noise/2, 0).With("resolution", res, 0))
}

// worstNoise is the highest scatter of the feedback at one place: standing there,
// or crossing it, about a straight line through neighbours.
func (d *detail) worstNoise(m *kind.Measured) {
	worst, n := 0.0, 0
	take := func(x, place float64) {
		n++
		if x > worst {
			worst, d.noisy = x, place
		}
	}
	for _, x := range d.moves {
		if !math.IsNaN(x.Noise_pct) && x.Settled {
			take(x.Noise_pct, x.Reached_pct)
		}
	}
	for _, x := range d.long() {
		in := d.samples.In(x.Start_s, x.End_s)
		bins := map[int][]float64{}
		a, b := x.Stood_pct+0.15*x.Way(), x.Stood_pct+0.85*x.Way()
		// Over more than half a place the way is not straight, and its bend is no
		// scatter: readings too far apart tell nothing.
		hole := min(0.1, spot/2/math.Abs(x.Speed_pct_s))
		for i := 1; i+1 < in.Len(); i++ {
			span := in.T_s[i+1] - in.T_s[i-1]
			f := (in.T_s[i] - in.T_s[i-1]) / span
			mid := in.P_pct[i-1]*(1-f) + in.P_pct[i+1]*f
			if (mid-a)*(mid-b) < 0 && span < hole {
				k := int(math.Floor(mid / spot))
				// Three readings' scatter is in it.
				bins[k] = append(bins[k], (in.P_pct[i]-mid)/math.Sqrt(1+f*f+(1-f)*(1-f)))
			}
		}
		for k, r := range bins {
			if len(r) >= 6 {
				take(stat.SD(r), (float64(k)+0.5)*spot)
			}
		}
	}
	if n == 0 {
		miss(m, TrackNoise, "%", "it stood nowhere long enough")
		return
	}
	// What ten readings of a place like the others would scatter (JCGM 100:2008,
	// table E.1: 24 % of a standard deviation).
	add(m, TrackNoise, "%", stat.Quantity{Value: worst}.With("few readings", d.noise*0.24, 0))
}

// jumps counts readings that lie farther from the last than the unit can have
// gone: four times its own speed.
func (d *detail) jumps(m *kind.Measured) {
	fastest := 0.0
	for _, n := range []string{SpeedUp, SpeedDown} {
		if v := m.Get(n); v != nil && v.Missing == "" {
			fastest = max(fastest, 4*v.Q.Value)
		}
	}
	if fastest == 0 {
		fastest = farther
	}
	least := max(8*d.noise, 4*d.read.step, 1.5)
	count, lone := 0, 0
	for _, x := range d.moves {
		in := d.samples.In(max(x.Start_s, d.moves[0].Start_s+boot_s), x.End_s)
		at := in.Jumps(fastest, least)
		if len(at) > 0 && math.IsNaN(d.jumpAt) {
			d.jumpAt = place(in, at[0])
		}
		count += len(at)
		for _, i := range at {
			if !returns(in, i, least) {
				lone++
			}
		}
	}
	if count > 0 {
		d.lone = float64(lone) / float64(count)
	}
	add(m, Jumps, "", stat.Exact(float64(count)))
}

// returns says that a jump is one side of a gap: within a twentieth of a second
// before or after, the reading is about where it was on the other side. What a
// tooth lets go of does not come back so soon.
func returns(s travel.Samples, i int, least float64) bool {
	const soon = 0.05
	was, is := s.P_pct[i-1], s.P_pct[i]
	for k := i + 1; k < s.Len() && s.T_s[k]-s.T_s[i] < soon; k++ {
		if math.Abs(s.P_pct[k]-was) < max(least, math.Abs(is-was)/3) {
			return true
		}
	}
	for k := i - 2; k >= 0 && s.T_s[i]-s.T_s[k] < soon; k-- {
		if math.Abs(s.P_pct[k]-is) < max(least, math.Abs(is-was)/3) {
			return true
		}
	}
	return false
}

// place is that before a jump.
func place(s travel.Samples, i int) float64 { return s.P_pct[max(0, i-1)] }

// boot_s is left to a board after switch-on before its output counts (common
// practice, no source: boards wake in tenths of a second).
const boot_s = 0.3
