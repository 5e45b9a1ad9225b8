package report

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/result"
	"dutybench/profiles"
)

func checkedInput(t *testing.T) Input {
	t.Helper()
	i, err := result.ParseInspection("leak=no,seal=good,plug=dry")
	require.NoError(t, err)
	nan := math.NaN()
	notice := result.NewCheck("drop to the plug", 0.9, "V", nan, 0.4, "look for <b>a poor contact")
	notice.State = result.CheckNotice
	return Input{Result: result.Result{Verdict: result.Pass, Inspection: i, Checks: []result.Check{
		result.NewCheck("zero", 0.0012, "A", -0.2, 0.2, "Current with the supply off."),
		result.NewCheck("supply", 13.48, "V", 10.5, 16, "Within the range."),
		notice,
		result.NewCheck("line low", nan, "V", nan, nan, "Held low, this unit may run."),
		{Name: "odd", State: "new-state"},
	}}}
}

func TestTextHasChecksAndInspection(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, Text(&b, checkedInput(t), TextOptions{Width: 80, Unicode: true}))
	s := b.String()
	for _, want := range []string{
		"Inspection      By the operator's eye and hand: leak no, seal good, plug dry.",
		"Not inspected: pins, free and noise.",
		"Bench before    ok: zero 0.001 A, supply 13.5 V.",
		"drop to the plug attention (0.9 V): Look for <b>a poor contact.",
		"not measured: line low, odd.",
	} {
		assert.Contains(t, s, want)
	}
	for l := range strings.Lines(s) {
		assert.LessOrEqual(t, len([]rune(strings.TrimSuffix(l, "\n"))), 80)
	}
	var none bytes.Buffer
	require.NoError(t, Text(&none, Input{Result: result.Result{Verdict: result.Pass}}, TextOptions{}))
	assert.NotContains(t, none.String(), "Inspection", "nobody was asked")
	assert.NotContains(t, none.String(), "Bench before")
}

func TestPageHasChecksAndInspection(t *testing.T) {
	var b bytes.Buffer
	in := checkedInput(t)
	in.Profile = &profiles.Profile{Connector: profiles.Connector{SeenFrom: profiles.WireSide, Cavities: []profiles.Cavity{
		{Label: "<1>", Function: "supply", Wire_mm2: 1.5, Row: 1, Column: 2}}}}
	require.NoError(t, Page(&b, in))
	s := b.String()
	for _, want := range []string{"seen from the wire side", "<td></td><td>&lt;1&gt;: supply, 1.5 mm²</td>", "Inspection before the test", "Not inspected: pins", "Bench, plug and wires before the test", "10.5 to 16 V", "look for &lt;b&gt;a poor contact", "not measured"} {
		assert.Contains(t, strings.ToLower(s), strings.ToLower(want))
	}
	var none bytes.Buffer
	require.NoError(t, Page(&none, Input{Result: result.Result{Verdict: result.Pass}}))
	assert.NotContains(t, none.String(), "Inspection before")
	assert.NotContains(t, none.String(), "h-checks")
}

// A temperature stands under its own name and is no fixture.
func TestPageNamesTheTemperature(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, Page(&b, Input{Result: result.Result{Verdict: result.Pass}, Fixture: "loop", Temperature: "20.0 °C, by the bench's sensor"}))
	assert.Contains(t, b.String(), "<dt>Fixture</dt><dd>loop</dd>")
	assert.Contains(t, b.String(), "<dt>Temperature</dt><dd>20.0 °C, by the bench&#39;s sensor</dd>")
}

func TestCheckValue(t *testing.T) {
	for want, c := range map[string]result.Check{
		"0.009 V":  result.NewCheck("x", 0.00886, "V", 0, 1, ""),
		"-0.004 V": result.NewCheck("x", -0.00441, "V", 0, 1, ""),
		"0 V":      result.NewCheck("x", -0.0001, "V", 0, 1, ""),
		"0.5 A":    result.NewCheck("x", 0.5, "A", 0, 1, ""),
		"13.5 V":   result.NewCheck("x", 13.479, "V", 0, 1, ""),
		"0.00123":  result.NewCheck("x", 0.00123, "", 0, 1, ""),
	} {
		assert.Equal(t, want, checkValue(c))
	}
}

// The checks stand in a table across the page, one that is not measured or not
// well with its own tone.
func TestPageSetsChecksInATable(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, Page(&b, checkedInput(t)))
	s := b.String()
	at := strings.Index(s, `<section class="across" aria-labelledby="h-checks">`)
	require.Positive(t, at)
	s = s[at : at+strings.Index(s[at:], "</section>")]
	assert.Equal(t, 5, strings.Count(s, `role="rowheader"`))
	assert.Equal(t, 3, strings.Count(s, `class="open"`))
	assert.Contains(t, s, `<td role="cell" class="l" data-h="Limits"><span>10.5 to 16 V</span></td>`)
	assert.Contains(t, s, `<td role="cell" class="l none" data-h="Limits"><span></span></td>`)
}

func TestUnknownStateIsNeverGood(t *testing.T) {
	assert.Equal(t, "not measured", stateWord("perfect"))
	assert.Equal(t, "open", checkRows([]result.Check{{State: result.CheckUnlooked}})[0].Tone)
}
