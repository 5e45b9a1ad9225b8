package pump

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Where all but a few blocks lie in one class of current there is no line to
// be fitted, and no uncertainty that could be written down.
func TestSupplyInOneClassOnlyIsNotMeasured(t *testing.T) {
	s := sampled{rate_Hz: 1000, length_s: 0.5, duty: func(float64) float64 { return 50 }, current: func(at float64) float64 {
		if at > 0.475 {
			return 0.1
		}
		return 1
	}, volts: func(_, x float64) float64 { return 12 - 0.1*x }}
	m, _ := measured(t, s.trace(), nil)
	for _, n := range []string{SupplyDrop, SupplyFold} {
		v := value(t, m, n)
		if v.Missing == "" {
			require.False(t, math.IsNaN(v.Q.Value) || math.IsInf(v.Q.Value, 0), n)
			require.False(t, math.IsNaN(v.Q.U()) || math.IsInf(v.Q.U(), 0), "%s: its uncertainty is %g", n, v.Q.U())
		}
	}
}
