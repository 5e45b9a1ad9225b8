package solenoid_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind/solenoid"
	"dutybench/signal/trace"
)

// every takes each so-manyth sample of a trace, and says what it recirculates.
func every(tr *trace.Trace, n int, recirculation string) *trace.Trace {
	out := *tr
	out.Columns = nil
	for _, c := range tr.Columns {
		var v []float64
		for i := 0; i < len(c.Values); i += n {
			v = append(v, c.Values[i])
		}
		c.Values = v
		out.Columns = append(out.Columns, c)
	}
	out.Meta = nil
	for _, e := range tr.Meta {
		if e.Key == trace.KeyRecirculation {
			e.Value = recirculation
		}
		out.Meta = append(out.Meta, e)
	}
	if recirculation == trace.RecirculationUnseen {
		duty, x := out.Duty(), out.Current()
		for i := range x {
			if duty[i] == 0 {
				x[i] = 0
			}
		}
	}
	return &out
}

// A slow trace, and one whose recirculating current is not in the readings, are
// measured as far as they go: resistance at any rate, and no motion of a plunger
// that is stuck.
func TestSlowAndUnseen(t *testing.T) {
	for _, n := range []int{2, 10} { // 5 kHz and 1 kHz
		for _, seen := range []string{trace.RecirculationSeen, trace.RecirculationUnseen} {
			for _, stuck := range []bool{false, true} {
				name := fmt.Sprintf("every %d, recirculation %s, stuck %v", n, seen, stuck)
				r := rand.New(rand.NewPCG(31, 32))
				s := drawStranger(r)
				s.stuck = stuck
				m, err := solenoid.Kind{}.Measure(every(s.test("slow", r, 24, 0.05, 0), n, seen), nil)
				require.NoError(t, err, name)
				ohms := m.Get(solenoid.Resistance)
				require.NotNil(t, ohms, name)
				assert.InEpsilon(t, s.ohm, ohms.Q.Value, 0.01, name)
				for _, v := range m.Values {
					switch v.Name {
					case solenoid.Switching:
						assert.False(t, stuck && v.Missing == "", "%s: a motion of %g s", name, v.Q.Value)
						if !stuck && v.Missing == "" {
							assert.InDelta(t, 7.4e-3, v.Q.Value, 1.5e-3, name)
						}
						t.Log(name, v.Q.Value, v.Missing)
					case solenoid.Missed:
						assert.False(t, !stuck && v.Missing == "" && v.Q.Value > 0, "%s: %g strokes missed of a plunger that moves", name, v.Q.Value)
					case solenoid.Releasing, solenoid.Return, solenoid.DropOutA, solenoid.DropOutTime:
						if seen == trace.RecirculationUnseen || stuck {
							assert.NotEmpty(t, v.Missing, "%s: %s", name, v.Name)
						}
					}
				}
			}
		}
	}
}
