package main

import (
	"bytes"
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/result"
)

// Whatever numbers a result holds, its JSON is valid, lists are lists, and
// what is finite stays.
func TestCleanAlwaysEncodes(t *testing.T) {
	for seed := range uint64(300) {
		rng := rand.New(rand.NewPCG(seed, 9))
		odd := 0
		num := func() float64 {
			switch rng.IntN(8) {
			case 0:
				odd++
				return math.NaN()
			case 1:
				odd++
				return math.Inf(1 - 2*rng.IntN(2))
			}
			return rng.NormFloat64()
		}
		opt := func() *float64 {
			if rng.IntN(4) == 0 {
				return nil
			}
			x := num()
			return &x
		}
		r := result.Result{Schema: 1, Verdict: result.Fail, Startup: result.Startup{Settled: opt()}}
		for range rng.IntN(4) {
			r.Findings = append(r.Findings, result.Finding{Name: "x", Value: opt(), Uncertainty: opt(), K: num(), Low: opt(), High: opt(), Spread: opt(),
				Budget: []result.Part{{Source: "noise", U: num(), DoF: num()}}})
			r.Curve = append(r.Curve, result.Point{Duty: num(), Current: num(), Uncertainty: num(), Low: opt(), High: opt(), Supply: opt()})
			r.Startup.Attempts = append(r.Startup.Attempts, result.Attempt{Start: num(), Length: num(), Mean: num(), Peak: num()})
			r.Causes = append(r.Causes, result.CauseProbability{Cause: result.Bench, Probability: num()})
		}
		got := clean(r)
		data, err := json.Marshal(object{got, "page.html"})
		require.NoError(t, err, "seed %d", seed)
		assert.NotContains(t, string(data), `"findings":null`)
		assert.Contains(t, string(data), `"page":"page.html"`)
		assert.Len(t, got.Findings, len(r.Findings), "findings are never dropped")
		if odd == 0 {
			assert.Empty(t, got.Warnings)
			assert.Len(t, got.Curve, len(r.Curve))
		}
		if len(got.Curve) < len(r.Curve) {
			assert.Len(t, got.Warnings, 1, "what is left out is said")
		}
	}
}

func TestWriteJSONIsOneLine(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, writeJSON(&b, object{Result: clean(result.Result{Sentence: "two\nlines", Source: "a\tb"})}))
	assert.Equal(t, 1, bytes.Count(b.Bytes(), []byte("\n")))
	assert.NotContains(t, b.String(), "null,\"findings\"")
	assert.ErrorContains(t, writeJSON(&b, math.NaN()), "JSON")
}
