package stranger

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

func TestFaultList(t *testing.T) {
	causes := []string{Board, Mechanical, Hydraulic, Wiring, Bench}
	seen := map[string]bool{}
	for _, f := range Faults() {
		assert.False(t, seen[f.Name], f.Name)
		seen[f.Name] = true
		assert.Contains(t, causes, f.Cause)
		assert.NotEmpty(t, f.Severity)
		require.NotNil(t, f.ail, f.Name)
		for _, set := range [][]string{f.Accepted, f.AcceptedBlind} {
			if len(set) > 0 {
				assert.Contains(t, set, f.Cause, f.Name)
				assert.Subset(t, causes, set, f.Name)
			}
		}
		got, ok := FaultNamed(f.Name)
		assert.True(t, ok && got.Name == f.Name)
	}
	assert.Len(t, seen, 21)
	_, ok := FaultNamed("no such")
	assert.False(t, ok)
}

func TestAmount(t *testing.T) {
	assert.InDelta(t, 0.1, amount(0.5, 0.1, 0.9), 1e-12)
	assert.InDelta(t, 0.9, amount(1, 0.1, 0.9), 1e-12)
	assert.InDelta(t, 0.3, amount(0.75, 0.1, 0.9), 1e-12)
	assert.InDelta(t, 0.05, amount(0.25, 0.1, 0.9), 1e-12)
	assert.InDelta(t, 0.9, amount(0.5, 2, 0.9), 1e-12)
}

// Severity 0.5 of the faults that bend the curve moves its worst point by
// 5 standard deviations, seen in the trace.
func TestHalfIsFiveDeviations(t *testing.T) {
	for _, m := range Models(21)[4:6] {
		m.RateHz, m.SupplyVColumn = 500, false
		for _, name := range []string{"drag", "dry-loop", "impeller-lost", "blocked-outlet", "power-limit", "supply-limit", "line-resistance"} {
			f, _ := FaultNamed(name)
			if f.Cause == Bench && m.FoldsBack {
				continue // it falls further
			}
			u := m.Unit(seeded(3))
			good, bad := u.Trace(Good(), 0, seeded(4)), u.Trace(f, 0.5, seeded(4))
			worst := 0.0
			for i := firstStep(m); i <= fullStep(m); i++ {
				sd := m.sd[slices.Index(m.levels, m.Plan[i].DutyPct)]
				worst = math.Max(worst, math.Abs(tail(m, bad, i)-tail(m, good, i))/sd)
			}
			slack := 1.5
			if name == "dry-loop" {
				slack = 4 // its plateaus are restless
			}
			if math.Abs(worst-5) > slack {
				t.Errorf("%s on %s: %.2f standard deviations", name, m.Name, worst)
			}
		}
	}
}

