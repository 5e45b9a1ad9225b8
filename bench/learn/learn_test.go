package learn_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/judge"
	"dutybench/bench/kind/pump"
	"dutybench/bench/learn"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

func TestCountsUnitsNotTraces(t *testing.T) {
	traces := good(6)
	again := recorded(drawn(3), sweep, 103) // the third unit a second time
	p, rep := learned(t, append(slices.Clone(traces), again))
	require.Equal(t, 6, rep.Units)
	require.Equal(t, 6, p.Learned.Units)
	require.Len(t, p.Good, 6)
	// Its row is the mean of both recordings.
	alone, _ := learned(t, traces)
	require.NotEqual(t, alone.Good[2].Up, p.Good[2].Up)
	require.Equal(t, alone.Good[1].Up, p.Good[1].Up)
	for i, d := range p.Grid {
		require.InDelta(t, drawn(3).at(d), p.Good[2].Up[i], 0.001)
	}
	require.Contains(t, refused(t, append(good(4), recorded(drawn(1), sweep, 50), recorded(drawn(2), sweep, 51))), "4 units")
}

func TestFewestAndProvisional(t *testing.T) {
	for n, c := range map[int]struct{ ok, provisional bool }{1: {}, 4: {}, 5: {true, true}, 9: {true, true}, 10: {true, false}, 12: {true, false}} {
		if !c.ok {
			require.Contains(t, refused(t, good(n)), "5 distinct")
			continue
		}
		p, _ := learned(t, good(n))
		require.Equal(t, c.provisional, p.Learned.Provisional, "%d units", n)
		require.Equal(t, c.provisional, strings.Contains(strings.Join(p.Learned.Statement, " "), "Provisional"), "%d units", n)
	}
	require.Contains(t, refused(t, nil), "0 units")
}

func TestTheSameRecordingTwiceCountsOnce(t *testing.T) {
	traces := good(5)
	copied := *traces[1]
	copied.Source = "copy.csv"
	copied.Meta = []trace.Entry{{Key: trace.KeyUnit, Value: "another name"}}
	p, rep := learned(t, append(traces, &copied))
	require.Equal(t, 5, rep.Units)
	require.Len(t, p.Good, 5)
	require.Contains(t, strings.Join(rep.Notes, "\n"), "copy.csv")
	require.Contains(t, strings.Join(rep.Notes, "\n"), "counts once")
	require.Contains(t, refused(t, append(good(4), traces[1])), "4 units")
}

// Traces that were never bytes have no hash: they are not each other's copy.
func TestTracesWithoutAHashAreNotCopies(t *testing.T) {
	traces := good(5)
	for _, tr := range traces {
		tr.SHA256 = ""
	}
	_, rep := learned(t, traces)
	require.Equal(t, 5, rep.Units)
}

func TestATraceWithoutAUnitIsOneOfItsOwn(t *testing.T) {
	traces := good(5)
	traces[2].Meta = nil
	p, rep := learned(t, traces)
	require.Equal(t, 5, rep.Units)
	require.Equal(t, traces[2].Source, p.Good[2].Unit)
	require.Contains(t, strings.Join(rep.Notes, "\n"), traces[2].Source)
}

func TestABadUnitIsNamedAndLeftOut(t *testing.T) {
	for name, bad := range map[string]unit{
		"dry":      {"BAD-1", 0.03, 0.6, 0.2},
		"binding":  {"BAD-1", 0.03, 2.4, 4},
		"restless": {"BAD-1", 0.5, 0.6, 4},
	} {
		t.Run(name, func(t *testing.T) {
			p, rep := learned(t, append(good(11), recorded(bad, sweep, 99)))
			require.Len(t, rep.LeftOut, 1)
			require.Contains(t, rep.LeftOut[0], "BAD-1")
			require.Contains(t, rep.LeftOut[0], "left out")
			require.Equal(t, 11, p.Learned.Units)
			require.NotContains(t, unitsOf(p), "BAD-1")
			require.Contains(t, strings.Join(p.Learned.Statement, "\n"), "BAD-1", "the profile itself says so")
			want, _ := learned(t, good(11))
			require.Equal(t, rows(want), rows(p), "it is not averaged in")
		})
	}
}

