package judge_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/result"
)

// The pairs below look alike to whoever takes one figure only. Each has its
// own test, so that a judge that mixes one up says which.

// named judges units of several seeds and wants the cause at the top.
func named(t *testing.T, want result.Cause, b func() bench, change func(u *unit)) {
	t.Helper()
	p := ordinary(t)
	for seed := range uint64(2) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			r := judgedAs(t, b().record(changed(200+seed, change), 200+seed), p, kind.Conditions{Primed: true})
			require.NotEqual(t, result.Pass, r.Verdict, r.Sentence)
			require.NotNil(t, r.Cause, r.Sentence)
			assert.Equal(t, want, *r.Cause, r.Sentence)
			assert.NotEmpty(t, r.Carried)
			assert.NotEmpty(t, r.Disproof)
		})
	}
}

// slow is a plan whose steps each hold more than one attempt and its rest.
func slow() bench {
	b := onBench()
	for i := range b.plan {
		if b.plan[i].duty > 0 {
			b.plan[i].s = 1.6
		}
	}
	return b
}

// Both draw too little at full. A limit leaves the curve alone below; missing
// water bends all of it.
func TestPowerLimitAgainstMissingWater(t *testing.T) {
	for _, share := range []float64{0.5, 0.75} {
		t.Run(fmt.Sprintf("limit at %.0f %%", 100*share), func(t *testing.T) {
			named(t, result.ControlBoard, onBench, func(u *unit) { u.limit_A = share * u.scale * (u.c + u.v + u.h) })
		})
		t.Run(fmt.Sprintf("water at %.0f %%", 100*share), func(t *testing.T) {
			named(t, result.Hydraulic, onBench, func(u *unit) { u.h *= share })
		})
	}
}

// A dry unit draws a fraction of what good ones do, with its own drag more in
// proportion at low speed, and still follows the duty; one that stands still
// does not.
func TestDryAgainstStandingStill(t *testing.T) {
	for _, drag := range []float64{1, 1.6} {
		t.Run(fmt.Sprintf("dry, friction times %.1f", drag), func(t *testing.T) {
			named(t, result.Hydraulic, onBench, func(u *unit) { u.h, u.c = 0.05*u.h, drag*u.c })
		})
	}
	t.Run("stuck", func(t *testing.T) {
		named(t, result.Mechanical, slow, func(u *unit) { u.tries, u.try_A, u.try_s, u.rest_s = -1, u.burst_A, 0.3, 0.7 })
	})
	t.Run("never tries", func(t *testing.T) {
		named(t, result.ControlBoard, onBench, func(u *unit) { u.asleep = true })
	})
}

// A stuck rotor gets even pulses, at a current that may be well under that of
// a good start, as no water is moved; a board that does not start draws its
// own waking current and no more.
func TestLowAttemptsAgainstNoAttempt(t *testing.T) {
	for _, share := range []float64{0.7, 0.85} {
		t.Run(fmt.Sprintf("stuck, pulses at %.0f %%", 100*share), func(t *testing.T) {
			named(t, result.Mechanical, slow, func(u *unit) { u.tries, u.try_A, u.try_s, u.rest_s = -1, share*u.burst_A, 0.3, 0.7 })
		})
	}
	t.Run("awake only", func(t *testing.T) {
		named(t, result.ControlBoard, onBench, func(u *unit) { u.asleep, u.awake_A = true, 0.04 })
	})
	t.Run("pulses with gaps", func(t *testing.T) {
		named(t, result.ControlBoard, slow, func(u *unit) {
			u.tries, u.try_A, u.try_s, u.rest_s, u.empty = -1, u.burst_A, 0.3, 0.7, 0.66
		})
	})
}

// A binding rotor asks for more than the board gives: flat at the top, as a
// limit set too low is, but above the good curve below.
func TestHeavyDragIntoTheLimitAgainstALimitTooLow(t *testing.T) {
	for _, drag := range []float64{2, 3} {
		t.Run(fmt.Sprintf("friction times %.0f", drag), func(t *testing.T) {
			named(t, result.Mechanical, onBench, func(u *unit) {
				u.limit_A = 1.02 * u.scale * (u.c + u.v + u.h)
				u.c *= drag
			})
		})
	}
	t.Run("limit alone", func(t *testing.T) {
		named(t, result.ControlBoard, onBench, func(u *unit) { u.limit_A = 0.75 * u.scale * (u.c + u.v + u.h) })
	})
}

