package lot

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Newcombe (1998), Statistics in Medicine 17, table I: exact intervals, as
// remembered and computed again (check values, section 9).
func TestRate(t *testing.T) {
	for _, c := range []struct {
		k, n      int
		low, high float64
	}{{81, 263, 0.2527, 0.3676}, {15, 148, 0.0578, 0.1617}, {0, 20, 0, 0.1684}, {1, 29, 0.0009, 0.1776}} {
		r := NewRate(c.k, c.n)
		assert.InDelta(t, c.low, *r.Low, 5e-5)
		assert.InDelta(t, c.high, *r.High, 5e-5)
		assert.False(t, r.TooFew)
	}
	none := NewRate(0, 0)
	assert.True(t, none.TooFew)
	assert.Nil(t, none.Share)
	assert.True(t, NewRate(5, 10).TooFew)
	assert.True(t, NewRate(5, 5).TooFew)
	assert.False(t, NewRate(6, 6).TooFew)
	assert.True(t, NewRate(8, 16).TooFew)
	assert.False(t, NewRate(8, 17).TooFew)
	assert.Equal(t, "100 % (54 to 100)", NewRate(6, 6).Words())
	assert.Equal(t, "1 % (1 to 2)", NewRate(2, 400).Words(), "what is not nothing is not rounded to it")
}

// Fisher (1935), The Design of Experiments, chapter II: eight cups of tea,
// three of four told right: 17/70 one way, so 34/70 both ways. R. A. Fisher's
// twins (1934), 10 of 13 against 2 of 17: 0.000537 both ways, as statistics
// packages print it.
func TestFisher(t *testing.T) {
	assert.InDelta(t, 34.0/70, Fisher(3, 4, 1, 4), 1e-12)
	assert.InDelta(t, 2.0/70, Fisher(4, 4, 0, 4), 1e-12)
	assert.InDelta(t, 0.0005367, Fisher(10, 13, 2, 17), 5e-8)
	assert.InDelta(t, 1, Fisher(3, 10, 0, 0), 1e-12)
	assert.InDelta(t, 1, Fisher(0, 10, 0, 20), 1e-12)
	assert.True(t, math.IsNaN(Fisher(5, 4, 0, 1)))
	for a := range 6 { // turned round, it is the same table
		assert.InDelta(t, Fisher(a, 5, 3, 9), Fisher(3, 9, a, 5), 1e-12)
		assert.InDelta(t, Fisher(a, 5, 3, 9), Fisher(5-a, 5, 6, 9), 1e-12)
	}
}

func TestSpread(t *testing.T) {
	s := newSpread([]float64{math.NaN(), 3, 1, 2, 5, 4, math.Inf(1)})
	assert.Equal(t, 5, s.N)
	assert.Equal(t, 3.0, *s.Median)
	assert.InDelta(t, 1.4, *s.Low, 1e-12)
	assert.InDelta(t, 4.6, *s.High, 1e-12)
	assert.Equal(t, "3 s (1.4 to 4.6)", s.Words())
	assert.Nil(t, newSpread(nil).Median)
}

func TestGroups(t *testing.T) {
	var tests []Test
	add := func(n int, complaint, code, word string) {
		for range n {
			x := made(len(tests)+1, fmt.Sprintf("S%d", len(tests)), word)
			x.At.Complaint, x.At.DateCode = complaint, code
			tests = append(tests, x)
		}
	}
	add(18, "code stored", "2419", "pass")
	add(3, "code stored", "2419", "fail:control-board")
	add(3, "Leaks", "2420", "pass")
	add(17, "leaks", "2420", "fail:mechanical")
	add(2, "", "", "pass")
	add(1, "noisy", "2418", "open") // still to be tested: in no rate
	s := Summarise("L", tests, Rule{})
	g := s.Groups[0]
	require.Len(t, g.Groups, 3)
	assert.Equal(t, "code stored", g.Groups[0].Value)
	assert.Equal(t, "Leaks", g.Groups[1].Value, "letters' case makes no new group; as first typed")
	assert.True(t, g.Groups[0].Apart)
	assert.True(t, g.Groups[1].Apart)
	assert.Equal(t, "", g.Groups[2].Value, "what is not told comes last")
	assert.True(t, g.Groups[2].Rate.TooFew)
	assert.False(t, g.Groups[2].Apart)
	assert.Equal(t, 23, s.Yield.Count)
	assert.Equal(t, 43, s.Yield.Of)
	out := told(t, &s)
	assert.Contains(t, out, "not told")
	assert.Contains(t, out, "too few")
	assert.NotContains(t, out, "by revision", "nothing was told of it")
	data, err := json.Marshal(s)
	require.NoError(t, err)
	assert.Contains(t, string(data), `"bin":"board-good","number":2`)
	assert.NotContains(t, string(data), "null", "lists are never null, and all rates have values here: "+strings.Join(strings.SplitAfterN(string(data), "null", 2)[:1], ""))
}