// rows is the good units in print, in which not measured equals itself.
func rows(p *profiles.Profile) string { return fmt.Sprintf("%v", p.Good) }

func unitsOf(p *profiles.Profile) (out []string) {
	for _, g := range p.Good {
		out = append(out, g.Unit)
	}
	return out
}

// Good units are hardly ever taken for strangers.
func TestGoodUnitsStayIn(t *testing.T) {
	for first := range 5 {
		var traces []*trace.Trace
		for i := range 8 {
			n := 100 + 8*first + i
			traces = append(traces, recorded(drawn(n), sweep, uint64(n)))
		}
		_, rep := learned(t, traces)
		require.Empty(t, rep.LeftOut)
	}
}

func TestUnitsOfTwoTypesAreRefused(t *testing.T) {
	traces := good(6)
	for i := range 4 {
		u := drawn(50 + i)
		u.friction, u.water = u.friction*2.5, u.water*2.5
		traces = append(traces, recorded(u, sweep, uint64(50+i)))
	}
	msg := refused(t, traces)
	require.Contains(t, msg, "do not agree")
	require.Contains(t, msg, "U-5")
}

func TestTracesOfAnotherKindAreRefused(t *testing.T) {
	traces := good(6)
	traces[4].Meta[1].Value = "fan"
	msg := refused(t, traces)
	require.Contains(t, msg, "fan")
	require.Contains(t, msg, traces[4].Source)
}

func TestNoCommonDutiesAreRefused(t *testing.T) {
	traces := good(5)
	traces = append(traces, recorded(drawn(6), []float64{25, 45, 65, 85, 95}, 6))
	require.Contains(t, refused(t, traces), "0 steps of duty")
	traces[5] = recorded(drawn(6), []float64{20, 45, 60, 85, 95}, 6)
	require.Contains(t, refused(t, traces), "2 steps of duty")
	// A unit that was measured at more duties than the others does no harm.
	traces[5] = recorded(drawn(6), []float64{20, 30, 40, 50, 60, 70, 80, 90, 100, 80, 60, 40, 20}, 6)
	p, _ := learned(t, traces)
	require.Equal(t, []float64{20, 40, 60, 80, 100}, p.Grid)
}

func TestATraceWithoutStepsIsRefused(t *testing.T) {
	traces := good(6)
	d := traces[3].Duty()
	for i := range d {
		d[i] = 0
	}
	require.Contains(t, refused(t, traces), traces[3].Source)
}

// The rows are what was measured, which is what the units are.
func TestRowsAreTheMeasurements(t *testing.T) {
	p, _ := learned(t, good(8))
	require.Equal(t, []float64{20, 40, 60, 80, 100}, p.Grid)
	for i, g := range p.Good {
		u := drawn(i + 1)
		require.Equal(t, u.name, g.Unit)
		require.Len(t, g.Trace, 64)
		for k, d := range p.Grid {
			assert.InDelta(t, u.at(d), g.Up[k], 4*noise_A/15, "%s up at %g", u.name, d) // some 250 samples each
			if d < 100 {
				assert.InDelta(t, u.at(d), g.Down[k], 4*noise_A/15, "%s down at %g", u.name, d)
			}
		}
		assert.InDelta(t, u.quiet, valueOf(t, g, pump.Quiet), 0.001)
		assert.InDelta(t, u.at(100), valueOf(t, g, pump.Full), 0.001)
		assert.InDelta(t, 1, valueOf(t, g, pump.StartAttempts), 0)
		assert.InDelta(t, lead, valueOf(t, g, pump.SupplyDrop), 0.001)
	}
	require.InDelta(t, rate_Hz, p.Learned.Rate_Hz, 0.1)
	require.InDelta(t, 12.45, p.Learned.Supply_V, 0.05)
}

