package contract_test

import (
	"encoding/json"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/judge"
	"dutybench/bench/kind"
	"dutybench/bench/kind/pump"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

func cause(r *result.Result) string {
	if r.Cause == nil {
		return ""
	}
	return string(*r.Cause)
}

func finding(r *result.Result, name string) result.Finding {
	for _, f := range r.Findings {
		if f.Name == name {
			return f
		}
	}
	return result.Finding{}
}

// Labels are annotations: without them, and without columns that the bench
// does not know, nothing changes.
func TestStrippingLabelsChangesNothing(t *testing.T) {
	p := profileOf(t, 12)
	for name, s := range map[string]specimen{"good": drawn(50), "binding": {serial: 51, quiet: 0.05, friction: 1.6, water: 3.8, ohm: 0.05}} {
		t.Run(name, func(t *testing.T) {
			tr := s.trace(t)
			labelled := *tr
			labelled.Meta = append(slices.Clone(tr.Meta), trace.Entry{Key: "step", Value: "down 0 40 100"}, trace.Entry{Key: "x-note", Value: "hold"})
			labelled.Columns = append(slices.Clone(tr.Columns), trace.Column{Name: "phase_of_moon", Values: make([]float64, tr.Len())})
			a, b := judged(t, tr, p, judge.Options{}), judged(t, &labelled, p, judge.Options{})
			assert.Equal(t, a, b)
		})
	}
}

func TestVerdicts(t *testing.T) {
	p := profileOf(t, 20)
	with := func(change func(*specimen)) specimen {
		s := plain
		s.serial = 900
		change(&s)
		return s
	}
	for _, c := range []struct {
		name    string
		s       specimen
		primed  bool
		verdict result.Verdict
		cause   string
		exit    int
	}{
		{"good", plain, false, result.Pass, "", 0},
		{"binding", with(func(s *specimen) { s.friction = 1.6 }), false, result.Fail, "mechanical", 3},
		{"dry", with(func(s *specimen) { s.water, s.unrest = 0.4, 0.05 }), false, result.Undecided, "hydraulic", 4},
		{"dry, with the operator's word", with(func(s *specimen) { s.water = 0.4 }), true, result.Fail, "hydraulic", 3},
		{"limited", with(func(s *specimen) { s.cut = 2.4 }), false, result.Fail, "control-board", 3},
		{"seized", with(func(s *specimen) { s.tries, s.tryLevel = 5, burst_A }), false, result.Fail, "mechanical", 3},
		{"supply at its limit", with(func(s *specimen) { s.supplyLimit = 2.4 }), false, result.Undecided, "bench", 5},
		{"resistance in the leads", with(func(s *specimen) { s.ohm = 0.3 }), false, result.Undecided, "wiring", 5},
		{"nothing drawn", with(func(s *specimen) { s.open = true }), false, result.Undecided, "control-board", 4},
		{"awake, never tries", with(func(s *specimen) { s.dead = true }), false, result.Undecided, "control-board", 4},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := judged(t, c.s.trace(t), p, judge.Options{Conditions: kind.Conditions{Primed: c.primed}})
			assert.Equal(t, c.verdict, r.Verdict, r.Sentence)
			assert.Equal(t, c.cause, cause(r), r.Sentence)
			assert.Equal(t, c.exit, r.Exit())
			assert.NotEmpty(t, r.NextStep)
		})
	}
}

// What nobody can tell apart from supply current is named as a set.
func TestInseparableSets(t *testing.T) {
	p := profileOf(t, 12)
	for _, s := range []specimen{{serial: 1, open: true}, {serial: 2, dead: true, quiet: 0.05}} {
		r := judged(t, s.trace(t), p, judge.Options{})
		assert.ElementsMatch(t, []result.Cause{result.ControlBoard, result.Wiring}, r.Inseparable, r.Sentence)
		assert.NotEmpty(t, r.SeparatedBy)
	}
}

// The pairs that are easily taken for each other.
func TestHardPairs(t *testing.T) {
	p := profileOf(t, 20)
	causeOf := func(s specimen) string { return cause(judged(t, s.trace(t), p, judge.Options{})) }
	s := plain
	s.serial = 901
	t.Run("power limit against missing water", func(t *testing.T) {
		limited, dry := s, s
		limited.cut = 3.2
		dry.water = 2.7 // about the same current at full
		assert.Equal(t, "control-board", causeOf(limited))
		assert.Equal(t, "hydraulic", causeOf(dry))
	})
	t.Run("a dry pump's small current, with its own drag, against standing still", func(t *testing.T) {
		dry, still := s, s
		dry.water, dry.friction = 0.05, 0.75
		still.tries, still.tryLevel = 4, burst_A
		assert.Equal(t, "hydraulic", causeOf(dry))
		assert.Equal(t, "mechanical", causeOf(still))
	})
	t.Run("flat low attempts of a seized rotor against a board that does not start", func(t *testing.T) {
		seized, mute := s, s
		seized.tries, seized.tryLevel = 5, 0.75*burst_A
		mute.dead = true
		assert.Equal(t, "mechanical", causeOf(seized))
		assert.Equal(t, "control-board", causeOf(mute))
	})
	t.Run("heavy drag that runs into the power limit", func(t *testing.T) {
		heavy := s
		heavy.friction, heavy.cut = 2.2, 4.4
		assert.Equal(t, "mechanical", causeOf(heavy))
	})
	t.Run("a supply at its current limit against a weak board", func(t *testing.T) {
		supply, board := s, s
		supply.supplyLimit, board.cut = 2.6, 2.6
		assert.Equal(t, "bench", causeOf(supply))
		assert.Equal(t, "control-board", causeOf(board))
	})
}

