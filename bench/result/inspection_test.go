package result

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestParseInspection(t *testing.T) {
	i, err := ParseInspection("leak=no, seal=good,plug=dry,noise=yes")
	require.NoError(t, err)
	assert.Equal(t, "no", i.Found("leak"))
	assert.Equal(t, "yes", i.Found("noise"))
	assert.Equal(t, []string{"pins", "free"}, i.NotInspected())
	assert.Len(t, i.Answers, 6, "what was not looked at stands there too")
	for text, says := range map[string]string{
		"":                  "write leak=no",
		"leak":              "no answer",
		"leek=no":           "no answer",
		"leak=maybe":        "it is no or yes",
		"seal=yes":          "it is good or bad",
		"leak=no,leak=yes":  "twice",
		"leak=":             "leave it out",
		"plug=dry,,pins=ok": "no answer",
	} {
		_, err := ParseInspection(text)
		assert.ErrorContains(t, err, says, "%q", text)
	}
	var none *Inspection
	assert.Empty(t, none.Found("leak"))
	assert.False(t, none.Wet())
}

func TestInspected(t *testing.T) {
	cause := ControlBoard
	bench := Bench
	verdicts := map[string]Result{
		"pass":      {Verdict: Pass, Risk: &Risk{Rule: "r", Measurement: new(float64)}},
		"fail":      {Verdict: Fail, Cause: &cause},
		"undecided": {Verdict: Undecided},
		"bench":     {Verdict: Undecided, Cause: &bench},
	}
	for _, c := range []struct {
		answers, from string
		want          Verdict
		exit          int
		cause         Cause
		warnings      int
	}{
		{"leak=no,seal=good,plug=dry,pins=good,free=yes,noise=no", "pass", Pass, 0, "", 0},
		{"leak=yes", "pass", Fail, 3, Mechanical, 0},
		{"leak=yes,noise=yes", "pass", Fail, 3, Mechanical, 1},
		{"leak=yes", "fail", Fail, 3, ControlBoard, 1},
		{"leak=yes", "undecided", Undecided, 4, "", 1},
		{"leak=yes", "bench", Undecided, 5, Bench, 1},
		{"pins=bad", "pass", Undecided, 4, "", 0},
		{"free=no", "pass", Undecided, 4, "", 0},
		{"noise=yes", "pass", Undecided, 4, "", 0},
		{"seal=bad", "pass", Pass, 0, "", 1},
		{"plug=wet", "pass", Undecided, 4, "", 0},
		{"plug=wet", "fail", Undecided, 4, "", 0},
		{"plug=wet,leak=yes", "pass", Undecided, 4, "", 1},
	} {
		t.Run(c.answers+" "+c.from, func(t *testing.T) {
			i, err := ParseInspection(c.answers)
			require.NoError(t, err)
			before := verdicts[c.from]
			got := Inspected(before, i, false)
			assert.Equal(t, c.want, got.Verdict)
			assert.Equal(t, c.exit, got.Exit())
			if c.cause == "" {
				assert.Nil(t, got.Cause)
			} else if assert.NotNil(t, got.Cause) {
				assert.Equal(t, c.cause, *got.Cause)
			}
			assert.Len(t, got.Warnings, c.warnings)
			require.NotNil(t, got.Inspection)
			assert.Empty(t, i.Effect, "the caller's answers are not touched")
			assert.Equal(t, got.Verdict != before.Verdict || c.answers == "plug=wet", got.Inspection.Effect != "")
			if got.Verdict != before.Verdict {
				assert.NotEmpty(t, got.NextStep)
				sum := 0.0
				for _, p := range got.Causes {
					sum += p.Probability
				}
				if got.Cause != nil {
					assert.InDelta(t, 1, sum, 1e-9)
				}
			}
		})
	}
	assert.Equal(t, verdicts["pass"], Inspected(verdicts["pass"], nil, true), "nobody was asked")
	assert.NotNil(t, verdicts["pass"].Risk.Measurement, "the caller's result is not touched")
}

// Whatever the answers, an inspection never makes a verdict better.
func TestInspectionNeverHelps(t *testing.T) {
	rank := map[Verdict]int{Pass: 0, Undecided: 1, Fail: 2}
	points := InspectionPoints()
	for n := range 729 { // 3 to the 6th
		i := &Inspection{}
		wet := false
		for k, code := 0, n; k < len(points); k, code = k+1, code/3 {
			word := []string{"", points[k].Yes, points[k].No}[code%3]
			i.Answers = append(i.Answers, Answer{points[k].Name, word})
			wet = wet || word == "wet"
		}
		for _, v := range []Verdict{Pass, Undecided, Fail} {
			got := Inspected(Result{Verdict: v}, i, false)
			if wet {
				require.Equal(t, Undecided, got.Verdict)
				continue
			}
			require.GreaterOrEqual(t, rank[got.Verdict], rank[v], "%v", i.Answers)
			if i.Found("leak") == "yes" {
				require.NotEqual(t, Pass, got.Verdict)
			}
		}
	}
}