func TestNeverSweptDown(t *testing.T) {
	var traces []*trace.Trace
	for i := range 6 {
		traces = append(traces, recorded(drawn(i+1), sweep[:5], uint64(i+1)))
	}
	p, _ := learned(t, traces)
	for _, g := range p.Good {
		require.Nil(t, g.Down)
	}
}

// One unit that is no stranger but lies off is counted by the others'
// judgement.
// What a learning says it refuses in nine of ten units, it refuses.
// A unit that stands out by less than a stranger is named and kept.
// What a unit that was left out says of its circumstances does not count.
func TestAProfileComesBackFromItsFile(t *testing.T) {
	p, _ := learned(t, good(10))
	data, err := profiles.Encode(p)
	require.NoError(t, err)
	back, err := profiles.Parse(data, "learned.toml", func(string) (any, error) { return pump.Kind{}.Section(), nil })
	require.NoError(t, err)
	require.Equal(t, rows(p), rows(back))
	require.Equal(t, p.Grid, back.Grid)
	require.Equal(t, p.Learned, back.Learned)
	bad := drawn(70)
	bad.water *= 0.5
	for name, u := range map[string]unit{"good": drawn(71), "bad": bad} {
		tr := recorded(u, sweep, 71)
		a, err := judge.Judge(tr, p, pump.Kind{}, judge.Options{})
		require.NoError(t, err)
		b, err := judge.Judge(tr, back, pump.Kind{}, judge.Options{})
		require.NoError(t, err)
		b.Profile = a.Profile
		require.Equal(t, a, b, name)
		require.Equal(t, name == "good", a.Verdict == result.Pass, a.Sentence)
	}
}

func TestTheOrderOfTracesChangesNoNumber(t *testing.T) {
	traces := good(7)
	a, _ := learned(t, traces)
	slices.Reverse(traces)
	b, _ := learned(t, traces)
	slices.Reverse(b.Good)
	require.Equal(t, rows(a), rows(b))
	require.Equal(t, a.Grid, b.Grid)
}

func TestLikeTakesOverWhatTracesCannotSay(t *testing.T) {
	like, _ := learned(t, good(5))
	like.Name, like.Command.Frequency_Hz, like.Limits.Current_A = "stated", 333, 7.5
	like.Stated = []profiles.Limit{{Finding: pump.Full, Unit: "A", Low: 2, High: 8}}
	like.Section.(*pump.Section).Regulation = "speed"
	o := options
	o.Like, o.Revision = like, 4
	p, _, err := learn.Learn(good(12), pump.Kind{}, o)
	require.NoError(t, err)
	require.Equal(t, "learned", p.Name)
	require.Equal(t, 4, p.Revision)
	require.InDelta(t, 333, p.Command.Frequency_Hz, 0)
	require.InDelta(t, 7.5, p.Limits.Current_A, 0)
	require.Equal(t, like.Stated, p.Stated)
	require.Equal(t, "speed", p.Section.(*pump.Section).Regulation)
	require.Len(t, p.Good, 12)
	require.Equal(t, 12, p.Learned.Units)
	require.Len(t, like.Good, 5, "what was given is not touched")
	require.Contains(t, strings.Join(p.Notes, "\n"), "stated")
}

func TestWithoutLikeTheAssumptionsAreSaid(t *testing.T) {
	p, _ := learned(t, good(10))
	require.Contains(t, strings.Join(p.Notes, "\n"), "assumed")
	require.Greater(t, p.Limits.Current_A, drawn(1).at(100))
	require.GreaterOrEqual(t, p.Limits.Peak_A, p.Limits.Current_A)
	require.Less(t, p.Supply.Low_V, open_V)
	require.Greater(t, p.Supply.High_V, open_V)
	require.Equal(t, "unknown", p.Section.(*pump.Section).Regulation)
}

// Two makes of capacitor, say: the quiet current comes in two heaps.
