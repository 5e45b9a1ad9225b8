package kind

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"dutybench/signal/trace"
)

// Gauge is what a gauge study of the bench found for one finding: standard
// uncertainties in the finding's unit, and the degrees of freedom behind them
// (0: without limit).
type Gauge struct {
	Repeat, RepeatDoF float64 // one test after another, nothing touched
	Refill, RefillDoF float64 // the loop filled, and the unit mounted, again
}

// Entry is the comment line that carries it in a trace, so that judging the
// trace again needs no study.
func (g Gauge) Entry(finding string) trace.Entry {
	return trace.Entry{Key: trace.KeyGauge + finding, Value: fmt.Sprintf("%.4g %.3g %.4g %.3g", g.Repeat, g.RepeatDoF, g.Refill, g.RefillDoF)}
}

// GaugesOf reads what a trace carries, by finding. A line that is none is left
// out: it states nothing.
func GaugesOf(tr *trace.Trace) map[string]Gauge {
	var out map[string]Gauge
	for _, e := range tr.Meta {
		finding, ok := strings.CutPrefix(e.Key, trace.KeyGauge)
		if !ok {
			continue
		}
		g, ok := parseGauge(e.Value)
		if _, twice := out[finding]; !ok || twice {
			continue
		}
		if out == nil {
			out = map[string]Gauge{}
		}
		out[finding] = g
	}
	return out
}

func parseGauge(s string) (g Gauge, ok bool) {
	words := strings.Fields(s)
	to := []*float64{&g.Repeat, &g.RepeatDoF, &g.Refill, &g.RefillDoF}
	if len(words) != len(to) {
		return g, false
	}
	for i, w := range words {
		v, err := strconv.ParseFloat(w, 64)
		if err != nil || !(v >= 0) || math.IsInf(v, 0) {
			return g, false
		}
		*to[i] = v
	}
	return g, true
}
