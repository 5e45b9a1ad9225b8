package judge_test

import (
	"bytes"
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/judge"
	"dutybench/bench/kind/pump"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// core is a result without what names the recording.
func core(tb testing.TB, r *result.Result) string {
	tb.Helper()
	c := *r
	if c.Unit != "" {
		c.Sentence = strings.ReplaceAll(c.Sentence, " "+c.Unit, "")
	}
	c.Source, c.Unit, c.Ended, c.Warnings = "", "", "", nil
	b, err := json.MarshalIndent(&c, "", " ")
	require.NoError(tb, err)
	return string(b)
}

// same says which line of two results differs first.
func same(t *testing.T, want, got, what string) {
	t.Helper()
	a, b := strings.Split(want, "\n"), strings.Split(got, "\n")
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			assert.Fail(t, what, "line %d was\n%s\nand is\n%s", i, a[i], b[i])
			return
		}
	}
	assert.Len(t, b, len(a), what)
}

// units that end in different ways.
func units() map[string]unit {
	out := map[string]unit{"good": good(77)}
	add := func(name string, change func(u *unit)) {
		u := good(77)
		change(&u)
		out[name] = u
	}
	add("drag", func(u *unit) { u.c *= 2 })
	add("dry", func(u *unit) { u.h *= 0.1 })
	add("limited", func(u *unit) { u.limit_A = 3 })
	add("seized", func(u *unit) { u.tries, u.try_A, u.try_s, u.rest_s = -1, u.burst_A, 0.5, 1 })
	add("asleep", func(u *unit) { u.asleep = true })
	add("sticky", func(u *unit) { u.tries, u.try_A, u.try_s, u.rest_s = 2, u.burst_A, 0.5, 0.3 })
	return out
}

func TestAnnotationsAndForeignColumnsChangeNothing(t *testing.T) {
	p := ordinary(t)
	for _, name := range []string{"good", "drag", "seized"} {
		t.Run(name, func(t *testing.T) {
			tr := onBench().record(units()[name], 77)
			want := core(t, judged(t, tr, p))
			for what, change := range map[string]func(c *trace.Trace){
				"no comment at all": func(c *trace.Trace) { c.Meta = nil },
				"no labels": func(c *trace.Trace) {
					c.Meta = slices.DeleteFunc(c.Meta, func(e trace.Entry) bool { return e.Key == "step" })
				},
				"wrong labels": func(c *trace.Trace) {
					for i := range c.Meta {
						if c.Meta[i].Key == "step" {
							c.Meta[i].Value = "hold 0 99 1 V"
						}
					}
				},
				"foreign columns": func(c *trace.Trace) {
					other := slices.Clone(tr.Current())
					slices.Reverse(other)
					c.Columns = append([]trace.Column{{Name: "current_B", Values: other}, {Name: "remark", Text: make([]string, tr.Len())}}, c.Columns...)
				},
				"columns in another order": func(c *trace.Trace) { slices.Reverse(c.Columns) },
			} {
				c := *tr
				c.Meta, c.Columns = slices.Clone(tr.Meta), slices.Clone(tr.Columns)
				change(&c)
				same(t, want, core(t, judged(t, &c, p)), what)
			}
		})
	}
}

func TestSameFromCSV(t *testing.T) {
	p := ordinary(t)
	for _, name := range []string{"good", "limited", "sticky"} {
		t.Run(name, func(t *testing.T) {
			tr := onBench().record(units()[name], 77)
			for i := range tr.Columns { // as the reader sets it
				tr.Columns[i].Resolution = 0
			}
			var file bytes.Buffer
			require.NoError(t, trace.Write(&file, tr))
			back, err := trace.Read(&file, tr.Source)
			require.NoError(t, err)
			for i := range tr.Columns {
				tr.Columns[i].Resolution = back.Columns[i].Resolution
			}
			same(t, core(t, judged(t, tr, p)), core(t, judged(t, back, p)), "read back")
		})
	}
}

// Where the clock of a recording begins says nothing of the unit.
func TestTimeMayBeginAnywhere(t *testing.T) {
	p := ordinary(t)
	tr := onBench().record(good(78), 78)
	later := *tr
	later.Columns = slices.Clone(tr.Columns)
	later.Columns[0].Values = nil
	for _, x := range tr.Time() {
		later.Columns[0].Values = append(later.Columns[0].Values, x+4096) // exact in binary
	}
	a, b := judged(t, tr, p), judged(t, &later, p)
	require.Equal(t, a.Verdict, b.Verdict)
	for i := range a.Findings {
		require.Equal(t, a.Findings[i].Result, b.Findings[i].Result, a.Findings[i].Name)
		if v := a.Findings[i].Value; v != nil {
			u := 0.0
			if e := a.Findings[i].Uncertainty; e != nil {
				u = *e
			}
			require.InDelta(t, *v, *b.Findings[i].Value, 1e-9+u, a.Findings[i].Name) // blocks of samples may begin elsewhere
		}
	}
}

