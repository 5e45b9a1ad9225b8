package report_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/report"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// valve is an invented unit that the bench switches: one duty, held, and the
// rise of its current with the dip of a plunger that moves late.
func valve() report.Input {
	in := sampleInput("V-2001")
	in.Wet, in.Primed, in.Cautions = false, false, []string{"a spring may drive the plunger out: hold it"}
	in.Fixture = "vice, dry"
	in.Profile = &profiles.Profile{Name: "sample-valve", Revision: 1, Kind: "valve"}
	const rate = 1000
	tr := &trace.Trace{Source: "sample.csv", Meta: []trace.Entry{{Key: trace.KeyUnit, Value: "V-2001"}}}
	var t, d, c, v, p []float64
	for i := range 3 * rate {
		x := float64(i) / rate
		on := x >= 1 && x < 2
		t = append(t, x)
		switch {
		case on:
			d, c = append(d, 100), append(c, 1.2*(1-math.Exp(-(x-1)/0.008)))
		default:
			d, c = append(d, 0), append(c, 0)
		}
		volt := math.NaN()
		if i%10 == 0 {
			volt = 12.1
		}
		v, p = append(v, volt), append(p, volt/4)
	}
	tr.Columns = []trace.Column{{Name: trace.ColTime, Values: t}, {Name: trace.ColDuty, Values: d}, {Name: trace.ColCurrent, Values: c},
		{Name: trace.ColSupply, Values: v}, {Name: trace.ColPositionV, Values: p}}
	in.Trace = tr
	in.Result.Kind, in.Result.Profile.Name = "valve", "sample-valve"
	in.Result.Verdict, in.Result.Sentence = result.Fail, "Fail: the plunger moves late. Next: clean the bore."
	cause := result.Mechanical
	in.Result.Cause, in.Result.NotTested = &cause, []string{"tightness"}
	in.Result.Causes = []result.CauseProbability{{Cause: result.Mechanical, Probability: 0.95}, {Cause: result.Electrical, Probability: 0.05}}
	in.Result.Curve = []result.Point{{Duty: 100, Direction: "up", Current: 1.2, Uncertainty: 0.01, Low: ptr(1.1), High: ptr(1.3)}}
	in.Result.Findings = []result.Finding{finding("pull_in_time", 24, 0.1, 8, 14, "ms", result.Failed, "")}
	var rise, good result.ViewLine
	rise.Name, good.Name = "this unit", "mean good unit"
	for i := range 200 {
		x := float64(i) / 5
		y := 1.2 * (1 - math.Exp(-x/8))
		g := y - 0.2*math.Exp(-(x-11)*(x-11)/4)
		rise.X, rise.Y = append(rise.X, x), append(rise.Y, y-0.25*math.Exp(-(x-24)*(x-24)/6))
		rise.Low, rise.High = append(rise.Low, g-0.08), append(rise.High, g+0.08)
		good.X, good.Y = append(good.X, x), append(good.Y, g)
	}
	in.Result.Views = []result.View{
		{Name: "rise", Title: "Current after switching on", X: result.Axis{Label: "time", Unit: "ms"}, Y: result.Axis{Label: "current", Unit: "A"},
			Lines: []result.ViewLine{rise, good}, Marks: []result.ViewMark{{X: 24, Label: "plunger stops"}}},
		{Name: "path", Title: "Reached position", X: result.Axis{Label: "asked", Unit: "%"}, Y: result.Axis{Label: "reached", Unit: "%"},
			Lines: []result.ViewLine{{Name: "up", X: []float64{0, 50, 100}, Y: []float64{-1, 49, 98}}, {Name: "down", X: []float64{100, 50, 0}, Y: []float64{98, 52, 1}}}},
		{Name: "none", Title: "Nothing here", Lines: []result.ViewLine{{Name: "x", X: []float64{1}, Y: []float64{math.NaN()}}}},
	}
	return in
}

func dry(r *record.Record) { r.At.Primed, r.At.Fluid = false, "" }

