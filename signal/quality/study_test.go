package quality

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// msa is ten parts by three appraisers by three trials (MSA, the worked
// example of chapter III section B).
var msa = [][][]float64{
	{{0.29, 0.41, 0.64}, {0.08, 0.25, 0.07}, {0.04, -0.11, -0.15}},
	{{-0.56, -0.68, -0.58}, {-0.47, -1.22, -0.68}, {-1.38, -1.13, -0.96}},
	{{1.34, 1.17, 1.27}, {1.19, 0.94, 1.34}, {0.88, 1.09, 0.67}},
	{{0.47, 0.50, 0.64}, {0.01, 1.03, 0.20}, {0.14, 0.20, 0.11}},
	{{-0.80, -0.92, -0.84}, {-0.56, -1.20, -1.28}, {-1.46, -1.07, -1.45}},
	{{0.02, -0.11, -0.21}, {-0.20, 0.22, 0.06}, {-0.29, -0.67, -0.49}},
	{{0.59, 0.75, 0.66}, {0.47, 0.55, 0.83}, {0.02, 0.01, 0.21}},
	{{-0.31, -0.20, -0.17}, {-0.63, 0.08, -0.34}, {-0.46, -0.56, -0.49}},
	{{2.26, 1.99, 2.01}, {1.80, 2.12, 2.19}, {1.77, 1.45, 1.87}},
	{{-1.36, -1.25, -1.31}, {-1.68, -1.62, -1.50}, {-1.49, -1.77, -2.16}},
}

func TestCrossedMSA(t *testing.T) {
	s, err := Crossed(msa, PoolAbove)
	require.NoError(t, err)
	require.True(t, s.Pooled)
	for i, want := range []struct{ dof, ss, ms float64 }{
		{9, 88.3619, 9.81799}, {2, 3.1673, 1.58363}, {18, 0.3590, 0.01994}, {60, 2.7589, 0.04598}, {78, 3.1179, 0.03997},
	} {
		assert.Equal(t, want.dof, s.Rows[i].DoF)
		assert.InDelta(t, want.ss, s.Rows[i].SS, 5e-5, s.Rows[i].Source)
		assert.InDelta(t, want.ms, s.Rows[i].MS, 5e-6, s.Rows[i].Source)
	}
	assert.InDelta(t, 94.6471, s.Rows[5].SS, 5e-5)
	assert.InDelta(t, 0.434, s.Rows[2].F, 5e-4)
	assert.InDelta(t, 0.974, s.Rows[2].P, 5e-4)
	for _, c := range []struct {
		name                     string
		c                        Component
		variance, sd, part, var_ float64
	}{
		{"gauge", s.Gauge, 0.09143, 0.302373, 7.76, 27.86}, {"repeatability", s.Repeatability, 0.03997, 0.199933, 3.39, 18.42},
		{"reproducibility", s.Reproducibility, 0.05146, 0.226838, 4.37, 20.90}, {"part", s.Part, 1.08645, 1.042327, 92.24, 96.04},
		{"total", s.Total, 1.17788, 1.0853, 100, 100},
	} {
		assert.InDelta(t, c.variance, c.c.Variance, 5.1e-6, c.name)
		assert.InDelta(t, c.sd, c.c.SD(), 5e-5, c.name)
		assert.InDelta(t, c.part, 100*s.Contribution(c.c), 0.0051, c.name)
		assert.InDelta(t, c.var_, 100*s.Variation(c.c), 0.0051, c.name)
		assert.True(t, c.c.Low <= c.c.SD() && c.c.SD() <= c.c.High, c.name)
	}
	assert.InDelta(t, 22.68, 100*OfTolerance(s.Gauge.SD(), 8), 0.005)
	assert.InDelta(t, 78.17, 100*OfTolerance(s.Part.SD(), 8), 0.005)
	assert.InDelta(t, 4.861, s.Categories(), 5e-4)

	// With the interaction kept: F of the parts over it, and repeatability alone.
	s, err = Crossed(msa, 0)
	require.NoError(t, err)
	require.False(t, s.Pooled)
	assert.InDelta(t, 492.291, s.Rows[0].F, 5e-3)
	assert.InDelta(t, 79.406, s.Rows[1].F, 5e-3)
	assert.InDelta(t, 0.214435, s.Repeatability.SD(), 5e-6)
	assert.Zero(t, s.Interaction.Variance)
	assert.Positive(t, s.Interaction.High, "it may have a size all the same")
}

