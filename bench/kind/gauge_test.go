package kind

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"dutybench/signal/trace"
)

func TestGaugeThroughATrace(t *testing.T) {
	g := Gauge{Repeat: 0.01234, RepeatDoF: 24, Refill: 0.0301, RefillDoF: 6.25}
	tr := &trace.Trace{Meta: []trace.Entry{{Key: trace.KeyUnit, Value: "A1"}, g.Entry("full_current"),
		{Key: trace.KeyGauge + "full_current", Value: "9 9 9 9"}, {Key: trace.KeyGauge + "quiet", Value: "0 0 0 0"}}}
	assert.Equal(t, map[string]Gauge{"full_current": g, "quiet": {}}, GaugesOf(tr), "the first of two counts")
	for _, bad := range []string{"", "1 2 3", "1 2 3 4 5", "1 2 3 x", "-1 2 3 4", "NaN 1 1 1", "1 1 Inf 1", "1e999 1 1 1"} {
		assert.Empty(t, GaugesOf(&trace.Trace{Meta: []trace.Entry{{Key: trace.KeyGauge + "x", Value: bad}}}), bad)
	}
}

func FuzzGauge(f *testing.F) {
	f.Add("1 2 3 4")
	f.Fuzz(func(t *testing.T, s string) {
		g, ok := parseGauge(s)
		if !ok {
			return
		}
		again, ok := parseGauge(g.Entry("x").Value)
		assert.True(t, ok)
		assert.InEpsilon(t, 1+g.Repeat, 1+again.Repeat, 1e-3)
		assert.InEpsilon(t, 1+g.RefillDoF, 1+again.RefillDoF, 1e-2)
	})
}
