package incomer

import (
	"bytes"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

func source(n uint64) *rand.Rand { return rand.New(rand.NewPCG(n, 77)) }

// mean is of a column in the last part of the first stretch of a duty.
func mean(t *trace.Trace, column string, duty float64) float64 {
	d, v := t.Duty(), t.Values(column)
	from := slices.Index(d, duty)
	if from < 0 {
		return math.NaN()
	}
	to := from
	for to < len(d) && d[to] == duty {
		to++
	}
	from += 2 * (to - from) / 3
	sum := 0.0
	for _, x := range v[from:to] {
		sum += x
	}
	return sum / float64(to-from)
}

// bursts counts the tries: how often the current, averaged over 60 ms, rises
// through a level.
func bursts(t *trace.Trace, level float64) (n int) {
	keep := math.Exp(-1 / (0.06 * t.Rate()))
	smooth, above := 0.0, false
	for _, a := range t.Current() {
		smooth = keep*smooth + (1-keep)*a
		switch {
		case smooth > level && !above:
			above, n = true, n+1
		case smooth < level/2:
			above = false
		}
	}
	return n
}

// empty is the part of the first try without current.
func empty(t *trace.Trace, m *Model) float64 {
	from := slices.IndexFunc(t.Duty(), func(d float64) bool { return d == m.plan.start_pct })
	a := t.Current()
	for a[from] < 0.2*m.full_A() {
		from++
	}
	n := 0.0
	first := a[from : from+int(0.9*m.try_s*m.rate_Hz)]
	for _, i := range first {
		if i < 0.1*m.full_A() {
			n++
		}
	}
	return n / float64(len(first))
}

func TestRepeatsBySeed(t *testing.T) {
	a, b := Models(3)[0], Models(3)[0]
	one := a.Faulty("rub", 0.7, source(1))
	require.Equal(t, one, b.Faulty("rub", 0.7, source(1)))
	require.NotEqual(t, one.Current(), b.Faulty("rub", 0.7, source(2)).Current())
	u, _ := one.Get(trace.KeyUnit)
	v, _ := b.Good(source(2)).Get(trace.KeyUnit)
	require.NotEqual(t, u, v)
}

func TestGoodUnitsArePlausible(t *testing.T) {
	for _, m := range Models(1) {
		t.Run(m.Name(), func(t *testing.T) {
			g := m.Good(source(5))
			_, ended := g.Get(trace.KeyEnded)
			assert.False(t, ended)
			assert.InEpsilon(t, m.rate_Hz, g.Rate(), 1e-6)
			assert.InEpsilon(t, m.full_A(), mean(g, trace.ColCurrent, 100), 0.15)
			last := 0.0
			for _, d := range m.plan.duties {
				i := mean(g, trace.ColCurrent, d)
				assert.Greater(t, i, last*1.02, "at %v %%", d)
				if last = i; d == 100 {
					break
				}
			}
			assert.Equal(t, 1, bursts(g, 0.2*m.full_A()), "tries")
			if m.hasVoltage {
				assert.InEpsilon(t, m.nominal_V, mean(g, trace.ColSupply, 100), 0.05)
			}
		})
	}
}

func TestFaultsMoveTheirQuantity(t *testing.T) {
	models := Models(1)
	for n, f := range Faults() {
		t.Run(f.Name, func(t *testing.T) {
			require.NotEmpty(t, f.Causes)
			require.NotEmpty(t, f.Line)
			require.NotEqual(t, f.Gross, f.Graded)
			m := models[n%len(models)]
			if f.Name == "lead" || f.Name == "supply-limit" {
				m = models[2] // its voltage is measured
			}
			const s = 0.8
			x, g := m.Faulty(f.Name, s, source(9)), m.typical().settled()
			full, low := mean(x, trace.ColCurrent, 100)/g[fullA], mean(x, trace.ColCurrent, m.plan.start_pct)/g[lowA]
			rest := mean(x, trace.ColCurrent, m.plan.stop_pct)
			tries := bursts(x, 0.2*m.full_A())
			ended, _ := x.Get(trace.KeyEnded)
			switch f.Name {
			case "dead", "unplugged":
				assert.InDelta(t, 0, full, 0.005)
			case "reversed":
				if m.diode {
					assert.True(t, strings.HasPrefix(ended, "over-current: "))
				} else {
					assert.InDelta(t, 0, full, 0.005)
				}
			case "dead-resting", "deaf-off":
				assert.InEpsilon(t, m.rest_A, full*g[fullA], 0.5)
			case "no-attempt":
				assert.InEpsilon(t, m.awake_A, full*g[fullA], 0.15)
			case "open-phase", "seized":
				assert.GreaterOrEqual(t, tries, 3)
				want := map[string]float64{"open-phase": 1. / 3, "seized": 0}[f.Name]
				assert.InDelta(t, want, empty(x, m), 0.08)
			case "deaf-full":
				assert.InEpsilon(t, g[fullA], mean(x, trace.ColCurrent, m.plan.duties[2]), 0.15)
			case "input-short":
				assert.True(t, strings.HasPrefix(ended, "over-current: "))
			case "resets", "sticky", "drop-outs":
				assert.GreaterOrEqual(t, tries, 2)
				if f.Name != "drop-outs" {
					assert.InEpsilon(t, 1, full, 0.15)
				}
			case "dry", "wheel-gone":
				assert.Less(t, full, 0.75)
				assert.Less(t, rest, 0.05*m.full_A())
			case "supply-limit":
				assert.Less(t, full, 0.8)
				assert.Less(t, mean(x, trace.ColSupply, 100), 0.95*m.nominal_V)
			case "lead":
				assert.Less(t, mean(x, trace.ColSupply, 100), g[fullV]-8*m.sd[fullV])
			case "power-limit", "blocked", "air":
				assert.Less(t, full*g[fullA], g[fullA]-6*m.sd[fullA])
			case "dry-friction", "viscous-friction", "rub":
				u := m.spoilt(f.Name, s, source(9)) // the same unit as in the trace
				v := m.draw(source(9))
				assert.InEpsilon(t, u.settled()[lowA]/g[lowA], low, 0.05)
				assert.Greater(t, u.settled()[lowA], v.settled()[lowA]+6*m.sd[lowA])
				if f.Name == "rub" {
					assert.Greater(t, u.settled()[lowSwing], 3*v.settled()[lowSwing])
				}
			default:
				t.Fatal("no case for this fault")
			}
		})
	}
}

// The doses do what the package says of them, as far as the dials reach.
func TestDosesAreInStandardDeviations(t *testing.T) {
	for _, m := range Models(1) {
		before := m.typical().settled()
		for _, f := range Faults() {
			if !f.Graded {
				continue
			}
			for severity, want := range map[float64]float64{0.5: 5, 1: 15} {
				u := m.typical()
				x := m.dose(f, severity)
				f.dial(u, x)
				moved := math.Abs(u.settled()[f.at]-before[f.at]) / m.sd[f.at]
				if x < 1 {
					assert.InEpsilon(t, want, moved, 0.12, "%s %s %v", m.name, f.Name, severity)
				} else {
					assert.Greater(t, moved, 0.6*want, "%s %s %v", m.name, f.Name, severity)
				}
			}
		}
	}
}

func TestGoesThroughTheFile(t *testing.T) {
	for _, m := range Models(1)[4:6] {
		a := m.Good(source(4))
		var file bytes.Buffer
		require.NoError(t, trace.Write(&file, a))
		b, err := trace.Read(&file, "a.csv")
		require.NoError(t, err)
		assert.Equal(t, a.Meta, b.Meta)
		require.Len(t, b.Columns, len(a.Columns))
		for i, c := range a.Columns {
			assert.Equal(t, c.Name, b.Columns[i].Name)
			assert.Equal(t, c.Values, b.Columns[i].Values)
		}
		assert.Empty(t, b.Warnings)
	}
}
