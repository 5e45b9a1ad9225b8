package pump

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"dutybench/bench/kind/weigh"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

func rigged(entries ...trace.Entry) *trace.Trace { return &trace.Trace{Meta: entries} }

// The bench's own errors move whole curves: they enter contrasts whole, and
// not as so many independent ones.
func TestBenchErrorsMoveTheCurveAsOne(t *testing.T) {
	r := laid(plainCurve, goodRows(20, 8))
	gain := common{source: weigh.GainSource, bench: true}
	for range r.points {
		gain.by = append(gain.by, 0.02)
	}
	r.common = append(r.common, gain)
	away := weigh.Yardstick{Profile: &profiles.Profile{}, Elsewhere: true}
	find := func(y weigh.Yardstick) weigh.Check {
		k, _ := byName(t, Scale).hold(newCurveFit(r, y), y, 5)
		return k
	}
	home := find(weigh.Yardstick{Profile: &profiles.Profile{}})
	assert.Zero(t, home.Guard)
	assert.InDelta(t, 2, find(away).Guard, 0.1, "two per cent on all is two per cent in scale")
	low, _ := byName(t, LowSpeed).hold(newCurveFit(r, away), away, 5)
	assert.Less(t, low.Guard, 2.5)
}

// What a gauge study found from one filling to the next counts where the good
// units saw one filling only, as one error over the whole curve; where they saw
// several, their spread holds it.
func TestRemountCountsWhereTheBandHasOneFilling(t *testing.T) {
	for fillings, want := range map[int]float64{1: 0.01, 3: 0, 0: 0} {
		p := &profiles.Profile{Fixture: profiles.Fixture{Remount: 0.01}, Learned: profiles.Learned{Fillings: fillings}}
		r := laid(plainCurve, goodRows(20, 8))
		y := weigh.Yardstick{Profile: p}
		r.common = benchErrors(rigged(), y, r.points)
		u := 0.0
		for _, c := range r.common {
			assert.Equal(t, weigh.RemountSource, c.source)
			assert.False(t, c.bench)
			u = c.by[0]
		}
		assert.Equal(t, want, u, "%d fillings", fillings)
	}
}
