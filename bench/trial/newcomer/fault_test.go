package newcomer

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

func TestFaultList(t *testing.T) {
	known := []string{"control-board", "mechanical", "electrical", "hydraulic", "wiring", "bench"}
	names := map[string]bool{}
	for _, f := range Faults() {
		assert.False(t, names[f.Name], f.Name)
		names[f.Name] = true
		assert.NotEmpty(t, f.Line, f.Name)
		assert.True(t, len(f.Causes) == 1 || len(f.Causes) == 2, f.Name)
		assert.Subset(t, known, f.Causes, f.Name)
		assert.NotEqual(t, f.Gross, f.Graded, "%s is either stark or graded", f.Name)
	}
	assert.GreaterOrEqual(t, len(names), 18)
	assert.Panics(t, func() { models()[0].Faulty("no such", 1, source(1)) })
	Faults()[0].Name = "spoilt"
	assert.NotEqual(t, "spoilt", Faults()[0].Name)
}

// TestSeverityOfGraded holds what the list says of severity against the closed
// balance, for every model and calibrated fault.
func TestSeverityOfGraded(t *testing.T) {
	for _, m := range models() {
		_, deviation := m.spread(source(13))
		good := m.view(m.typical())
		for _, f := range faults {
			if f.scale == nil {
				continue
			}
			off := func(severity float64) (most float64) {
				u := m.typical()
				f.inflict(u, m.strength(&f, severity))
				for i, v := range m.view(u) {
					most = max(most, math.Abs(v-good[i])/deviation[i])
				}
				return most
			}
			assert.InDelta(t, 5, off(0.5), 1.2, "%s, %s", m.name, f.Name)
			// Seen by current alone, a lead that starves the board turns back.
			assert.Greater(t, off(1), pick(m.SupplySampled(), 8, 5.5), "%s, %s", m.name, f.Name)
			assert.Less(t, off(0.05), 0.4, "%s, %s", m.name, f.Name)
		}
	}
}

// TestGradedInTraces holds the same against traces: the same unit, good and
// faulty, as the same source of chance draws the same unit.
func TestGradedInTraces(t *testing.T) {
	models := models()
	signs := map[string]struct {
		column string
		duty   func(m *Model) float64
		sign   float64
		low    float64 // of the shift over that of the balance
	}{
		"power-limited":   {trace.ColCurrent, at100, -1, 0.3},
		"input-leak":      {trace.ColCurrent, at0, 1, 0.8},
		"drag-dry":        {trace.ColCurrent, lowest, 1, 0.7},
		"drag-thick":      {trace.ColCurrent, lowest, 1, 0.7},
		"rub":             {trace.ColCurrent, lowest, 1, 0.7},
		"air":             {trace.ColCurrent, at100, -1, 0.1},
		"wheel-slips":     {trace.ColCurrent, at100, -1, 0.6},
		"lead-resistance": {trace.ColSupply, at100, -1, 0.8},
	}
	for _, f := range faults {
		if f.scale == nil {
			continue
		}
		s, ok := signs[f.Name]
		require.True(t, ok, "%s has no row", f.Name)
		for _, m := range []*Model{models[0], models[3], models[7]} {
			d := s.duty(m)
			n := m.nth(d)
			good := plateau(m.Good(source(4)), s.column, d, n)
			bad := plateau(m.Faulty(f.Name, 0.6, source(4)), s.column, d, n)
			u, v := still(m), still(m)
			f.inflict(v, m.strength(&f, 0.6))
			a, b := u.balance(u.board.share(d)), v.balance(v.board.share(d))
			want := b.amps - a.amps
			switch {
			case s.column == trace.ColSupply:
				want = b.volt - a.volt
			case d == 0:
				want = v.emf * v.sickM.leak
			}
			require.Positive(t, s.sign*want, "%s, %s", m.name, f.Name)
			ratio := (bad - good) / want
			assert.True(t, ratio > s.low && ratio < 2-s.low+0.3, "%s, %s: shift over balance %.2f", m.name, f.Name, ratio)
		}
	}
}

func at100(*Model) float64    { return 100 }
func at0(*Model) float64      { return 0 }
func lowest(m *Model) float64 { return m.bench.up[0] }

// seen is a summary of a trace: quiet current, lowest duty and full, relative to
// the good unit's current at full; voltage relative to nominal; how often the
// current came up from the awake level; whether the bench cut the supply.
type seen struct {
	quiet, low, full, volt float64
	rises                  int
	cut                    bool
}

