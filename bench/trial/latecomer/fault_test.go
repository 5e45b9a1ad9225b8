package latecomer

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

func TestFaultsAreWellFormed(t *testing.T) {
	words := []string{onBoard, mechanical, hydraulic, wiring, onBench}
	seen := map[string]bool{}
	for _, f := range Faults() {
		assert.False(t, seen[f.Name], f.Name)
		seen[f.Name] = true
		assert.NotEmpty(t, f.Line)
		require.NotEmpty(t, f.Causes)
		assert.Subset(t, words, f.Causes)
		assert.NotEqual(t, f.Gross, f.Graded, f.Name)
	}
	assert.GreaterOrEqual(t, len(seen), 20)
}

// The main quantity of a graded fault, seen in the trace against the trace of
// the same unit when good, moves the right way by about five standard
// deviations at 0.5, by more at 1 and by nothing at 0. A board that limits or
// regulates power, and the wander of gas, leave the wide bounds.
func TestGradedFaultsMoveWhatTheyMust(t *testing.T) {
	models := Models(12)
	goods := make([]*trace.Trace, len(models))
	for j, m := range models {
		goods[j] = m.Good(seeded(1))
	}
	for _, c := range []struct {
		fault       string
		low         bool
		column      string
		way         float64
		least, most float64 // at 0.5, in standard deviations
	}{
		{"dry-friction", true, trace.ColCurrent, 1, 4, 6.5},
		{"thick-bearing", true, trace.ColCurrent, 1, 4, 6.5},
		{"rub", true, trace.ColCurrent, 1, 4, 6.5},
		{"air", false, trace.ColCurrent, -1, 2, 12},
		{"wheel-slips", false, trace.ColCurrent, -1, 4, 6.5},
		{"power-limit", false, trace.ColCurrent, -1, 4, 7},
		{"lead-resistance", false, trace.ColSupply, -1, 4, 6.5},
		{"supply-limit", false, trace.ColSupply, -1, 4, math.Inf(1)},
	} {
		for j, m := range models {
			k := m.top()
			sd := m.topA.sd
			if c.low {
				k, sd = 1, m.lowA.sd
			}
			if c.column == trace.ColSupply {
				if sd = m.topV.sd; m.bench.voltEvery == 0 {
					continue
				}
			}
			good, _ := plateau(m, goods[j], c.column, k)
			moved := func(severity float64) float64 {
				bad, _ := plateau(m, m.Faulty(c.fault, severity, seeded(1)), c.column, k)
				return c.way * (bad - good) / sd
			}
			half, full := moved(0.5), moved(1)
			where := m.Name() + " " + c.fault
			assert.True(t, half > c.least && half < c.most, "%s: %.1f", where, half)
			assert.Greater(t, full, min(1.3*half, 10), where)
			assert.InDelta(t, 0, moved(0), 1.2, where)
		}
	}
}

// Hydraulic torque goes: the top falls far, the bottom less.
func TestWaterFaults(t *testing.T) {
	for _, m := range Models(13) {
		good := m.Good(seeded(1))
		for _, c := range []struct {
			fault       string
			least, most float64 // what is left at the top
		}{{"dry-loop", 0.05, 0.3}, {"wheel-gone", 0.05, 0.3}, {"blocked-outlet", 0.45, 0.8}} {
			left := current(m, m.Faulty(c.fault, 0.5, seeded(1)), m.top()) / current(m, good, m.top())
			assert.True(t, left > c.least && left < c.most, "%s %s: %.2f", m.Name(), c.fault, left)
		}
		air, still := m.Faulty("air", 1, seeded(1)), m.Faulty("wheel-slips", 1, seeded(1))
		_, wanders := plateau(m, air, trace.ColCurrent, m.top())
		_, calm := plateau(m, still, trace.ColCurrent, m.top())
		assert.Greater(t, wanders, 1.3*calm, m.Name())
	}
}

// attempts counts the stretches of current above the board's own after the
// first command.
func attempts(m *Model, tr *trace.Trace) int {
	n, high, since := 0, false, 0.0
	for k, now := range tr.Time() {
		if now < beforeS+m.plan[0].seconds || now > beforeS+m.plan[0].seconds+28 {
			continue
		}
		switch a := tr.Current()[k]; {
		case a > m.mid.awakeA*1.3+6*m.bench.noiseA:
			if !high && now-since > 0.3 {
				n++
			}
			high, since = true, now
		default:
			high = false
		}
	}
	return n
}