// A step that was not run is not measured, and no unit passes on it.
func TestWhatWasNotRun(t *testing.T) {
	p := profileOf(t, 12)
	for name, plan := range map[string][]float64{
		"no way down":          {0, 20, 30, 40, 50, 60, 70, 80, 90, 100},
		"no full duty":         {0, 20, 30, 40, 50, 60, 50, 40, 30, 20, 0},
		"no command at all":    {0, 0, 0, 0},
		"one duty only":        {0, 50, 50, 50},
		"commanded throughout": {100, 100, 100},
	} {
		t.Run(name, func(t *testing.T) {
			s := drawn(60)
			s.plan = plan
			r := judged(t, s.trace(t), p, judge.Options{})
			if name == "no way down" {
				assert.Equal(t, result.Pass, r.Verdict, r.Sentence)
				assert.Equal(t, result.NotMeasured, finding(r, pump.CurveDown).Result)
				return
			}
			assert.NotEqual(t, result.Pass, r.Verdict, r.Sentence)
			lacks := pump.Hysteresis
			if name == "no full duty" {
				lacks = pump.Full
			}
			assert.Equal(t, result.NotMeasured, finding(r, lacks).Result)
		})
	}
	short := drawn(61).trace(t)
	for i := range short.Columns {
		short.Columns[i].Values = short.Columns[i].Values[:3]
	}
	assert.NotEqual(t, result.Pass, judged(t, short, p, judge.Options{}).Verdict)
}

func TestWrongProfile(t *testing.T) {
	p := profileOf(t, 12)
	s := plain
	s.nominal = 24
	r := judged(t, s.trace(t), p, judge.Options{})
	assert.Equal(t, result.Undecided, r.Verdict)
	assert.Equal(t, 5, r.Exit())
	assert.Contains(t, r.Sentence, "24")

	tr := plain.trace(t)
	tr.Meta[2].Value = "fan"
	_, err := judge.Judge(tr, p, pump.Kind{}, judge.Options{})
	assert.ErrorContains(t, err, "fan")

	empty := *p
	empty.Good, empty.Grid = nil, nil
	r = judged(t, plain.trace(t), &empty, judge.Options{})
	assert.Equal(t, result.Undecided, r.Verdict, r.Sentence)
}

// A duty column that holds what was on the wire is turned into the command.
func TestLineDuty(t *testing.T) {
	p := profileOf(t, 12)
	inverted := *p
	inverted.Command.Inverted = true
	tr := drawn(70).trace(t)
	want := judged(t, tr, p, judge.Options{})
	wire := *tr
	wire.Meta = append(slices.Clone(tr.Meta), trace.Entry{Key: trace.KeyDuty, Value: "line"})
	wire.Columns = slices.Clone(tr.Columns)
	v := slices.Clone(tr.Duty())
	for i := range v {
		v[i] = 100 - v[i]
	}
	wire.Columns[1].Values = v
	got := judged(t, &wire, &inverted, judge.Options{})
	assert.Equal(t, want.Verdict, got.Verdict)
	assert.Equal(t, want.Curve, got.Curve)
	assert.Equal(t, v, wire.Columns[1].Values, "the trace given is not touched")
}

// Common practice, no source: on one 12 V auxiliary coolant pump a commanded
// run at full must draw 2.8 to 6 A. 4.79 A was a good one; 0.24 A after a
// brief attempt was one whose board gave up. Window and verdict agree on both.
func TestFullCommandWindow(t *testing.T) {
	p := &profiles.Profile{Name: "window", Revision: 1, Kind: "pump",
		Command: profiles.Command{Type: "pwm", Stop_pct: 0, Full_pct: 100},
		Supply:  profiles.Supply{Nominal_V: 12, Low_V: 9, High_V: 16},
		Stated:  []profiles.Limit{{Finding: pump.Full, Unit: "A", Low: 2.8, High: 6}}}
	good := plain
	good.water = 4.79 - good.quiet - good.friction
	r := judged(t, good.trace(t), p, judge.Options{})
	assert.Equal(t, result.Passed, finding(r, pump.Full).Result)
	assert.InDelta(t, 4.79, *finding(r, pump.Full).Value, 0.02)
	assert.Equal(t, result.Pass, r.Verdict, r.Sentence)

	gaveUp := plain
	gaveUp.tries, gaveUp.tryLevel, gaveUp.quiet = 1, burst_A, 0.24
	r = judged(t, gaveUp.trace(t), p, judge.Options{})
	assert.Equal(t, result.Failed, finding(r, pump.Full).Result)
	assert.InDelta(t, 0.24, *finding(r, pump.Full).Value, 0.02)
	assert.NotEqual(t, result.Pass, r.Verdict, r.Sentence)
}

// The JSON holds no NaN, whatever the trace.
func FuzzJudge(f *testing.F) {
	p := profileOf(f, 6)
	f.Add(uint64(1), 200, 0.1)
	f.Add(uint64(2), 3, 100.0)
	f.Fuzz(func(t *testing.T, seed uint64, n int, scale float64) {
		n = min(max(n, 1), 3000)
		if math.IsNaN(scale) || math.IsInf(scale, 0) || math.Abs(scale) > 1e6 {
			return
		}
		_, err := json.Marshal(judged(t, noise(seed, n, scale), p, judge.Options{}))
		require.NoError(t, err)
	})
}
