package motor

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"dutybench/bench/kind"
	"dutybench/bench/kind/weigh"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// A mean over an interval leaves sin(x)/x of a ripple, by hand: of 600 Hz at 2.5 kHz
// 0.908, at 5 kHz 0.977, at 20 kHz 0.9985.
func TestRatesThatCompare(t *testing.T) {
	p := &profiles.Profile{Good: []profiles.GoodUnit{{}, {}}, Learned: profiles.Learned{Rate_Hz: 20_000}}
	for _, c := range []struct {
		rate           float64
		ripple, unrest bool // are held
	}{{20_000, true, true}, {18_500, true, true}, {10_000, true, false}, {5000, true, false}, {2500, false, false}, {50_000, true, false}} {
		assert.Equal(t, c.ripple, bandwidth(p, c.rate, 600) == "", c.rate)
		assert.Equal(t, c.unrest, otherRate(p, c.rate) == "", c.rate)
	}
	assert.Empty(t, otherRate(nil, 100), "nothing learned")
	p.Learned.Rate_Hz = 0
	assert.Empty(t, bandwidth(p, 100, 600), "no rate known")
}

// What good units were looked at in, a unit has to be before it passes.
func TestSegmentsNotLookedAt(t *testing.T) {
	good := profiles.GoodUnit{Values: []profiles.Value{{Name: Missing}, {Name: ShaftSpeed, Unit: "rpm", X: 3000}}}
	p := &profiles.Profile{Name: "p", Section: &Section{Brushes: 2, Segments: 12}, Good: []profiles.GoodUnit{good, good}, Learned: profiles.Learned{Rate_Hz: 20_000}}
	held := func(values ...kind.Value) *weigh.Table {
		return weigh.Hold(&kind.Measured{Trace: &trace.Trace{}, Values: values}, p, kind.Conditions{}, rulesFor(p), 0)
	}
	d := &detail{run_Hz: 1000}
	why := d.unseen(held(kind.Value{Name: Missing, Missing: "too slow"}), p)
	assert.Contains(t, why, "sampled at 1000 Hz")
	assert.Contains(t, why, "faster than 1.5 kHz", "12 ripples of 50 turns a second, over 0.4")
	assert.Empty(t, d.unseen(held(kind.Value{Name: Missing}), p), "seen")
	p.Good[0].Values, p.Good[1].Values = nil, nil
	assert.Empty(t, d.unseen(held(kind.Value{Name: Missing, Missing: "too slow"}), p), "nor was it on good units")
}
