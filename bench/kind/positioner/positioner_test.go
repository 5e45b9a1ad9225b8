package positioner_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/judge"
	"dutybench/bench/kind"
	"dutybench/bench/kind/positioner"
	"dutybench/bench/kinds"
	"dutybench/bench/result"
	"dutybench/bench/trial"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

func load(t *testing.T, name string) *profiles.Profile {
	t.Helper()
	p, err := profiles.Load(name, kinds.Section)
	require.NoError(t, err)
	return p
}

// A plan begins without supply, then with stop; it reaches both ends, comes back,
// keeps within the profile's commands, and is a few minutes at most even where the
// stroke is not known.
func TestPlan(t *testing.T) {
	p := load(t, "flap-12v")
	bare := *p
	section := positioner.Section{}
	section.Unknown()
	bare.Section = &section
	for _, q := range []*profiles.Profile{p, &bare} {
		steps := positioner.Kind{}.Plan(q).Steps
		assert.False(t, steps[0].Supply)
		assert.True(t, steps[1].Supply)
		assert.Equal(t, q.Command.Stop_pct, steps[1].Command_pct)
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, s := range steps {
			lo, hi = min(lo, s.Command_pct), max(hi, s.Command_pct)
			assert.Positive(t, s.Max)
			assert.LessOrEqual(t, s.Min, s.Max)
		}
		assert.InDelta(t, q.Command.Stop_pct, lo, 1e-9)
		assert.InDelta(t, q.Command.Full_pct, hi, 1e-9)
		assert.Equal(t, q.Command.Stop_pct, steps[len(steps)-1].Command_pct)
		assert.Less(t, positioner.Kind{}.Plan(q).Longest(), 5*time.Minute)
		n := 0
		for _, s := range steps {
			if s.Line != kind.Command {
				n++
			}
		}
		assert.Equal(t, 2, n, "without a command: those that the profile names")
	}
	assert.NotEmpty(t, positioner.Kind{}.Cautions())
}

// record is one test of a simulated unit.
func record(t *testing.T, p *profiles.Profile, s kinds.Simulated) *trace.Trace {
	t.Helper()
	rec, err := trial.Record(p, s)
	require.NoError(t, err)
	tr, err := rec.Read()
	require.NoError(t, err)
	return tr
}

func judged(t *testing.T, tr *trace.Trace, p *profiles.Profile) *result.Result {
	t.Helper()
	r, err := judge.Judge(tr, p, positioner.Kind{}, judge.Options{})
	require.NoError(t, err)
	return r
}

// A good unit passes; one with a fault fails, with the fault's side named or in
// the set that cannot be told apart.
func TestUnits(t *testing.T) {
	for _, name := range []string{"flap-12v", "flap-12v-pwm"} {
		p := load(t, name)
		tr := record(t, p, kinds.Simulated{Seed: 41})
		good := judged(t, tr, p)
		assert.Equal(t, result.Pass, good.Verdict, "%s: %s", name, good.Sentence)
		assert.Len(t, good.Views, 2)
		for _, v := range good.Views {
			for _, l := range v.Lines {
				assert.Len(t, l.X, len(l.Y))
				assert.LessOrEqual(t, len(l.X), result.MostViewPoints)
			}
		}
		// Labels change nothing.
		bare := *tr
		bare.Meta = slices.DeleteFunc(slices.Clone(tr.Meta), func(e trace.Entry) bool { return e.Key == "step" })
		assert.Equal(t, good.Findings, judged(t, &bare, p).Findings)
	}
	p := load(t, "flap-12v")
	for _, c := range []struct {
		fault string
		cause result.Cause
	}{{"binding", result.Mechanical}, {"track-worn", result.ControlBoard}, {"travel-short", result.Mechanical}, {"feedback-open", result.ControlBoard},
		{"gear-skipping", result.Mechanical}, {"line-resistance", result.Wiring}, {"supply-limit", result.Bench}} {
		r := judged(t, record(t, p, kinds.Simulated{Seed: 43, Fault: c.fault, Severity: 0.6}), p)
		assert.NotEqual(t, result.Pass, r.Verdict, c.fault)
		if assert.NotNil(t, r.Cause, c.fault) {
			assert.True(t, *r.Cause == c.cause || slices.Contains(r.Inseparable, c.cause), "%s: %s", c.fault, r.Sentence)
		}
		if c.cause == result.Wiring || c.cause == result.Bench {
			assert.Equal(t, result.Undecided, r.Verdict, c.fault)
		}
	}
}

