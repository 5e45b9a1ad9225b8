package plot

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestNice(t *testing.T) {
	for _, c := range []struct {
		low, high float64
		most      int
		ticks     []float64
	}{
		{0, 10, 5, []float64{0, 2, 4, 6, 8, 10}},
		{0, 5.28, 6, []float64{0, 1, 2, 3, 4, 5, 6}},
		{-0.2, 0.9, 4, []float64{-0.5, 0, 0.5, 1}},
		{0.1, 0.3, 2, []float64{0.1, 0.2, 0.3}},
		{11.5, 14.4, 4, []float64{11, 12, 13, 14, 15}},
		{7, 7, 2, []float64{6.5, 7, 7.5}},
	} {
		s := Nice(c.low, c.high, c.most)
		assert.InDeltaSlice(t, c.ticks, s.Ticks, 1e-9, "%v to %v", c.low, c.high)
	}
}

func TestScalesOfAnyRange(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 4))
	for range 3000 {
		low := (rnd.Float64() - 0.5) * math.Pow(10, float64(rnd.IntN(40)-20))
		high := low + rnd.Float64()*math.Pow(10, float64(rnd.IntN(40)-20))
		most := 1 + rnd.IntN(12)
		checkScale(t, low, high, most)
		if t.Failed() {
			return
		}
	}
}

func FuzzScale(f *testing.F) {
	f.Add(0.0, 1.0, 5)
	f.Add(math.Inf(-1), math.Inf(1), 3)
	f.Add(math.NaN(), 1.0, 0)
	f.Add(-math.MaxFloat64, math.MaxFloat64, 7)
	f.Add(5e-324, 1e-323, 2)
	f.Add(1e9, 1e9+1e-7, 4)
	f.Fuzz(func(t *testing.T, low, high float64, most int) { checkScale(t, low, high, most%100) })
}

// checkScale: ticks rise evenly and are told apart by their words; a nice
// scale covers the values with no more intervals than asked for.
func checkScale(t *testing.T, low, high float64, most int) {
	t.Helper()
	n := Nice(low, high, most)
	w := Within(low, high, most)
	lo, hi := sane(low, high)
	require.LessOrEqual(t, n.Low, lo)
	require.GreaterOrEqual(t, n.High, hi)
	require.Equal(t, lo, w.Low)
	require.Equal(t, hi, w.High)
	require.LessOrEqual(t, len(n.Ticks), max(most, 2)+1, "%v %v %d", low, high, most)
	require.GreaterOrEqual(t, len(n.Ticks), 2)
	require.LessOrEqual(t, len(w.Ticks), max(most, 1)+1)
	for _, s := range []Scale{n, w} {
		for i, v := range s.Ticks {
			require.False(t, v == 0 && math.Signbit(v))
			slack := s.Step*1e-6 + math.Abs(v)*1e-15
			require.True(t, v >= s.Low-slack && v <= s.High+slack, "%v outside %v to %v", v, s.Low, s.High)
			if i > 0 {
				require.NotEqual(t, s.Words(v), s.Words(s.Ticks[i-1]), "%v %v %d", low, high, most)
				require.InEpsilon(t, s.Step, v-s.Ticks[i-1], 1e-5, "%v %v %d", low, high, most)
			}
		}
	}
}

func TestNumbers(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{Fixed(-0.001, 1), "0.0"},
		{Fixed(math.Copysign(0, -1), 0), "0"},
		{Fixed(2.345, 2), "2.35"},
		{Fixed(math.NaN(), 2), None},
		{Fixed(12345678, 0), "1.23e7"},
		{Digits(0.0123456, 3), "0.0123"},
		{Digits(123456, 2), "123456"},
		{Digits(9.996, 3), "10.0"},
		{Digits(1.5e-9, 2), "1.5e-9"},
		{Digits(math.Inf(-1), 2), None},
		{Short(4.260, 3), "4.26"},
		{Short(2, 3), "2"},
		{Short(100, 2), "100"},
	} {
		assert.Equal(t, c.want, c.got)
	}
}

// JCGM 100:2008, 7.2.2 and 7.2.6: a mass of 100.02147 g with u = 0.35 mg is
// stated with two digits of u.
func TestValueAndUncertaintyEndAtTheSamePlace(t *testing.T) {
	for _, c := range []struct {
		v, u         float64
		value, uncer string
	}{
		{100.02147, 0.00035, "100.02147", "0.00035"},
		{4.8176, 0.0779, "4.818", "0.078"},
		{4.8176, 0.0996, "4.82", "0.10"},
		{-0.0004, 0.12, "0.00", "0.12"},
		{1234.5, 37, "1234", "37"},
		{3, 0, "3", ""},
		{3, math.NaN(), "3", ""},
		{math.NaN(), 0.1, None, ""},
	} {
		value, u := WithUncertainty(c.v, c.u)
		assert.Equal(t, c.uncer, u, c.v)
		assert.Equal(t, c.value, value, c.v)
	}
}

func TestPlain(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"S-1001 µΩ °C é 泵", "S-1001 µΩ °C é 泵"},
		{"a\x1b[31mb\r\nc\td", "a [31mb  c d"},
		{"\u202eevil\u2066", "evil"},
		{"x\xffy", "x\uFFFDy"},
		{"\u0085\u2028z", "  z"},
	} {
		assert.Equal(t, c.want, Plain(c.in))
	}
}
