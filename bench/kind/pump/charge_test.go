package pump

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

// charging is a switch-on at 50 ms: a capacitor C behind a resistance R takes
// V/R·exp(-t/RC), in all C·V (the capacitor's law), and a resting current.
// Each sample is the mean over its interval, as an averaging converter gives.
func charging(rate_Hz, farad, ohm, volt, clip_A float64) *trace.Trace {
	const on_s, quiet = 0.05, 0.03
	r := rand.New(rand.NewPCG(40, 1))
	taken := func(t float64) float64 { // charge up to t
		if t <= on_s {
			return 0
		}
		return farad*volt*(1-math.Exp(-(t-on_s)/(ohm*farad))) + quiet*(t-on_s)
	}
	s := sampled{rate_Hz: rate_Hz, length_s: 0.6, duty: func(float64) float64 { return 0 },
		on: func(t float64) bool { return t > on_s-0.5/rate_Hz }}
	s.current = func(t float64) float64 {
		x := (taken(t+1/rate_Hz)-taken(t))*rate_Hz + 0.003*r.NormFloat64()
		return min(x, clip_A)
	}
	return s.trace()
}

func TestSwitchOnChargeOfAKnownCapacitor(t *testing.T) {
	for _, c := range []struct{ farad, ohm, volt float64 }{
		{1000e-6, 0.2, 12}, {470e-6, 0.5, 12}, {2200e-6, 0.15, 13.5}, {1000e-6, 0.3, 24},
	} {
		m, _ := measured(t, charging(20000, c.farad, c.ohm, c.volt, math.Inf(1)), nil)
		q := value(t, m, SwitchOnCharge)
		require.Empty(t, q.Missing)
		want := c.farad * c.volt
		assert.InDelta(t, want, q.Q.Value, 0.03*want, "%v", c)
		assert.InDelta(t, want, q.Q.Value, 2*q.Q.U(), "%v: within its uncertainty", c)
		assert.InDelta(t, 0.03, value(t, m, Quiet).Q.Value, 0.001, "the peak does not lift the rest")
	}
}

// At a kilohertz the peak falls into one or two samples: the charge of
// averaging samples still comes back, and the uncertainty says how well.
func TestSwitchOnChargeAtTheSlowestRate(t *testing.T) {
	m, _ := measured(t, charging(1024, 1000e-6, 0.2, 12, math.Inf(1)), nil)
	q := value(t, m, SwitchOnCharge).Q
	require.InDelta(t, 0.012, q.Value, 2*q.U())
	require.Greater(t, q.U(), 0.1*q.Value)
}

// A conversion that was under way at switch-on, its middle before it, stands
// without supply in the trace and holds a part of the peak, or all of it.
func TestSwitchOnChargeUnderWayAtSwitchOn(t *testing.T) {
	tr := charging(1700, 720e-6, 0.04, 10.8, math.Inf(1))
	on := tr.Values(trace.ColSupplyOn)
	from := slices.Index(on, 1)
	on[from] = 0 // the first of them
	m, _ := measured(t, tr, nil)
	q := value(t, m, SwitchOnCharge).Q
	require.InDelta(t, 720e-6*10.8, q.Value, 0.02*720e-6*10.8)
}

// A supply that folds back for its first moments charges the capacitor slowly:
// what flows in 20 ms says nothing of the capacitor.
func TestSwitchOnChargeOfASlowSupply(t *testing.T) {
	for slow_s, measurable := range map[float64]bool{0.001: true, 0.2: false} {
		tr := charging(2000, 1000e-6, 0.2, 12, math.Inf(1))
		time := tr.Time()
		volt := make([]float64, len(time))
		for i := range volt {
			volt[i] = 13.5 * min(1, max(0, (time[i]-0.05)/slow_s))
		}
		tr.Columns = append(tr.Columns, trace.Column{Name: trace.ColSupply, Values: volt})
		m, _ := measured(t, tr, nil)
		require.Equal(t, measurable, value(t, m, SwitchOnCharge).Missing == "", "%g s", slow_s)
	}
}

func TestSwitchOnChargeThatCannotBeMeasured(t *testing.T) {
	m, _ := measured(t, charging(500, 1000e-6, 0.2, 12, math.Inf(1)), nil)
	require.Contains(t, value(t, m, SwitchOnCharge).Missing, "sampling")
	s := sampled{rate_Hz: 5000, length_s: 0.5, duty: func(float64) float64 { return 0 }, current: func(float64) float64 { return 0.03 }}
	m, _ = measured(t, s.trace(), nil)
	require.Contains(t, value(t, m, SwitchOnCharge).Missing, "supply going on")
}

// A converter at its end shows less than flowed: never more than the true
// charge.
func TestClippedChargeIsAtMostTheTrueOne(t *testing.T) {
	m, _ := measured(t, charging(20000, 1000e-6, 0.2, 12, 20), nil)
	require.Less(t, value(t, m, SwitchOnCharge).Q.Value, 0.012)
}

func TestTrimmedMean(t *testing.T) {
	x := []float64{1, 1.1, 0.9, 1, 1.05, 0.95, 60}
	require.InDelta(t, 1, trimmed(x, 0), 0.01)
	require.InDelta(t, 1, trimmed([]float64{1, 1, 1, 1}, 0), 0, "no spread at all")
}