// Page, card and claim draw the views, say them in words, and list them in
// numbers; one duty is no curve, and no frame stands empty.
func TestViews(t *testing.T) {
	in := valve()
	var page bytes.Buffer
	require.NoError(t, report.Page(&page, in))
	var text bytes.Buffer
	require.NoError(t, report.Text(&text, in, report.TextOptions{}))
	in.Result.Views = in.Result.Views[:2]
	k := keptOf(t, in, dry)
	claim, card := htmlOf(t, composed(t, k, report.Claim)), htmlOf(t, composed(t, k, report.Card))
	for name, s := range map[string]string{"page": page.String(), "claim": claim, "card": card, "text": text.String()} {
		s = strings.Join(strings.Fields(strings.ReplaceAll(s, "\u00a0", " ")), " ")
		assert.Contains(t, s, "Current after switching on", name)
		assert.Contains(t, s, "plunger stops at 24 ms", name)
		assert.Contains(t, s, "outside what good units do at", name)
		assert.NotContains(t, s, "nothing to draw", name)
		assert.NotContains(t, s, "No attempt to start", name)
		assert.NotContains(t, s, "Nothing here", name)
		assert.NotContains(t, s, "Coolant", name)
		assert.NotContains(t, s, "primed", name)
		assert.Contains(t, s, "A spring may drive the plunger out", name)
		assert.Contains(t, s, "A at a duty of 100 %, where good units have 1.1 to 1.3 A", name)
		if name != "text" && name != "card" {
			assert.Contains(t, s, "mean good unit", name)
			assert.Contains(t, s, "good units", name)
		}
	}
	assert.Contains(t, page.String(), "The same in numbers")
	d := xml.NewDecoder(strings.NewReader(strings.ReplaceAll(page.String(), "<!DOCTYPE html>", "")))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	for {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			break
		} else {
			require.NoError(t, err)
		}
	}
}

// A sweep that is held against nothing is no picture where there are others, and
// the claim lists it.
func TestViewsInPlaceOfACurve(t *testing.T) {
	in := valve()
	in.Result.Views = in.Result.Views[:2]
	in.Result.Curve = nil
	for d := 10.0; d <= 100; d += 10 {
		in.Result.Curve = append(in.Result.Curve, result.Point{Duty: d, Direction: "up", Current: 0.02, Uncertainty: 0.001})
	}
	var page, text bytes.Buffer
	require.NoError(t, report.Page(&page, in))
	require.NoError(t, report.Text(&text, in, report.TextOptions{}))
	k := keptOf(t, in, dry)
	for name, s := range map[string]string{"page": page.String(), "text": text.String(), "card": htmlOf(t, composed(t, k, report.Card))} {
		for _, not := range []string{"Current at each duty", "settled current", "holds no band"} {
			assert.NotContains(t, s, not, name)
		}
	}
	assert.Contains(t, htmlOf(t, composed(t, k, report.Claim)), "Current at each duty")
	in.Result.Curve[3].Low, in.Result.Curve[3].High = ptr(0.01), ptr(0.03)
	page.Reset()
	require.NoError(t, report.Page(&page, in))
	assert.Contains(t, page.String(), "Current at each duty")
}

// What a record may hold of views breaks no report.
func TestHostileViews(t *testing.T) {
	in := valve()
	inf := math.Inf(1)
	in.Result.Views = append(in.Result.Views[:2], result.View{Name: hostile, Title: hostile, X: result.Axis{Label: hostile, Unit: hostile},
		Lines: []result.ViewLine{{Name: hostile, X: []float64{1e300, -1e300, 2}, Y: []float64{-1e300, 1e300}, Low: []float64{1e308}, High: []float64{}}, {X: []float64{1}}},
		Marks: []result.ViewMark{{X: 1e300, Label: hostile}}})
	for range 20 {
		in.Result.Views = append(in.Result.Views, in.Result.Views[2])
	}
	k := keptOf(t, in, nil)
	for _, v := range []report.Version{report.Card, report.Claim} {
		d := composed(t, k, v)
		s := htmlOf(t, d)
		assert.NotContains(t, s, "<script>")
		assert.NotContains(t, s, "NaN")
		require.NoError(t, d.PDF(io.Discard))
	}
	in.Result.Views[0].Lines[0].Y[3] = inf
	in.Result.Views[0].Marks[0].X = math.NaN()
	var b bytes.Buffer
	require.NoError(t, report.Page(&b, in))
	assert.NotContains(t, b.String(), "NaN")
	assert.NotContains(t, b.String(), "<script>")
}