func TestJudgingLeavesTraceAndProfileAlone(t *testing.T) {
	p := ordinary(t)
	tr := onBench().record(good(79), 79)
	var before, after bytes.Buffer
	require.NoError(t, trace.Write(&before, tr))
	profile, err := profiles.Encode(p)
	require.NoError(t, err)
	first := core(t, judged(t, tr, p))
	require.NoError(t, trace.Write(&after, tr))
	require.True(t, bytes.Equal(before.Bytes(), after.Bytes()))
	again, err := profiles.Encode(p)
	require.NoError(t, err)
	require.Equal(t, string(profile), string(again))
	same(t, first, core(t, judged(t, tr, p)), "the same trace judged twice")
}

// stages keeps those stages of the whole plan.
func stages(keep func(s stage) bool) bench {
	b := onBench()
	b.plan = slices.DeleteFunc(b.plan, func(s stage) bool { return !keep(s) })
	return b
}

func TestStepsNotRunAreNotMeasured(t *testing.T) {
	p := ordinary(t)
	for _, c := range []struct {
		name string
		b    bench
		not  []string // findings that must not be measured
		pass bool     // what is left may do for a pass
	}{
		{"no sweep down", stages(func(s stage) bool { return s.name != "down" }), []string{pump.CurveDown, pump.Hysteresis}, true},
		{"never at full", stages(func(s stage) bool { return s.duty < 90 }), []string{pump.Full}, false},
		{"no start", stages(func(s stage) bool { return s.duty == 0 }), []string{pump.StartAttempts, pump.StartDelay, pump.StartSettle, pump.StartLevel, pump.StartPeak, pump.Full, pump.CurveUp, pump.CurveDown, pump.Response, pump.DropOuts}, false},
		{"no rest before", stages(func(s stage) bool { return s.name != "quiet" }), []string{pump.Quiet}, true},
		{"supply on from the first sample", stages(func(s stage) bool { return s.on }), []string{pump.SwitchOnCharge}, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := judged(t, c.b.record(good(80), 80), p)
			for _, n := range c.not {
				assert.Equal(t, result.NotMeasured, find(t, r, n).Result, n)
			}
			if !c.pass {
				assert.Equal(t, result.Undecided, r.Verdict, r.Sentence)
				assert.Equal(t, 4, r.Exit())
			}
		})
	}
}

// flat is a recording whose current never changes.
func flat(current float64, duty func(i int) float64, n int) *trace.Trace {
	tr := &trace.Trace{Source: "flat.csv"}
	var t, d, x []float64
	for i := range n {
		t, d, x = append(t, float64(i)/500), append(d, duty(i)), append(x, current)
	}
	tr.Columns = []trace.Column{{Name: trace.ColTime, Values: t}, {Name: trace.ColDuty, Values: d}, {Name: trace.ColCurrent, Values: x}}
	return tr
}

func TestPoorTracesNeverPassNorFail(t *testing.T) {
	p := ordinary(t)
	steps := func(i int) float64 { return min(100, 20*math.Floor(float64(i)/500)) }
	for name, tr := range map[string]*trace.Trace{
		"one sample":              flat(1, steps, 1),
		"two samples":             flat(1, func(int) float64 { return 100 }, 2),
		"shorter than a start":    flat(0.03, func(i int) float64 { return min(50, float64(i)) }, 60),
		"no step":                 flat(0.03, func(int) float64 { return 0 }, 3000),
		"a ramp without a step":   flat(1, func(i int) float64 { return float64(i) / 30 }, 3000),
		"all zero with a command": flat(0, steps, 3000),
		"no supply at all": func() *trace.Trace {
			b := onBench()
			for i := range b.plan {
				b.plan[i].on = false
			}
			return b.record(good(82), 82)
		}(),
	} {
		t.Run(name, func(t *testing.T) {
			r := judged(t, tr, p)
			assert.Equal(t, result.Undecided, r.Verdict, r.Sentence)
			assert.NotContains(t, []int{0, 3}, r.Exit())
		})
	}
}

// One current whatever the duty is a sign of its own, and no pass.
func TestDeadFlatCurrent(t *testing.T) {
	p := ordinary(t)
	steps := func(i int) float64 { return min(100, 20*math.Floor(float64(i)/500)) }
	for _, amp := range []float64{0.03, 0.6, 2, 4.8} {
		r := judged(t, flat(amp, steps, 3000), p)
		assert.NotEqual(t, result.Pass, r.Verdict, "%g A: %s", amp, r.Sentence)
	}
}

