package upkeep

import (
	"bytes"
	"encoding/json"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/result"
)

// A changed rig file takes the limits away and not the alarm: it is said until a
// check bears a note. The exit status goes by the new phase.
func TestAlarmOutlivesItsPhase(t *testing.T) {
	touched := func(text, note string) func(*record.Record, *result.Result) {
		return func(r *record.Record, _ *result.Result) {
			r.Files = []record.File{{Name: record.RigFile, Data: []byte(text)}}
			r.At.Notes = note
		}
	}
	s, rng := &shelf{}, rand.New(rand.NewPCG(5, 11))
	watch := func() *Health {
		h, err := Watch(s, one(0))
		require.NoError(t, err)
		return h
	}
	s.checks(t, rng, 20, 0, nil)
	s.put(t, CheckUnit, "C1", map[string]float64{"full_current": 5.4}, nil)
	require.True(t, watch().Out)
	require.Empty(t, watch().Open, "it is the newest test's own")
	s.checks(t, rng, 1, 0.4, touched("# a comment", ""))
	h := watch()
	assert.False(t, h.Out)
	require.NotEmpty(t, h.Open)
	assert.Equal(t, s.records[20].ID.String(), h.Open[0].Record)
	var text, page bytes.Buffer
	require.NoError(t, h.WriteText(&text, true))
	require.NoError(t, h.Page(&page, "dutybench 1"))
	data, err := json.Marshal(h.JSON())
	require.NoError(t, err)
	for _, said := range []string{text.String(), page.String()} {
		assert.Contains(t, said, "Open from the phase before: record k3v7q2m9xw-000021 of ")
		assert.Contains(t, said, "full current: 5.4 A lies outside")
	}
	assert.Contains(t, string(data), `"open_from_phase_before":[{"when":`)

	s.checks(t, rng, 2, 0.4, touched("# another comment", ""))
	assert.Len(t, watch().Open, len(h.Open), "and over the next phase as well")
	s.checks(t, rng, 1, 0.4, touched("# another comment", " "))
	assert.NotEmpty(t, watch().Open, "a blank is no word")
	s.checks(t, rng, 1, 0.4, touched("# another comment", "the plug was loose"))
	h = watch()
	assert.Empty(t, h.Open)
	s.checks(t, rng, 1, 0.4, touched("# another comment", ""))
	assert.Empty(t, watch().Open, "for good")

	// By the verdict: the next pass heals it.
	s = &shelf{}
	s.checks(t, rng, 3, 0, nil)
	s.checks(t, rng, 1, 0, func(_ *record.Record, x *result.Result) { x.Verdict = result.Fail })
	s.checks(t, rng, 1, 0, touched("x", ""))
	assert.Empty(t, watch().Open)
}
