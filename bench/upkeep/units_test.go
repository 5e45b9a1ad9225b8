package upkeep

import (
	"bytes"
	"encoding/json"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/result"
)

// Another check unit does not hide the alarm of the one before.
func TestAnotherCheckUnitHidesNoAlarm(t *testing.T) {
	s, rng := &shelf{}, rand.New(rand.NewPCG(5, 9))
	s.checks(t, rng, 20, 0, nil)
	s.put(t, CheckUnit, "C1", map[string]float64{"full_current": 5.4}, nil)
	s.put(t, CheckUnit, "W", map[string]float64{"full_current": 5}, nil)
	s.put(t, CheckUnit, "elsewhere", map[string]float64{"full_current": 5}, func(r *record.Record, x *result.Result) {
		r.Rig.Name, x.Verdict = "bench two", result.Fail
	})
	c := one(0)
	c.Rig = "bench one"
	h, err := Watch(s, c)
	require.NoError(t, err)
	assert.Equal(t, "W", h.Unit)
	assert.False(t, h.Out)
	require.Len(t, h.Others, 1)
	assert.Equal(t, "C1", h.Others[0].Unit)
	assert.Contains(t, h.Others[0].Record, "-000021")
	var text, page bytes.Buffer
	require.NoError(t, h.WriteText(&text, true))
	require.NoError(t, h.Page(&page, "dutybench 1"))
	for _, said := range []string{text.String(), page.String()} {
		assert.Contains(t, said, "Check unit C1 lay out when it was tested last")
		assert.Contains(t, said, "full current: 5.4 A lies outside")
	}
	data, err := json.Marshal(h.JSON())
	require.NoError(t, err)
	assert.Contains(t, string(data), `"other_units_out":[{"unit":"C1"`)

	c.Unit = "c1" // whatever the case of its letters
	h, err = Watch(s, c)
	require.NoError(t, err)
	assert.True(t, h.Out)
	assert.Empty(t, h.Others, "W lies in")
	assert.Len(t, h.Tests, 21)
	all, err := All(s, Chosen{Rig: "bench one", Findings: c.Findings})
	require.NoError(t, err)
	require.Len(t, all, 2)
	assert.Equal(t, []string{"W", "C1"}, []string{all[0].Unit, all[1].Unit})

	s.put(t, CheckUnit, "C1", map[string]float64{"full_current": 5}, nil)
	c.Unit = "W"
	h, err = Watch(s, c)
	require.NoError(t, err)
	assert.Empty(t, h.Others, "tested again, it lies in")
	c.Unit = "nobody"
	_, err = Watch(s, c)
	assert.ErrorIs(t, err, ErrNoCheck)
}

// counting counts what is read of a store.
type counting struct {
	*shelf
	lists []record.Filter
}

func (c *counting) List(f record.Filter) ([]record.Entry, error) {
	c.lists = append(c.lists, f)
	all, err := c.shelf.List(f)
	var out []record.Entry
	for i := len(all) - 1; i >= 0 && f.Newest; i-- {
		if out = append(out, all[i]); len(out) == f.Limit {
			break
		}
	}
	return out, err
}

// A test is warned of a bench whose newest check lay out, from one short list.
func TestUnwell(t *testing.T) {
	s, rng, folder := &counting{shelf: &shelf{}}, rand.New(rand.NewPCG(5, 10)), t.TempDir()
	says := func() string {
		s.lists = nil
		w := Unwell(s, folder, "bench one", false)
		require.Len(t, s.lists, 1)
		require.Equal(t, record.Filter{Purpose: CheckUnit, Rig: "bench one", Newest: true, Limit: lookBack}, s.lists[0])
		return w
	}
	check := func(current float64, change func(*record.Record, *result.Result)) {
		s.put(t, CheckUnit, "C1", map[string]float64{"full_current": current}, change)
		h, err := Watch(s.shelf, one(0))
		require.NoError(t, err)
		require.NoError(t, KeepWord(folder, h))
	}
	assert.Empty(t, says(), "no check was ever made")
	s.checks(t, rng, 20, 0, nil)
	check(5, nil)
	assert.Empty(t, says())
	check(5.4, nil) // passes, and lies out by the charts alone
	w := says()
	assert.Contains(t, w, "The bench's last check (record k3v7q2m9xw-000022, 2026-01-26")
	assert.Contains(t, w, "was out of control: full current: 5.4 A lies outside")
	assert.True(t, IsUnwell(w))
	assert.False(t, IsUnwell("The zero moved."))
	assert.Empty(t, Unwell(s, folder, "bench one", true), "of the simulated board nothing is known")
	s.put(t, CheckUnit, "C1", nil, func(r *record.Record, x *result.Result) { r.Cancelled, x.Verdict = true, result.Undecided })
	assert.Equal(t, w, says(), "one that was stopped says nothing")
	check(5, nil)
	assert.Empty(t, says(), "checked again, and in")
	check(5, func(_ *record.Record, x *result.Result) { x.Verdict = result.Fail })
	assert.Contains(t, says(), "came out as fail")
	// Without its file, or with one that is none, the verdict is told all the same.
	require.NoError(t, os.WriteFile(filepath.Join(folder, WordFile), []byte("= none"), 0o644))
	assert.Contains(t, says(), "came out as fail")
	check(5.4, nil)
	assert.Contains(t, says(), "lies outside", "and is made anew by the next check")
	require.NoError(t, os.Remove(filepath.Join(folder, WordFile)))
	assert.Empty(t, says(), "a pass, of which no chart is known")
}

// How soon a shift is seen is said the same way everywhere, and holds for a
// bench drawn here.
func TestSeen(t *testing.T) {
	h := Health{Baseline: Baseline}
	require.NoError(t, h.rules(4))
	half, most := h.Seen()
	again, _ := h.Seen()
	assert.Equal(t, half, again)
	rng := rand.New(rand.NewPCG(5, 11))
	within, n := 0, 1500
	for range n {
		base := make([]float64, Baseline)
		for i := range base {
			base[i] = rng.NormFloat64()
		}
		if h.firstAlarm(base, rng) <= half {
			within++
		}
	}
	assert.InDelta(t, 0.5, float64(within)/float64(n), 0.07)
	assert.Greater(t, most, half)
	assert.InDelta(t, 7, half, 2, "DEVELOPERS and README say 7 and 23")
	assert.InDelta(t, 23, most, 5)
	var b bytes.Buffer
	s := &shelf{}
	s.checks(t, rng, 3, 0, nil)
	w, err := Watch(s, one(0))
	require.NoError(t, err)
	require.NoError(t, w.WriteText(&b, true))
	assert.Contains(t, b.String(), "on half of all benches")
	assert.NotContains(t, b.String(), "on average")
}

// Verdicts of different kinds are no row of the same.
func TestRunsOfVerdicts(t *testing.T) {
	s := &shelf{}
	for _, v := range []result.Verdict{result.Undecided, result.Fail, result.Fail} {
		s.put(t, CheckUnit, "C1", map[string]float64{"full_current": 5}, func(_ *record.Record, x *result.Result) { x.Verdict = v })
	}
	h, err := Watch(s, one(0))
	require.NoError(t, err)
	rows := h.runs()
	require.Len(t, rows, 2)
	assert.Contains(t, rows[0].What, "came out as undecided")
	assert.NotContains(t, rows[0].What, "and so in")
	assert.Contains(t, rows[1].What, "came out as fail; and so in 1 further test")
	assert.Contains(t, h.Next(), "dutybench records show k3v7q2m9xw-000003")
}