// SiRstv of NIST StRD: five instruments of five readings each.
func TestOneWay(t *testing.T) {
	rows, within, between, err := OneWay(probes())
	require.NoError(t, err)
	assert.Equal(t, 4.0, rows[0].DoF)
	assert.InDelta(t, 1.18046237440255, rows[0].F, 1e-11, "SiRstv, NIST StRD")
	assert.InDelta(t, 5.11462616e-02, rows[0].SS, 1e-13)
	assert.InDelta(t, 2.16636560e-01, rows[1].SS, 1e-13)
	assert.InDelta(t, 1.04076068334656e-01, within.SD(), 1e-13)
	assert.InDelta(t, (rows[0].MS-rows[1].MS)/5, between.Variance, 1e-15)

	// Sizes that differ, by hand: n0 = (7 - (4+9+4)/7)/2.
	rows, _, between, err = OneWay([][]float64{{1, 2}, {5, 6, 7}, {10, 12}})
	require.NoError(t, err)
	n0 := (7 - 17.0/7) / 2
	assert.InDelta(t, (rows[0].MS-rows[1].MS)/n0, between.Variance, 1e-12)
}

func probes() [][]float64 {
	return [][]float64{
		{196.3052, 196.1240, 196.1890, 196.2569, 196.3403}, {196.3042, 196.3825, 196.1669, 196.3257, 196.0422},
		{196.1303, 196.2005, 196.2889, 196.0343, 196.1811}, {196.2795, 196.1748, 196.1494, 196.1485, 195.9885},
		{196.2119, 196.1051, 196.1850, 196.0052, 196.2090},
	}
}

// A nested study by hand: two units, two fillings each, two tests each.
func TestNestedByHand(t *testing.T) {
	s, err := Nested([][][]float64{{{10, 12}, {14, 16}}, {{20, 22}, {30, 32}}})
	require.NoError(t, err)
	// Cells 11, 15, 21, 31; units 13, 26; all 19.5.
	for i, want := range []Row{{SS: 4 * (6.5*6.5 + 6.5*6.5), DoF: 1}, {SS: 2 * (4 + 4 + 25 + 25), DoF: 2}, {SS: 8, DoF: 4}, {SS: 338 + 116 + 8, DoF: 7}} {
		assert.InDelta(t, want.SS, s.Rows[i].SS, 1e-12)
		assert.Equal(t, want.DoF, s.Rows[i].DoF)
	}
	assert.InDelta(t, 2, s.Repeatability.Variance, 1e-12)
	assert.InDelta(t, (58-2)/2.0, s.Reproducibility.Variance, 1e-12)
	assert.InDelta(t, (338-58)/4.0, s.Part.Variance, 1e-12)
	assert.InDelta(t, 58.0/2, s.Rows[1].F, 1e-12)
	assert.InDelta(t, 30, s.Gauge.Variance, 1e-12)
	// Satterthwaite: (28)²/(29²/2 + 1²/4).
	assert.InDelta(t, 28*28/(29*29/2.0+1/4.0), s.Reproducibility.DoF, 1e-9)
}

// The order of units, fillings and tests says nothing; scale and shift move
// components as they move values.
func TestStudyEquivariance(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 3))
	for range 100 {
		x := drawn(rng, 2+rng.IntN(5), 2+rng.IntN(3), 2+rng.IntN(3), 3, 2, 1)
		a, b := math.Exp(3*rng.NormFloat64()), 100*rng.NormFloat64()
		moved, mixed := make([][][]float64, len(x)), make([][][]float64, len(x))
		appraisers := rng.Perm(len(x[0]))
		for i, to := range rng.Perm(len(x)) {
			mixed[to] = make([][]float64, len(x[i]))
			for j := range x[i] {
				cell := slices.Clone(x[i][j])
				scaled := slices.Clone(cell)
				for k := range scaled {
					scaled[k] = a*scaled[k] + b
				}
				moved[i] = append(moved[i], scaled)
				rng.Shuffle(len(cell), func(p, q int) { cell[p], cell[q] = cell[q], cell[p] })
				mixed[to][appraisers[j]] = cell
			}
		}
		for name, study := range map[string]func([][][]float64) (Study, error){
			"nested": Nested, "crossed": func(v [][][]float64) (Study, error) { return Crossed(v, PoolAbove) },
		} {
			one, err := study(x)
			require.NoError(t, err)
			two, err := study(moved)
			require.NoError(t, err)
			three, err := study(mixed)
			require.NoError(t, err)
			pick := func(s Study) []Component {
				return []Component{s.Repeatability, s.Reproducibility, s.Interaction, s.Gauge, s.Part, s.Total}
			}
			for i, c := range pick(one) {
				tol := 1e-8 * (one.Total.SD() + math.Abs(b)/a)
				assert.InDelta(t, a*c.SD(), pick(two)[i].SD(), 1e-6*a*one.Total.SD()+1e-9*math.Abs(b), name)
				assert.InDelta(t, c.SD(), pick(three)[i].SD(), tol, name)
				assert.InDelta(t, c.High, pick(three)[i].High, 1e-6*(1+c.High), name)
			}
			assert.InDelta(t, one.Total.Variance, one.Repeatability.Variance+one.Reproducibility.Variance+one.Part.Variance, 1e-9*one.Total.Variance)
			var parts float64
			for _, r := range one.Rows[:len(one.Rows)-1] {
				if r.Source != "repeatability, pooled" {
					parts += r.SS
				}
			}
			assert.InEpsilon(t, parts, one.Rows[len(one.Rows)-1].SS, 1e-12)
		}
	}
}