func summary(m *Model, tr *trace.Trace, scale float64) seen {
	s := seen{
		quiet: plateau(tr, trace.ColCurrent, 0, 0) / scale,
		low:   plateau(tr, trace.ColCurrent, m.bench.up[0], m.nth(m.bench.up[0])) / scale,
		full:  plateau(tr, trace.ColCurrent, 100, 0) / scale,
		volt:  plateau(tr, trace.ColSupply, 100, 0) / m.bench.nominal,
	}
	note, cut := tr.Get(trace.KeyEnded)
	s.cut = cut && strings.HasPrefix(note, "over-current: ")
	// Means over 40 ms, from a fifth of a second after switch-on.
	n, high := max(1, m.bench.hertz/25), true
	on := slices.Index(tr.Values(trace.ColSupplyOn), 1) + m.bench.hertz/5
	for i := on; i+n < tr.Len(); i += n {
		level := mean(tr.Current()[i:i+n]) / m.board.awakeA
		if level < 1.4 {
			high = false
		} else if level > 2 && !high {
			high = true
			s.rises++
		}
	}
	return s
}

func TestStarkFaults(t *testing.T) {
	awake := func(m *Model, scale float64) float64 { return m.board.awakeA / scale }
	nothing := func(s seen, _ float64) bool {
		return !s.cut && s.rises == 0 && math.Abs(s.low) < 0.01 && math.Abs(s.full) < 0.01
	}
	checks := map[string]func(s seen, awake float64) bool{
		"board-dead": nothing,
		"unplugged":  nothing,
		"no-attempt": func(s seen, a float64) bool {
			return s.rises == 0 && math.Abs(s.full/a-1) < 0.2 && s.quiet < 0.5*s.full
		},
		"phase-open":   func(s seen, a float64) bool { return s.rises >= 2 && s.full < 0.3 },
		"deaf-full":    func(s seen, a float64) bool { return s.low > 0.85 && s.full > 0.85 },
		"deaf-stopped": func(s seen, a float64) bool { return s.rises == 0 && s.full < 0.6*a },
		"input-short":  func(s seen, a float64) bool { return s.cut },
		"rotor-seized": func(s seen, a float64) bool { return s.rises >= 3 && s.full < 0.3 },
		"loop-dry":     func(s seen, a float64) bool { return s.full < 0.35 && s.rises >= 1 },
		"wheel-lost":   func(s seen, a float64) bool { return s.full < 0.35 && s.rises >= 1 },
		"outlet-shut":  func(s seen, a float64) bool { return s.full > 0.4 && s.full < 0.8 && s.rises == 1 },
		"supply-limited": func(s seen, a float64) bool {
			return s.full < 0.85 && (math.IsNaN(s.volt) || s.volt < 0.9 || s.rises > 2)
		},
		"reversed": func(s seen, a float64) bool { return s.cut || nothing(s, a) },
	}
	for i, m := range models() {
		good := m.Good(source(20))
		scale := plateau(good, trace.ColCurrent, 100, 0)
		s := summary(m, good, scale)
		assert.Equal(t, 1, s.rises, m.name)
		for j, f := range faults {
			if !f.Gross {
				continue
			}
			check, ok := checks[f.Name]
			require.True(t, ok, "%s has no row", f.Name)
			if (i+j)%2 == 0 { // a half, for time
				continue
			}
			severity := 0.5 + 0.5*float64((i/2)%2)
			got := summary(m, m.Faulty(f.Name, severity, source(20)), scale)
			assert.True(t, check(got, awake(m, scale)), "%s, %s at %g: %+v", m.name, f.Name, severity, got)
			assert.False(t, check(s, awake(m, scale)), "%s: a good unit passes for %s", m.name, f.Name)
		}
	}
}

// TestEvents counts what comes once in a while.
func TestEvents(t *testing.T) {
	models := models()
	for _, m := range []*Model{models[1], models[3], models[4], models[6]} {
		for _, c := range []struct {
			fault          string
			severity       float64
			fewest, atMost int
		}{
			{"drop-outs", 0.5, 2, 4}, {"drop-outs", 1, 5, 14},
			{"sticky-start", 0.5, 3, 4}, {"sticky-start", 1, 4, 7},
			{"sticky-start", 0, 1, 1}, {"drop-outs", 0, 1, 1},
			{"late-start", 0, 1, 1},
		} {
			tr := m.Faulty(c.fault, c.severity, source(22))
			got := summary(m, tr, 1).rises
			assert.True(t, got >= c.fewest && got <= c.atMost, "%s, %s at %g: %d rises", m.name, c.fault, c.severity, got)
		}
		u := m.sick("late-start", 1, source(22))
		u.record()
		assert.Zero(t, u.sick.resets, m.name)
	}
}
