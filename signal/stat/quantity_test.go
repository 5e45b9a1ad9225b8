package stat

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// GUM H.1: end gauge, contributions in nm.
func TestWelchSatterthwaiteGUMH1(t *testing.T) {
	q := Exact(50.000838e6).With("standard", 25, 18).With("comparator, repeated", 5.8, 24).
		With("comparator, random", 3.9, 5).With("comparator, systematic", 6.7, 8).
		With("expansion difference", 2.9, 50).With("temperature difference", 16.6, 2)
	assert.InDelta(t, 31.66, q.U(), 0.01)   // printed 32
	assert.InDelta(t, 16.75, q.DoF(), 0.02) // printed 16.7, with d as a whole at 25.6
	// The guide takes t at the whole number below: 2.92 for 99 %, U = 93 nm
	// from the rounded 32 nm.
	k := StudentT(0.995, math.Floor(q.DoF()))
	assert.InDelta(t, 2.920782, k, 1e-6)
	assert.InDelta(t, 92.483, k*q.U(), 0.02)
	half, kf := q.Expanded(0.99)
	assert.Less(t, kf, k)
	assert.InDelta(t, kf*q.U(), half, 1e-12)
}

// GUM G.4.1: 0.25, 0.57 and 0.82 % with 9, 4 and 14 degrees of freedom.
func TestWelchSatterthwaiteGUMG41(t *testing.T) {
	q := Exact(1).With("a", 0.25, 9).With("b", 0.57, 4).With("c", 0.82, 14)
	assert.InDelta(t, 1.029466, q.U(), 1e-6)
	assert.InDelta(t, 18.998742, q.DoF(), 1e-6)
	half, k := q.Expanded(0.95)
	assert.InDelta(t, 2.09, k, 0.005)
	assert.InDelta(t, 2.2, half, 0.05)
}

func TestQuantity(t *testing.T) {
	q := Exact(3)
	assert.Zero(t, q.U())
	assert.Equal(t, inf, q.DoF())
	a := q.With("noise", 3, 0)
	b := a.With("gain", 4, 0)
	assert.Len(t, a.Budget, 1)
	assert.Equal(t, 5.0, b.U())
	assert.Equal(t, inf, b.DoF())
	_, k := b.Expanded(0.95)
	assert.InDelta(t, 1.959964, k, 1e-6)
	s := b.With("few", 5, 4).Scale(-2)
	assert.Equal(t, -6.0, s.Value)
	assert.InDelta(t, 10*math.Sqrt2, s.U(), 1e-12)
	assert.InDelta(t, 16, s.DoF(), 1e-12) // 4·(√2)⁴
	// Very small and very large uncertainties keep their degrees of freedom.
	for _, u := range []float64{1e-200, 1e150} {
		assert.InDelta(t, 7, Exact(0).With("a", u, 7).DoF(), 1e-9)
	}
	assert.Equal(t, 1.0, MeanOf(nil).With("gain", 1, 0).DoF())
	// GUM 4.4.5: an infinite number of degrees of freedom may be given as such.
	assert.Equal(t, inf, Exact(0).With("a", 1, inf).DoF())
	// GUM H.5: between-day means of a voltage, 18 µV, 9 degrees of freedom.
	v := Repeated("days", []float64{10.000172, 10.000116, 10.000013, 10.000144, 10.000106, 10.000031, 10.000060, 10.000125, 10.000163, 10.000041})
	assert.InDelta(t, 10.000097, v.Value, 5e-7)
	assert.InDelta(t, 18.053e-6, v.U(), 1e-9)
	assert.InDelta(t, 9.0, v.DoF(), 1e-9)
}
