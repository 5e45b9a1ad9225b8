package learn

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/signal/stat"
)

// of is a quantity of units U-0, U-1, …
func of(name, unit string, xs ...float64) quantity {
	q := quantity{name: name, unit: unit, values: xs, count: unit == ""}
	for i := range xs {
		q.of = append(q.of, fmt.Sprint("U-", i))
	}
	return q
}

// with is values with the i-th replaced.
func with(xs []float64, i int, x float64) []float64 {
	xs[i] = x
	return xs
}

func TestUnusualUnitsAreNamed(t *testing.T) {
	even := scores(20, 2, 0.05)
	for name, c := range map[string]struct {
		in   []quantity
		says []string // one for each unit named
	}{
		"none":                         {[]quantity{of("x", "A", even...)}, nil},
		"one":                          {[]quantity{of("x", "A", with(scores(20, 2, 0.05), 7, 2.5)...), of("y", "A", even...)}, []string{"unit U-7: x is 2.5 A"}},
		"in two quantities":            {[]quantity{of("x", "A", with(scores(20, 2, 0.05), 7, 2.5)...), of("y", "A", with(scores(20, 2, 0.05), 7, 2.7)...)}, []string{"U-7: y is 2.7 A"}},
		"two units":                    {[]quantity{of("x", "A", with(scores(20, 2, 0.05), 7, 2.5)...), of("y", "A", with(scores(20, 2, 0.05), 3, 1.4)...)}, []string{"U-7", "U-3"}},
		"a count":                      {[]quantity{of("x", "", with(scores(20, 1, 0), 7, 2)...)}, nil},
		"all alike":                    {[]quantity{of("x", "A", scores(20, 1, 0)...)}, nil},
		"off by what no bench repeats": {[]quantity{of("x", "A", with(scores(20, 1, 0), 7, 1.001)...)}, nil},
		"two values":                   {[]quantity{of("x", "A", 1, 2)}, nil},
		"nothing":                      {nil, nil},
	} {
		t.Run(name, func(t *testing.T) {
			out := unusual(c.in)
			require.Len(t, out, len(c.says), "%v", out)
			for i, s := range c.says {
				require.Contains(t, out[i], s)
			}
		})
	}
	both := unusual([]quantity{of("x", "A", with(scores(20, 2, 0.05), 7, 2.5)...), of("y", "A", with(scores(20, 2, 0.05), 7, 2.7)...)})
	require.Contains(t, both[0], "as unusual in 1 more of 2")
}

// Uranium of the e-Handbook, 1.3.5.17.1: G = 2.4687 for 245.57, with eight
// values; the two-sided critical value at 5 % is 2.1266 (from the formula there).
func TestUnusualByTheHandbook(t *testing.T) {
	q := of("isotope", "x", 199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57)
	out := unusual([]quantity{q})
	require.Len(t, out, 1)
	require.Contains(t, out[0], "U-7: isotope is 245.6 x, 2.5 standard deviations")
	q.values[7] = 203
	require.Empty(t, unusual([]quantity{q}))
}

// Of good units alone, one learning in twenty names one.
func TestUnusualIsRareAmongGoodUnits(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	const learnings = 400
	named := 0
	for range learnings {
		var in []quantity
		for j := range 25 {
			xs := make([]float64, 20)
			for i := range xs {
				xs[i] = 10 + r.NormFloat64()
			}
			in = append(in, of(fmt.Sprint("q", j), "x", xs...))
		}
		if len(unusual(in)) > 0 {
			named++
		}
	}
	low, high := stat.ClopperPearson(named, learnings, 0.999)
	require.True(t, low <= falsely && high >= 0.7*falsely, "%d of %d: %s", named, learnings, strings.TrimSpace(fmt.Sprintf("%.3f to %.3f", low, high)))
}
