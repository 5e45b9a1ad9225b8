package newcomer

import (
	"bytes"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

// driver is what a harness needs of a model.
type driver interface {
	Name() string
	Good(rng *rand.Rand) *trace.Trace
	Faulty(fault string, severity float64, rng *rand.Rand) *trace.Trace
}

var _ driver = (*Model)(nil)

func csv(t *testing.T, tr *trace.Trace) []byte {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, trace.Write(&out, tr))
	return out.Bytes()
}

// plateau is the mean of a column over the last two fifths of the n-th time (from
// 0) that a duty is held, NaN when it is not.
func plateau(tr *trace.Trace, column string, duty float64, n int) float64 {
	d, x := tr.Duty(), tr.Values(column)
	for i := 0; i < len(d) && x != nil; {
		j := i
		for j < len(d) && d[j] == d[i] {
			j++
		}
		if d[i] == duty {
			if n == 0 {
				return mean(x[j-(j-i)*2/5 : j])
			}
			n--
		}
		i = j
	}
	return math.NaN()
}

func mean(x []float64) float64 {
	sum, n := 0.0, 0.0
	for _, v := range x {
		if !math.IsNaN(v) {
			sum += v
			n++
		}
	}
	return sum / n
}

// nth is which time a duty of the sweep up is held: a start step may be the
// first.
func (m *Model) nth(duty float64) int {
	if m.bench.startS > 0 && m.bench.startDuty == duty && m.bench.up[0] != duty {
		return 1
	}
	return 0
}

func TestModelsCoverTheField(t *testing.T) {
	models := models()
	names, rates := map[string]bool{}, map[int]bool{}
	rules, retries, volts := map[rule]int{}, map[retry]int{}, map[float64]int{}
	blind, oneWay, uneven, fine, filtered, inverted, sensors, sine := 0, 0, 0, 0, 0, 0, 0, 0
	for _, m := range models {
		n, b := &m.bench, &m.board
		names[m.Name()], rates[n.hertz] = true, true
		rules[b.rule]++
		retries[b.retry]++
		volts[n.nominal]++
		blind += int(oneIf(!m.SupplySampled()))
		oneWay += int(oneIf(n.downS == 0))
		uneven += int(oneIf(n.uneven))
		fine += int(oneIf(n.up[1]-n.up[0] == 5))
		filtered += int(oneIf(b.henry > 2e-5))
		inverted += int(oneIf(b.inverted))
		sensors += int(oneIf(b.sensors))
		sine += int(oneIf(b.sine))
		assert.Equal(t, n.hertz, int(math.Round(1/(n.step*float64(n.substeps)))))
	}
	assert.Len(t, names, len(models))
	for _, r := range []int{100, 250, 500, 1000, 2000} {
		assert.True(t, rates[r], r)
	}
	assert.Len(t, rules, 3)
	assert.Len(t, retries, 3)
	assert.Equal(t, 1, volts[24])
	assert.Equal(t, []int{1, 1, 1}, []int{blind, oneWay, uneven})
	for _, n := range []int{fine, filtered, inverted, sensors} {
		assert.GreaterOrEqual(t, n, 2)
	}
	assert.True(t, sine >= 3 && sine <= len(models)-3)
}

func TestRepeatsBySeed(t *testing.T) {
	a, b, c := Models(8)[1], Models(8)[1], Models(9)[1]
	assert.Equal(t, a.atFive, b.atFive)
	assert.NotEqual(t, a.atFive, c.atFive)
	first := csv(t, a.Faulty("air", 0.6, source(5)))
	assert.Equal(t, first, csv(t, b.Faulty("air", 0.6, source(5))))
	assert.NotEqual(t, first, csv(t, a.Faulty("air", 0.6, source(6))))
	assert.Equal(t, csv(t, a.Good(source(5))), csv(t, b.Good(source(5))))
	rng := source(5)
	x, _ := a.Good(rng).Get(trace.KeyUnit)
	y, _ := a.Good(rng).Get(trace.KeyUnit)
	assert.NotEqual(t, x, y)
}

func TestGoodUnitsArePlausible(t *testing.T) {
	for _, m := range models() {
		t.Run(m.Name(), func(t *testing.T) {
			rng := source(7)
			expected, deviation := m.spread(source(8))
			for range 3 {
				tr := m.Good(rng)
				amps, n := tr.Current(), &m.bench
				require.Len(t, tr.Duty(), tr.Len())
				_, cut := tr.Get(trace.KeyEnded)
				assert.False(t, cut)
				nominal, _ := tr.Number(trace.KeyNominal)
				assert.Equal(t, n.nominal, nominal)
				assert.InEpsilon(t, float64(n.hertz), tr.Rate(), 0.05)
				assert.Equal(t, n.everyV > 0, tr.Values(trace.ColSupply) != nil)

				on := slices.Index(tr.Values(trace.ColSupplyOn), 1)
				assert.InDelta(t, n.zeroS, tr.Time()[on], 1.5/float64(n.hertz))
				assert.InDelta(t, 0, mean(amps[:on-1]), 3*n.stepA)
				last := 0.0
				for _, d := range append(slices.Clone(n.up[1:]), 100) {
					up := plateau(tr, trace.ColCurrent, d, m.nth(d))
					// At the top both may stand at the highest speed.
					assert.Greater(t, up, 0.985*last, "duty %g", d)
					last = up
				}
				quiet := plateau(tr, trace.ColCurrent, 0, 0)
				low := plateau(tr, trace.ColCurrent, n.up[0], m.nth(n.up[0]))
				assert.Greater(t, low, 3*quiet)
				assert.Greater(t, last, 5*low)
				for i, at := range []int{0, 3} { // lowest duty and full
					assert.Less(t, math.Abs([]float64{low, last}[i]-expected[at])/deviation[at], 4.5)
				}
			}
			for i, d := range m.probes() { // a good unit's current is known to a few percent
				assert.True(t, deviation[i]/expected[i] > 0.012 && deviation[i]/expected[i] < 0.07, "duty %g", d)
			}
		})
	}
}

func TestRoundTrip(t *testing.T) {
	for i, m := range models() {
		tr := m.Good(source(1))
		if i%3 == 0 {
			tr = m.Faulty("input-short", 0.8, source(1))
			_, cut := tr.Get(trace.KeyEnded)
			assert.True(t, cut, m.Name())
		}
		back, err := trace.Read(bytes.NewReader(csv(t, tr)), tr.Source)
		require.NoError(t, err, m.Name())
		assert.Empty(t, back.Warnings, m.Name())
		assert.Equal(t, tr.Meta, back.Meta)
		require.Len(t, back.Columns, len(tr.Columns))
		for c := range tr.Columns {
			a, b := &tr.Columns[c], &back.Columns[c]
			assert.Equal(t, a.Name, b.Name)
			assert.Equal(t, a.Missing, b.Missing, a.Name)
			same := slices.EqualFunc(a.Values, b.Values, func(x, y float64) bool {
				return x == y || math.IsNaN(x) && math.IsNaN(y)
			})
			assert.True(t, same, "%s of %s", a.Name, m.Name())
		}
	}
}

func BenchmarkGood(b *testing.B) {
	for _, m := range models() {
		b.Run(m.Name(), func(b *testing.B) {
			rng := source(3)
			for b.Loop() {
				m.Good(rng)
			}
		})
	}
}

func BenchmarkModels(b *testing.B) {
	for b.Loop() {
		Models(1)
	}
}
