package learn

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// saying is units of one trace each, whose comment lines are key, value, …
func saying(units ...[]string) (out []measured) {
	for _, said := range units {
		tr := &trace.Trace{}
		for i := 0; i+1 < len(said); i += 2 {
			tr.Meta = append(tr.Meta, trace.Entry{Key: said[i], Value: said[i+1]})
		}
		out = append(out, measured{m: []*kind.Measured{{Trace: tr}}})
	}
	return out
}

func TestDayOfADate(t *testing.T) {
	for date, want := range map[string]string{
		"2026-11-25":                "2026-11-25",
		"2026-11-25T09:30:00Z":      "2026-11-25",
		"2026-11-25T09:30:00+01:00": "2026-11-25",
		"2026-11-25 09:30:00":       "2026-11-25",
		"25 Nov 2026 9:30":          "25 Nov 2026",
		"25.11.2026":                "25.11.2026",
		"25.11.2026, 09:30 local":   "25.11.2026",
		"Tuesday":                   "Tuesday",
		"09:30":                     "",
		"":                          "",
	} {
		assert.Equal(t, want, day(date), date)
	}
}

func TestWhatAllUnitsHaveInCommonIsSaid(t *testing.T) {
	const at = "2026-11-25T09:30:00Z"
	same := []string{trace.KeyDate, at, trace.KeyFilling, "3", trace.KeyPartRevision, "C", trace.KeyRig, "bench-2", trace.KeyCurrentGainU, "0.002"}
	later := []string{trace.KeyDate, "2026-11-27T09:30:00Z", trace.KeyFilling, "4", trace.KeyPartRevision, "D", trace.KeyRig, "bench-1", trace.KeyCurrentGainU, "0.004"}
	for name, c := range map[string]struct {
		units []measured
		like  *profiles.Profile
		says  []string
		not   []string
		want  profiles.Learned
	}{
		"one of each": {saying(same, same, same), nil,
			[]string{"All units were measured on one day (2026-11-25)", "in one filling of the loop (3)", "of one part revision (C): of any other the profile says nothing", "on one rig (bench-2)", "to 0.2 %"},
			[]string{"do not say", "In their spread are"},
			profiles.Learned{Days: 1, Fillings: 1, PartRevisions: []string{"C"}, Rigs: []string{"bench-2"}, GainU: 0.002}},
		"two of each": {saying(same, later, same), nil,
			[]string{"In their spread are 2 days, 2 fillings of the loop, part revisions C and D and rigs bench-1 and bench-2.", "to 0.4 %"},
			[]string{"do not say", "All units"},
			profiles.Learned{Days: 2, Fillings: 2, PartRevisions: []string{"C", "D"}, Rigs: []string{"bench-1", "bench-2"}, GainU: 0.004}},
		"nothing": {saying(nil, nil), nil,
			[]string{"The traces do not say the day, the filling of the loop, the part revision, the rig: the profile may have seen no more than one of each."},
			[]string{"All units", "gain"},
			profiles.Learned{}},
		"one says": {saying(same, nil, nil), nil,
			[]string{"All units of which the traces say it (1 of 3 traces) were measured on one day (2026-11-25)"},
			[]string{"do not say"},
			profiles.Learned{Days: 1, Fillings: 1, PartRevisions: []string{"C"}, Rigs: []string{"bench-2"}, GainU: 0.002}},
		"two say": {saying(same, later, nil), nil, []string{"2 days (told by 2 of 3 traces)"}, nil,
			profiles.Learned{Days: 2, Fillings: 2, PartRevisions: []string{"C", "D"}, Rigs: []string{"bench-1", "bench-2"}, GainU: 0.004}},
		"two times of one day": {saying([]string{trace.KeyDate, at}, []string{trace.KeyDate, "2026-11-25T17:00:00Z"}), nil,
			[]string{"on one day (2026-11-25)"}, nil, profiles.Learned{Days: 1}},
		"blanks say nothing": {saying([]string{trace.KeyDate, " ", trace.KeyFilling, "", trace.KeyCurrentGainU, "-1"}), nil,
			[]string{"do not say the day, the filling"}, []string{"gain"}, profiles.Learned{}},
		"a gain that is none":      {saying([]string{trace.KeyCurrentGainU, "good"}), nil, nil, []string{"gain"}, profiles.Learned{}},
		"a gain beyond the format": {saying([]string{trace.KeyCurrentGainU, "3"}), nil, []string{"to 50 %"}, nil, profiles.Learned{GainU: 0.5}},
		"another revision than the profile taken over": {saying(same), &profiles.Profile{Name: "old", PartRevision: "B"},
			[]string{"Profile old, whose command and limits were taken over, is for part revision B, and the traces are of C."}, nil,
			profiles.Learned{Days: 1, Fillings: 1, PartRevisions: []string{"C"}, Rigs: []string{"bench-2"}, GainU: 0.002}},
		"the same revision": {saying(same), &profiles.Profile{Name: "old", PartRevision: "C"}, nil, []string{"Profile old"},
			profiles.Learned{Days: 1, Fillings: 1, PartRevisions: []string{"C"}, Rigs: []string{"bench-2"}, GainU: 0.002}},
	} {
		t.Run(name, func(t *testing.T) {
			seen := look(c.units)
			text := strings.Join(seen.sentences(c.like, true), "\n")
			for _, s := range c.says {
				assert.Contains(t, text, s)
			}
			for _, s := range c.not {
				assert.NotContains(t, text, s)
			}
			var l profiles.Learned
			seen.fill(&l)
			require.Equal(t, c.want, l)
		})
	}
}

// A bench that idles at 5 % is read as idling there, not as commanding a run;
// one that shows no rest, or another in another trace, gives 0.
func TestRestingDuty(t *testing.T) {
	tr := func(first float64, amps ...float64) *trace.Trace {
		out := &trace.Trace{}
		var ts, d, x []float64
		for i := range 400 {
			duty, a := first, amps[0]
			if i >= 100 {
				duty, a = 60, 2.0
			}
			ts, d, x = append(ts, float64(i)/100), append(d, duty), append(x, a)
		}
		out.Columns = []trace.Column{{Name: trace.ColTime, Values: ts}, {Name: trace.ColDuty, Values: d}, {Name: trace.ColCurrent, Values: x}}
		return out
	}
	for _, c := range []struct {
		name   string
		traces []*trace.Trace
		want   float64
	}{
		{"rests at 5", []*trace.Trace{tr(5, 0.03), tr(5, 0.04)}, 5},
		{"rests at 0", []*trace.Trace{tr(0, 0.03)}, 0},
		{"runs from the first sample on", []*trace.Trace{tr(20, 0.4)}, 0},
		{"two minds", []*trace.Trace{tr(5, 0.03), tr(10, 0.03)}, 0},
		{"one step only", []*trace.Trace{tr(60, 2)}, 0},
		{"none", nil, 0},
	} {
		require.Equal(t, c.want, restingDuty(c.traces), c.name)
	}
}