// Current alone shows the same flat top for a board that limits and a supply
// that does; the voltage at the plug tells them apart, and without it both are
// named.
func TestSupplyLimitAgainstABoardThatLimits(t *testing.T) {
	weakSupply := func() bench {
		b := onBench()
		b.limit_A = 3.2
		return b
	}
	t.Run("supply", func(t *testing.T) { named(t, result.Bench, weakSupply, func(*unit) {}) })
	t.Run("board", func(t *testing.T) {
		named(t, result.ControlBoard, onBench, func(u *unit) { u.limit_A = 3.2 - u.quiet })
	})
	t.Run("voltage not read", func(t *testing.T) {
		r := judged(t, without(weakSupply().record(good(210), 210), "supply_V"), ordinary(t))
		require.ElementsMatch(t, []result.Cause{result.ControlBoard, result.Bench}, r.Inseparable, r.Sentence)
		require.Contains(t, r.SeparatedBy, "voltage")
	})
}

// Attempts of one height, again and again: of a supply at its limit the voltage
// goes with every one of them; of a board that gives no more it holds.
func TestSupplyLimitAgainstAWeakBoardThroughEveryAttempt(t *testing.T) {
	weak := func(u *unit) { u.tries, u.try_A, u.try_s, u.rest_s = -1, 2.5, 0.4, 0.6 }
	t.Run("supply, the unit asks for more and more", func(t *testing.T) {
		named(t, result.Bench, func() bench {
			b := slow()
			b.limit_A = 1.2
			return b
		}, func(u *unit) { weak(u); u.rises_A = 2 })
	})
	t.Run("resistance, the unit asks for more and more", func(t *testing.T) {
		named(t, result.Wiring, func() bench {
			b := slow()
			b.ohm = 2
			return b
		}, func(u *unit) { weak(u); u.rises_A = 2 })
	})
	t.Run("either, the voltage down by one amount", func(t *testing.T) {
		b := slow()
		b.limit_A = 1.2
		r := judged(t, b.record(changed(240, weak), 240), ordinary(t))
		require.ElementsMatch(t, []result.Cause{result.Bench, result.Wiring}, r.Inseparable, r.Sentence)
	})
	t.Run("board", func(t *testing.T) {
		p := ordinary(t)
		for seed := range uint64(2) {
			r := judged(t, slow().record(changed(240+seed, func(u *unit) { weak(u); u.try_A = 1.17 }), 240+seed), p)
			require.NotEqual(t, result.Pass, r.Verdict)
			require.NotEqual(t, result.Bench, *r.Cause, r.Sentence)
			require.NotContains(t, r.Inseparable, result.Bench, r.Sentence)
		}
	})
}

// A board that hears another duty against friction and against water lost: its
// curve is that of good units elsewhere, at both ends.
func TestMisheardCommandAgainstFriction(t *testing.T) {
	t.Run("hears more", func(t *testing.T) { named(t, result.ControlBoard, onBench, func(u *unit) { u.hears = 0.5 }) })
	t.Run("friction", func(t *testing.T) { named(t, result.Mechanical, onBench, func(u *unit) { u.c *= 2.5 }) })
}

// A whole curve off in one proportion is no load's doing: the board is named,
// if not alone, as missing water at 80 % and drag at 125 % come near.
func TestScaledCurveNamesTheBoard(t *testing.T) {
	p := ordinary(t)
	for _, scale := range []float64{0.8, 1.25} {
		r := judged(t, onBench().record(changed(220, func(u *unit) { u.scale *= scale }), 220), p)
		require.NotEqual(t, result.Pass, r.Verdict)
		require.Contains(t, append(r.Inseparable, *r.Cause), result.ControlBoard, r.Sentence)
	}
}