// drawn is a nested study of known components.
func drawn(rng *rand.Rand, units, fillings, repeats int, unit, filling, repeat float64) [][][]float64 {
	x := make([][][]float64, units)
	for i := range x {
		u := unit * rng.NormFloat64()
		for range fillings {
			f := filling * rng.NormFloat64()
			cell := make([]float64, repeats)
			for k := range cell {
				cell[k] = u + f + repeat*rng.NormFloat64()
			}
			x[i] = append(x[i], cell)
		}
	}
	return x
}

// The intervals hold the true components in about 95 of 100 studies, also
// where a component is nothing beside the one below it.
func TestIntervalsHold(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 4))
	for _, c := range []struct{ unit, filling, repeat float64 }{{3, 2, 1}, {3, 0.3, 1}, {0, 0, 1}, {1, 1, 0.1}} {
		const many = 2000
		var held [4]int
		for range many {
			s, err := Nested(drawn(rng, 5, 3, 3, c.unit, c.filling, c.repeat))
			require.NoError(t, err)
			for i, q := range []struct {
				c  Component
				sd float64
			}{{s.Repeatability, c.repeat}, {s.Reproducibility, c.filling}, {s.Part, c.unit}, {s.Gauge, math.Hypot(c.filling, c.repeat)}} {
				if q.c.Low <= q.sd && q.sd <= q.c.High {
					held[i]++
				}
			}
		}
		t.Logf("%v: repeatability, refill, unit, gauge held in %v of %d", c, held, many)
		for i, n := range held {
			assert.Greater(t, float64(n)/many, 0.90, "%v, component %d", c, i)
		}
	}
}

func TestStudyRefuses(t *testing.T) {
	for name, x := range map[string][][][]float64{
		"nothing":        nil,
		"one part":       {{{1, 2}, {3, 4}}},
		"one filling":    {{{1, 2}}, {{3, 4}}},
		"one test":       {{{1}, {2}}, {{3}, {4}}},
		"a hole":         {{{1, 2}, {3, 4}}, {{1, 2}, {3}}},
		"a part short":   {{{1, 2}, {3, 4}}, {{1, 2}}},
		"not a number":   {{{1, 2}, {3, 4}}, {{1, 2}, {3, math.NaN()}}},
		"without an end": {{{1, 2}, {3, 4}}, {{1, 2}, {3, math.Inf(1)}}},
	} {
		_, err := Nested(x)
		assert.Error(t, err, name)
		_, err = Crossed(x, 0)
		assert.Error(t, err, name)
	}
	_, _, _, err := OneWay([][]float64{{1}})
	assert.Error(t, err)
}

// A study in which nothing differs is nought throughout, not NaN.
func TestStudyOfEqualValues(t *testing.T) {
	s, err := Nested([][][]float64{{{1, 1}, {1, 1}}, {{1, 1}, {1, 1}}})
	require.NoError(t, err)
	for _, c := range []Component{s.Repeatability, s.Reproducibility, s.Gauge, s.Part, s.Total} {
		assert.Equal(t, Component{weights: c.weights}, c)
	}
}

func FuzzNested(f *testing.F) {
	f.Add(uint64(1), 1.0, 0.0)
	f.Add(uint64(2), 1e-300, 1e12)
	f.Fuzz(func(t *testing.T, seed uint64, scale, shift float64) {
		if !(math.Abs(scale) < 1e100) || !(math.Abs(shift) < 1e100) {
			t.Skip()
		}
		rng := rand.New(rand.NewPCG(seed, 5))
		x := drawn(rng, 2+rng.IntN(4), 2+rng.IntN(3), 2+rng.IntN(3), scale, scale, scale)
		for i := range x {
			for j := range x[i] {
				for k := range x[i][j] {
					x[i][j][k] += shift
				}
			}
		}
		for _, study := range []func([][][]float64) (Study, error){Nested, func(v [][][]float64) (Study, error) { return Crossed(v, PoolAbove) }} {
			s, err := study(x)
			require.NoError(t, err)
			for _, c := range []Component{s.Repeatability, s.Reproducibility, s.Gauge, s.Part, s.Total} {
				require.False(t, math.IsNaN(c.Variance) || c.Variance < 0 || math.IsNaN(c.Low) || math.IsNaN(c.High) || c.Low > c.High || c.DoF < 0, "%+v", c)
			}
		}
	})
}