func TestWrongKindIsRefused(t *testing.T) {
	p := ordinary(t)
	tr := onBench().record(good(83), 83)
	tr.Meta[2].Value = "fan"
	_, err := judge.Judge(tr, p, pump.Kind{}, judge.Options{})
	require.ErrorContains(t, err, "fan")
	require.ErrorContains(t, err, "pump")
	require.ErrorContains(t, err, tr.Source)
	tr.Meta[2].Value = "" // not said: taken as what the profile is for
	_, err = judge.Judge(tr, p, pump.Kind{}, judge.Options{})
	require.NoError(t, err)
}

func TestEmptyTraceIsAnError(t *testing.T) {
	_, err := judge.Judge(&trace.Trace{Source: "none.csv"}, ordinary(t), pump.Kind{}, judge.Options{})
	require.ErrorContains(t, err, "none.csv")
}

func TestProfileForAnotherSupply(t *testing.T) {
	p := ordinary(t)
	b := onBench()
	b.open_V = 25.2
	u := good(84)
	u.scale /= 2 // the same power
	for name, r := range map[string]*result.Result{"24 V on a 12 V profile": judged(t, b.record(u, 84), p), "6 V": judged(t, func() *trace.Trace {
		b.open_V = 6.3
		return b.record(good(84), 84)
	}(), p)} {
		require.Equal(t, result.Undecided, r.Verdict, name)
		require.NotNil(t, r.Cause)
		require.Equal(t, result.Bench, *r.Cause, name)
		require.Equal(t, 5, r.Exit(), name)
		require.Contains(t, r.Sentence, p.Name)
	}
}

func TestLineDutyGoesThroughTheLaw(t *testing.T) {
	laws := map[string]profiles.Command{
		"inverted": {Inverted: true},
		// The command falls from full at 10 % to nothing at 90 % on the wire.
		"a law": {Inverted: true, Law: []profiles.LawPoint{{Line_pct: 0, Command_pct: 100}, {Line_pct: 10, Command_pct: 100}, {Line_pct: 90, Command_pct: 0}, {Line_pct: 100, Command_pct: 0}}},
	}
	for name, law := range laws {
		t.Run(name, func(t *testing.T) {
			p := ordinary(t)
			p.Command.Inverted, p.Command.Law = law.Inverted, law.Law
			for _, u := range []unit{good(85), units()["drag"]} {
				tr := onBench().record(u, 85)
				want := judged(t, tr, p)
				onWire := *tr
				onWire.Columns, onWire.Meta = slices.Clone(tr.Columns), append(slices.Clone(tr.Meta), trace.Entry{Key: trace.KeyDuty, Value: trace.DutyLine})
				onWire.Columns[1].Values = nil
				for _, d := range tr.Duty() {
					onWire.Columns[1].Values = append(onWire.Columns[1].Values, p.Command.LineDuty(d))
				}
				kept := slices.Clone(onWire.Duty())
				got := judged(t, &onWire, p)
				require.Equal(t, kept, onWire.Duty(), "the trace given is not touched")
				require.Equal(t, want.Verdict, got.Verdict)
				require.Equal(t, want.Cause, got.Cause)
				require.Len(t, got.Curve, len(want.Curve))
				for i := range want.Curve {
					require.InDelta(t, want.Curve[i].Duty, got.Curve[i].Duty, 1e-9)
					require.InDelta(t, want.Curve[i].Current, got.Curve[i].Current, 1e-9)
				}
				// Taken as a command the wire's duty would be nonsense.
				onWire.Meta = tr.Meta
				require.NotEqual(t, result.Pass, judged(t, &onWire, p).Verdict)
			}
		})
	}
}

func TestProvisionalProfileIsSaid(t *testing.T) {
	p := profileOf(t, onBench(), 6)
	require.True(t, p.Learned.Provisional)
	r := judged(t, onBench().record(good(120), 120), p)
	require.Contains(t, strings.Join(r.Warnings, "\n"), "provisional")
}

func TestProfileRoundTripJudgesTheSame(t *testing.T) {
	p := profileOf(t, onBench(), 8)
	data, err := profiles.Encode(p)
	require.NoError(t, err)
	back, err := profiles.Parse(data, "back.toml", section)
	require.NoError(t, err)
	for _, name := range []string{"good", "dry", "sticky"} {
		tr := onBench().record(units()[name], 77)
		a, b := judged(t, tr, p), judged(t, tr, back)
		b.Profile = a.Profile // the hash is that of the file
		same(t, core(t, a), core(t, b), name)
	}
}