func TestBoardFaults(t *testing.T) {
	for _, m := range Models(14) {
		good := m.Good(seeded(1))
		bad := func(fault string) *trace.Trace { return m.Faulty(fault, 0.5, seeded(1)) }
		k, full := m.top(), current(m, good, m.top())
		small := 2*math.Abs(m.bench.offsetA) + 0.5*m.bench.stepA
		for _, f := range []string{"dead-board", "unplugged"} {
			assert.InDelta(t, 0, current(m, bad(f), k), small, "%s %s", m.Name(), f)
		}
		asleep := current(m, good, 0)
		assert.Less(t, current(m, bad("dead-board-charges"), k), asleep, m.Name())
		assert.InDelta(t, asleep, current(m, bad("deaf-off"), k), 0.005, m.Name())
		assert.InDelta(t, m.mid.awakeA, current(m, bad("no-attempt"), k), 0.03, m.Name())
		assert.InEpsilon(t, full, current(m, bad("deaf-full"), 1), 0.06, m.Name())
		half := bad("deaf-half")
		assert.InEpsilon(t, current(m, half, 1), current(m, half, k), 0.06, m.Name())

		seized, open := attempts(m, bad("rotor-seized")), attempts(m, bad("open-phase"))
		want := 4
		if m.board.latch > 0 {
			want = min(m.board.latch, want)
		}
		assert.GreaterOrEqual(t, seized, want, m.Name())
		if m.board.latch > 0 {
			assert.LessOrEqual(t, seized, m.board.latch, m.Name())
		}
		assert.Positive(t, open, m.Name())
		assert.Equal(t, 1, attempts(m, good), m.Name())
		for _, f := range []string{"late-start", "drop-outs", "sticky-start"} {
			assert.Greater(t, attempts(m, bad(f))+resets(f), 1, "%s %s", m.Name(), f)
		}
		assert.InEpsilon(t, full, current(m, bad("sticky-start"), k), 0.03, m.Name())
	}
}

// resets come closer to each other than attempts counts.
func resets(fault string) int {
	if fault == "late-start" {
		return 1
	}
	return 0
}

// An open phase leaves current in a third of the steps, or its square's mean
// halved: the attempts of a stuck rotor with all phases draw more.
func TestOpenPhaseHasGaps(t *testing.T) {
	for _, m := range Models(15) {
		whole, gaps := 0.0, 0.0
		from := beforeS + m.plan[0].seconds
		sum := func(tr *trace.Trace) (a float64) {
			for k, now := range tr.Time() {
				if now > from && now < from+m.board.attemptS+0.3 {
					a += tr.Current()[k] - m.mid.awakeA
				}
			}
			return a
		}
		whole, gaps = sum(m.Faulty("rotor-seized", 0.5, seeded(1))), sum(m.Faulty("open-phase", 0.5, seeded(1)))
		assert.True(t, gaps < 0.8*whole && gaps > 0.15*whole, "%s: %.2f", m.Name(), gaps/whole)
	}
}

func TestLateStartIsLate(t *testing.T) {
	for _, m := range Models(16) {
		settled := func(tr *trace.Trace) float64 {
			last := 0.0
			end := beforeS + m.plan[0].seconds + m.plan[1].seconds
			at := current(m, tr, 1)
			for k, now := range tr.Time() {
				if now < end && tr.Current()[k] < 0.5*at {
					last = now
				}
			}
			return last
		}
		assert.Greater(t, settled(m.Faulty("late-start", 0.5, seeded(1))), settled(m.Good(seeded(1)))+0.4, m.Name())
	}
}

func TestTheBenchCuts(t *testing.T) {
	for _, m := range Models(17) {
		for _, f := range []string{"input-short", "reversed"} {
			tr := m.Faulty(f, 0.5, seeded(1))
			why, _ := tr.Get(trace.KeyEnded)
			assert.True(t, strings.HasPrefix(why, "over-current: "), "%s %s: %q", m.Name(), f, why)
			assert.Less(t, tr.Time()[tr.Len()-1], 1.5)
			if on := tr.Values(trace.ColSupplyOn); on != nil {
				assert.Zero(t, on[len(on)-1])
			}
			assert.InDelta(t, 0, tr.Current()[tr.Len()-1], 0.1*m.topA.mid)
		}
	}
}