// thinner keeps every so many samples, without columns that others may lack.
func thinner(tr *trace.Trace, every int, drop ...string) *trace.Trace {
	out := &trace.Trace{Source: tr.Source, Meta: slices.Clone(tr.Meta)}
	for _, c := range tr.Columns {
		if slices.Contains(drop, c.Name) {
			continue
		}
		n := trace.Column{Name: c.Name, Resolution: c.Resolution}
		for i := 0; i < len(c.Values); i += every {
			n.Values = append(n.Values, c.Values[i])
		}
		out.Columns = append(out.Columns, n)
	}
	return out
}

// Recorded slower, or with one column of the position only, a test says the same
// of what it can say, and why of what it cannot.
func TestForeignColumns(t *testing.T) {
	p := load(t, "flap-12v")
	tr := record(t, p, kinds.Simulated{Seed: 44})
	whole, err := positioner.Kind{}.Measure(tr, p)
	require.NoError(t, err)
	for _, c := range []struct {
		name  string
		every int
		drop  []string
	}{{"per cent only", 1, []string{trace.ColPositionV}}, {"volts only", 1, []string{trace.ColPosition}}, {"100 Hz, bare", 2, []string{trace.ColSupply, trace.ColLine, trace.ColTemperature}}} {
		m, err := positioner.Kind{}.Measure(thinner(tr, c.every, c.drop...), p)
		require.NoError(t, err)
		for _, n := range []string{positioner.LowEnd, positioner.HighEnd, positioner.Gain, positioner.Hysteresis} {
			assert.InDelta(t, whole.Get(n).Q.Value, m.Get(n).Q.Value, 0.3, "%s: %s", c.name, n)
		}
		for _, n := range []string{positioner.SpeedUp, positioner.MovingDown} {
			assert.InEpsilon(t, whole.Get(n).Q.Value, m.Get(n).Q.Value, 0.02, "%s: %s", c.name, n)
		}
		for _, v := range m.Values {
			assert.True(t, v.Missing != "" || !math.IsNaN(v.Q.Value) && !math.IsNaN(v.Q.U()), "%s: %s", c.name, v.Name)
		}
	}
	none := thinner(tr, 1, trace.ColPosition, trace.ColPositionV)
	m, err := positioner.Kind{}.Measure(none, p)
	require.NoError(t, err)
	assert.NotEmpty(t, m.Get(positioner.Travel).Missing)
	assert.Empty(t, m.Get(positioner.Quiet).Missing)
	r := judged(t, none, p)
	assert.Equal(t, result.Undecided, r.Verdict, "without a position nothing passes, and nothing is blamed")
}

// Traces that make no sense are measured without a panic, and pass nothing.
func TestOddTraces(t *testing.T) {
	p := load(t, "flap-12v")
	column := func(name string, v ...float64) trace.Column { return trace.Column{Name: name, Values: v} }
	for name, tr := range map[string]*trace.Trace{
		"one sample":    {Columns: []trace.Column{column(trace.ColTime, 0), column(trace.ColDuty, 7), column(trace.ColCurrent, 0)}},
		"two at a time": {Columns: []trace.Column{column(trace.ColTime, 1, 1), column(trace.ColDuty, 7, 50), column(trace.ColCurrent, 0, 1), column(trace.ColPosition, 5, math.NaN())}},
		"endless":       {Columns: []trace.Column{column(trace.ColTime, 0, 1, 2, 3, 4, 5), column(trace.ColDuty, 7, 7, 7, 90, 90, 90), column(trace.ColCurrent, 1e300, -1e300, 0, 1e300, 1, 2), column(trace.ColPosition, 1e300, 2, 3, -1e300, 5, 6)}},
	} {
		r := judged(t, tr, p)
		assert.NotEqual(t, result.Pass, r.Verdict, name)
	}
	_, err := positioner.Kind{}.Measure(&trace.Trace{Source: "nothing.csv"}, p)
	assert.ErrorContains(t, err, "nothing.csv")
}
