package judge_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/signal/trace"
)

func TestHydraulicNeedsTheOperatorsWord(t *testing.T) {
	p := ordinary(t)
	for seed := range uint64(2) {
		u := good(90 + seed)
		u.h *= 0.4
		tr := onBench().record(u, 90+seed)
		r := judged(t, tr, p)
		require.NotNil(t, r.Cause)
		require.Equal(t, result.Hydraulic, *r.Cause)
		require.Equal(t, result.Undecided, r.Verdict)
		require.Equal(t, 4, r.Exit())
		require.Contains(t, r.NextStep, "bleed")
		r = judgedAs(t, tr, p, kind.Conditions{Primed: true})
		require.Equal(t, result.Fail, r.Verdict)
		require.Equal(t, result.Hydraulic, *r.Cause)
		require.Equal(t, 3, r.Exit())
		require.NotContains(t, r.NextStep, "bleed", "the loop was said to be bled")
	}
}

// What the bench or its wiring does is never held against the unit.
func TestTheBenchNeverFailsAUnit(t *testing.T) {
	p := ordinary(t)
	for _, c := range []struct {
		name   string
		change func(b *bench)
		cause  result.Cause
	}{
		{"resistance in the leads", func(b *bench) { b.ohm = 0.4 }, result.Wiring},
		{"supply at its limit", func(b *bench) { b.limit_A = 3.2 }, result.Bench},
	} {
		t.Run(c.name, func(t *testing.T) {
			for seed := range uint64(1) {
				b := onBench()
				c.change(&b)
				for _, primed := range []bool{false, true} {
					r := judgedAs(t, b.record(good(100+seed), 100+seed), p, kind.Conditions{Primed: primed})
					require.NotNil(t, r.Cause, r.Sentence)
					assert.Equal(t, c.cause, *r.Cause)
					assert.Equal(t, result.Undecided, r.Verdict)
					assert.Equal(t, 5, r.Exit(), "%s %v", r.Sentence, r.Inseparable)
				}
			}
		})
	}
}

// The switch was on and the plug had no voltage: whichever it is, it lies on
// the bench's side of the plug.
func TestNoVoltageAtThePlug(t *testing.T) {
	b := onBench()
	b.open_V = 0
	u := unit{}
	r := judged(t, b.record(u, 110), ordinary(t))
	require.Equal(t, result.Undecided, r.Verdict)
	require.NotNil(t, r.Cause)
	require.Equal(t, result.Wiring, *r.Cause)
	require.Equal(t, 5, r.Exit(), "%v are both the bench's", r.Inseparable)
}

func TestInseparableSetsAreNamed(t *testing.T) {
	p := ordinary(t)
	boardOrWiring := []result.Cause{result.ControlBoard, result.Wiring}
	unplugged := onBench()
	unplugged.unplugged = true
	deaf := good(111)
	deaf.deaf = true
	silent := good(112)
	silent.asleep, silent.awake_A = true, 0
	for name, tr := range map[string]*trace.Trace{
		"no current at all":              unplugged.record(good(110), 110),
		"one thing whatever the duty":    onBench().record(deaf, 111),
		"rests whatever it is commanded": onBench().record(silent, 112),
	} {
		t.Run(name, func(t *testing.T) {
			r := judged(t, tr, p)
			require.NotEqual(t, result.Pass, r.Verdict)
			require.ElementsMatch(t, boardOrWiring, r.Inseparable)
			require.NotEmpty(t, r.SeparatedBy)
			require.Contains(t, r.Sentence, "cannot tell which")
			require.NotEqual(t, result.Fail, r.Verdict, "nothing proves that the unit was reached")
			require.Equal(t, 4, r.Exit())
		})
	}
}

// With the line's level read, a unit that ignores it is at fault alone.
func TestLineLevelProvesTheCommand(t *testing.T) {
	p := ordinary(t)
	u := good(113)
	u.deaf = true
	tr := onBench().record(u, 113)
	level := trace.Column{Name: trace.ColLine}
	for _, d := range tr.Duty() {
		level.Values = append(level.Values, 12*d/100)
	}
	tr.Columns = append(tr.Columns, level)
	r := judged(t, tr, p)
	require.Equal(t, result.Fail, r.Verdict, r.Sentence)
	require.Equal(t, result.ControlBoard, *r.Cause)
	require.Empty(t, r.Inseparable)
}

// A guard's cut is told by the key that the format knows, not by an
// annotation.
func TestTripIsReadFromTheFormatsOwnKey(t *testing.T) {
	p := ordinary(t)
	b := onBench()
	b.plan = []stage{{false, 0, 0.3, "zero"}, {true, 0, 0.02, "quiet"}, {false, 0, 0.3, "cut"}}
	u := good(114)
	u.quiet = 40
	tr := b.record(u, 114)
	ended := trace.Entry{Key: trace.KeyEnded, Value: "over-current: 40 A for 20 ms"}
	tr.Meta = append(tr.Meta, ended, trace.Entry{Key: "x-trip", Value: "over-current"})
	with := judged(t, tr, p)
	tr.Meta = tr.Meta[:len(tr.Meta)-1]
	bare := judged(t, tr, p)
	same(t, core(t, with), core(t, bare), "without the annotation")
	require.NotEqual(t, result.Pass, with.Verdict)
}
