package motor

import (
	"fmt"
	"math"

	"dutybench/bench/kind/weigh"
	"dutybench/profiles"
	"dutybench/signal/stat"
)

const (
	// likeRate is by how much two rates may differ, as a share, and be the same: what
	// is as strong at every frequency scatters by the root of the bandwidth, so a
	// tenth is the twentieth that good units' unrest is taken to differ by at least.
	likeRate = 0.1
	// likeRipple is how far two rates may see one ripple differently: what good
	// units' ripple is taken to differ by at least.
	likeRipple = 0.03
	// readable is the highest ripple that a speed is read from, as a share of the
	// sampling rate; see signal/commutator.
	readable = 0.4
)

// learnedAt is the rate at which a profile's good units were sampled; 0 not known.
func learnedAt(p *profiles.Profile) float64 {
	if p == nil || len(p.Good) == 0 {
		return 0
	}
	return p.Learned.Rate_Hz
}

// otherRate says why what goes with bandwidth cannot be held against good units;
// "" where it can.
func otherRate(p *profiles.Profile, rate_Hz float64) string {
	good := learnedAt(p)
	if !(good > 0) || math.Abs(rate_Hz/good-1) <= likeRate {
		return ""
	}
	return fmt.Sprintf("sampled at %.4g Hz, the profile's good units at %.4g Hz, and its size goes with that", rate_Hz, good)
}

// bandwidth says why a ripple's amplitude cannot be held against good units. A
// sample may be a point or the mean of its interval, which leaves sin(x)/x of the
// ripple, x being π times its frequency over the rate; a trace does not say which.
func bandwidth(p *profiles.Profile, rate_Hz, ripple_Hz float64) string {
	good := learnedAt(p)
	if !(good > 0) || math.Abs(rate_Hz/good-1) <= likeRate {
		return ""
	}
	left := func(rate float64) float64 {
		x := math.Pi * ripple_Hz / rate
		return math.Sin(x) / x
	}
	if math.Abs(left(rate_Hz)-left(good)) <= likeRipple {
		return ""
	}
	return otherRate(p, rate_Hz)
}

// scatter of the running current about its mean, noise at rest taken off: it takes
// no speed, and so no segments. Where those are known the mean turn says more.
func (d *detail) scatter(t, x []float64, p *profiles.Profile, v taken) {
	if why := otherRate(p, rate(t, stretch{from: 0, to: len(t)})); why != "" {
		v.miss(why, Scatter)
		return
	}
	if len(x) < 100 {
		v.miss("the run has too few samples", Scatter)
		return
	}
	sd := stat.SD(x)
	s := math.Sqrt(max(0, sd*sd-d.noise*d.noise))
	v.add(Scatter, stat.Quantity{Value: s}.With("noise", d.noise/math.Sqrt(float64(len(x))), 0))
}

// asGood is the rate of the good units as advice.
func asGood(p *profiles.Profile) string {
	if good := learnedAt(p); good > 0 {
		return fmt.Sprintf(", best at the good units' %.3g kHz", good/1000)
	}
	return ""
}

// unseen says what keeps a running unit from a pass: brushes and segments were not
// looked at, where they were on good units; "" where nothing does.
func (d *detail) unseen(t *weigh.Table, p *profiles.Profile) string {
	seen, good := false, false
	for _, n := range []string{Missing, Uneven} {
		seen = seen || t.Get(n).Measured()
		good = good || 2*len(weigh.Values(p, n)) > len(p.Good)
	}
	if seen || !good {
		return ""
	}
	least := math.NaN()
	if rpm := weigh.Values(p, ShaftSpeed); len(rpm) > 0 {
		least = stat.Mean(rpm) / 60 * float64(sectionOf(p).perTurn()) / readable
	}
	got := d.run_Hz
	if got > 0 && got < least {
		return fmt.Sprintf("brushes and segments were not looked at, as it was sampled at %.4g Hz: sample faster than %.2g kHz%s", got, least/1000, asGood(p))
	}
	why := "brushes and segments were not looked at: " + t.Get(Missing).Note
	if got > 0 && got < learnedAt(p)*(1-likeRate) {
		why += fmt.Sprintf(" (sampled at %.4g Hz: sample faster%s)", got, asGood(p))
	}
	return why
}