// Every fault shows as meant.
func TestFaultsShow(t *testing.T) {
	type seen struct {
		m                   Model
		u                   Unit
		good, bad           *trace.Trace
		quiet, first, full  float64 // of the bad one
		goodFirst, goodFull float64
		bursts              float64
	}
	dead := func(t *testing.T, s seen) {
		assert.Less(t, math.Abs(s.full), 0.01)
		assert.InDelta(t, s.quiet, s.full, 0.003)
	}
	flat := func(t *testing.T, s seen) {
		assert.Less(t, s.full, 0.9*s.goodFull)
		assert.InEpsilon(t, s.goodFirst, s.first, 0.03)
	}
	lost := func(t *testing.T, s seen) {
		assert.Less(t, s.full, 0.85*s.goodFull)
		assert.Less(t, s.goodFirst-s.first, s.goodFull-s.full)
	}
	checks := map[string]func(*testing.T, seen){
		"board-dead": dead,
		"board-dead-fed": func(t *testing.T, s seen) {
			assert.InDelta(t, s.quiet, s.full, 0.003)
			assert.InDelta(t, s.u.quietA*0.42, s.full, 0.005)
		},
		"never-starts": func(t *testing.T, s seen) {
			assert.InDelta(t, s.quiet+s.u.awakeA, s.full, 0.005)
			assert.Zero(t, s.bursts)
		},
		"open-phase": func(t *testing.T, s seen) {
			assert.Less(t, s.full, 0.6*s.goodFull)
			assert.Positive(t, s.bursts)
		},
		"command-lost-full": func(t *testing.T, s seen) {
			assert.InEpsilon(t, s.goodFull, s.first, 0.06)
			assert.InEpsilon(t, s.goodFull, s.full, 0.04)
		},
		"command-lost-off": func(t *testing.T, s seen) {
			assert.InDelta(t, s.quiet, s.full, 0.003)
			assert.InDelta(t, s.u.quietA, s.full, 0.005)
		},
		"power-limit": flat,
		"drop-outs": func(t *testing.T, s seen) {
			low := 0
			w := max(1, int(s.m.RateHz*0.02))
			from := int((length(s.m.Plan[:firstStep(s.m)]) + 4) * s.m.RateHz)
			to := int(length(s.m.Plan[:fullStep(s.m)+1]) * s.m.RateHz)
			for i := from; i+w < to; i += w {
				if mean(s.bad.Current()[i:i+w]) < 0.3*s.goodFirst {
					low++
				}
			}
			assert.Positive(t, low)
		},
		"input-short": func(t *testing.T, s seen) {
			assert.Greater(t, slices.Max(s.bad.Current()), 1.4*s.goodFull)
		},
		"late-start": func(t *testing.T, s seen) {
			step := firstStep(s.m)
			c := part(s.m, s.bad, step, 0, math.Min(1, 0.9/s.m.Plan[step].LengthS))
			assert.Less(t, slices.Max(c), s.u.quietA+s.u.awakeA+0.08)
			assert.InEpsilon(t, s.goodFull, s.full, 0.03)
		},
		"rotor-seized": func(t *testing.T, s seen) {
			assert.GreaterOrEqual(t, s.bursts, 2.0)
			assert.Less(t, slices.Max(part(s.m, s.bad, fullStep(s.m), 0, 1)), s.u.attemptA*1.15+0.2)
		},
		"drag": func(t *testing.T, s seen) {
			assert.Greater(t, s.first, 1.15*s.goodFirst)
		},
		"rub": func(t *testing.T, s seen) {
			if s.m.RateHz < 1000 {
				return // averaged away
			}
			step := fullStep(s.m)
			a, b := part(s.m, s.good, step, 0.7, 0.95), part(s.m, s.bad, step, 0.7, 0.95)
			assert.Greater(t, deviation(b), 1.1*deviation(a))
		},
		"sticky-start": func(t *testing.T, s seen) {
			assert.GreaterOrEqual(t, s.bursts, 2.0)
			assert.InEpsilon(t, s.goodFull, s.full, 0.03)
		},
		"dry-loop": func(t *testing.T, s seen) {
			lost(t, s)
			step := fullStep(s.m)
			assert.Greater(t, deviation(part(s.m, s.bad, step, 0.6, 0.98)), 2*deviation(part(s.m, s.good, step, 0.6, 0.98)))
		},
		"impeller-lost":  lost,
		"blocked-outlet": lost,
		"line-resistance": func(t *testing.T, s seen) {
			v := supplyV(s.m, s.bad, fullStep(s.m))
			assert.Less(t, v, 0.965*s.m.NominalV)
		},
		"supply-limit": func(t *testing.T, s seen) { // too low a limit stops it from starting
			assert.Less(t, s.full, 0.9*s.goodFull)
			assert.Less(t, slices.Max(s.bad.Current()), 0.95*s.goodFull)
			if !s.m.FoldsBack && s.full > 0.35*s.goodFull {
				assert.Less(t, supplyV(s.m, s.bad, fullStep(s.m)), 0.97*s.m.NominalV, "the voltage gives way")
			}
		},
		"unplugged": dead,
		"reversed": func(t *testing.T, s seen) {
			if s.m.SeriesDiode {
				dead(t, s)
			} else {
				assert.Greater(t, slices.Max(s.bad.Current()), 0.95*math.Min(s.m.SourceLimitA*0.4, s.m.RangeA))
			}
		},
	}
	for i, m := range Models(31) {
		if i%3 != 0 { // all sizes, both regulations, both drives
			continue
		}
		m.RateHz, m.SupplyVColumn, m.ChargePeak = math.Min(m.RateHz, 500), true, false
		u := m.Unit(seeded(6))
		good := u.Trace(Good(), 0, seeded(8))
		for _, f := range Faults() {
			t.Run(m.Name+"/"+f.Name, func(t *testing.T) {
				bad := u.Trace(f, 0.8, seeded(8))
				s := seen{m: m, u: u, good: good, bad: bad,
					quiet: tail(m, bad, quietStep(m)), first: tail(m, bad, 2*fullStep(m)-firstStep(m)), full: tail(m, bad, fullStep(m)),
					goodFirst: tail(m, good, 2*fullStep(m)-firstStep(m)), goodFull: tail(m, good, fullStep(m)),
					bursts: float64(bursts(bad, 0.3*u.attemptA+u.awakeA+u.quietA))}
				require.Contains(t, checks, f.Name)
				checks[f.Name](t, s)
			})
		}
	}
}

// supplyV is the mean supply voltage in the settled end of a step.
func supplyV(m Model, tr *trace.Trace, step int) float64 {
	start := length(m.Plan[:step])
	var v []float64
	for i, t := range tr.Time() {
		if t > start+0.75*m.Plan[step].LengthS && t < start+0.98*m.Plan[step].LengthS {
			v = append(v, tr.Values(trace.ColSupply)[i])
		}
	}
	return mean(v)
}

// A stuck rotor's attempts are of equal length and full; an open phase leaves
// four of six steps empty.
func TestAttempts(t *testing.T) {
	m := Models(1)[6]
	m.Hobbles, m.LatchAfter, m.RestGrowth, m.RateHz, m.Averages = false, 4, 1.5, 2000, false
	m.NoiseA, m.SupplyVColumn = 0.002, false
	u := m.Unit(seeded(1))
	filled := func(name string) (share float64, starts, lengths []float64) {
		f, _ := FaultNamed(name)
		tr := u.Trace(f, 1, seeded(2))
		high, n, last := 0, 0, -9.0
		for i, c := range tr.Current() {
			x := tr.Time()[i]
			if c > u.quietA+u.awakeA+0.4*u.attemptA && x > length(m.Plan[:firstStep(m)]) {
				if x-last > 0.6 {
					starts, lengths = append(starts, x), append(lengths, 0)
				}
				lengths[len(lengths)-1] = x - starts[len(starts)-1]
				last = x
				high++
			}
		}
		for _, l := range lengths {
			n += int(l * m.RateHz)
		}
		return float64(high) / float64(n), starts, lengths
	}
	share, starts, lengths := filled("rotor-seized")
	require.Len(t, lengths, 4, "latched off after four")
	assert.Greater(t, share, 0.97)
	for i := range lengths {
		assert.InDelta(t, lengths[0], lengths[i], 0.01)
	}
	assert.InEpsilon(t, 1.5, (starts[2]-starts[1]-lengths[1])/(starts[1]-starts[0]-lengths[0]), 0.05, "rests grow")

	share, _, lengths = filled("open-phase")
	require.Len(t, lengths, 4)
	assert.Less(t, share, 0.75, "gaps")
}
