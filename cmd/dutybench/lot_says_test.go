package main

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/result"
	"dutybench/bench/upkeep"
)

// A board that is dead lets nobody see the rotor turn: who fits another on the
// motor is told.
func TestLotSaysWhatWasNotShown(t *testing.T) {
	t.Parallel()
	p := newPallet(map[string][]string{"A1": {"fail:dead-board"}, "A2": {"fail:control-board"}})
	p.flags.operator = "M."
	p.given["operator"] = true
	require.NoError(t, p.type_("A1", "A2"))
	out := p.out.String()
	assert.Contains(t, out, "A1  FAIL  into bin 3: mechanics not found at fault, not shown to turn here\n")
	assert.Contains(t, out, "A2  FAIL  into bin 3: mechanics not found at fault\n")
	assert.Contains(t, out, "A1*, A2\n")
	assert.Contains(t, out, "* not shown to turn here: look at it before it is fitted.")
	assert.Contains(t, out, "operator M.\n")
}

// What the bench's fault says stands once, and no line is wider than the screen.
func TestLotSaysTheBenchOnce(t *testing.T) {
	t.Parallel()
	p := newPallet(map[string][]string{"A1": {"bench"}, strings.Repeat("x", 64): {"fail:dead-board"}})
	require.NoError(t, p.type_("A1", strings.Repeat("x", 64)))
	out, _, _ := strings.Cut(p.out.String(), "Lot P7, ") // but for the summary
	assert.Equal(t, 1, strings.Count(out, "the supply sagged"), out)
	for line := range strings.Lines(out) {
		assert.LessOrEqual(t, len([]rune(strings.TrimRight(line, "\n"))), 80, line)
	}
}

// A lot says at its start that the bench's newest check was out of control.
func TestLotSaysTheBenchsCheck(t *testing.T) {
	t.Parallel()
	check := func(p *pallet, v result.Verdict) {
		object, err := json.Marshal(result.Result{Schema: result.Schema, Kind: "pump", Verdict: v})
		require.NoError(t, err)
		p.put(&record.Record{When: p.clock, Purpose: upkeep.CheckUnit, Program: "t", Rig: record.Rig{Name: "sim", Simulated: true}, Result: object, At: record.Circumstances{Unit: "K", Kind: "pump"}})
	}
	p := newPallet(nil)
	check(p, result.Fail)
	require.NoError(t, p.type_("A1"))
	all := strings.Join(strings.Fields(p.out.String()), " ")
	assert.Contains(t, all, "Take care: The bench's last check (record k3v7q2m9xw-000001, ")
	assert.Contains(t, all, "was out of control: the check unit, which is good, came out as fail.")
	assert.Less(t, strings.Index(all, "Take care:"), strings.Index(all, "Scan or type"))
	for _, v := range []result.Verdict{"", result.Pass} {
		p = newPallet(nil)
		if v != "" {
			check(p, v)
		}
		require.NoError(t, p.type_("A1"))
		assert.NotContains(t, p.out.String(), "Take care", "%q", v)
	}
}
