package coil_test

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/signal/coil"
)

// good is a unit with a clear dip, and its current from the edge on.
func good(r *rand.Rand) (*plunger, []float64) {
	for {
		p := drawPlunger(r)
		final := p.U_V / p.R_ohm
		if p.gap && p.dip_A > 0.1*final && p.begin_s > 2e-3 {
			return p, p.run(0.035+8*p.L1_H/p.R_ohm, fineStep)
		}
	}
}

// TestRough measures what converters and foreign recordings do to samples.
func TestRough(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 1))
	p, fine := good(r)
	final := p.U_V / p.R_ohm
	ts, is, edge := sampled(r, fine, 0, rate_Hz, 10e-3, 0.003*final)
	known := coil.Known{Switched: true, Switched_s: math.Floor(edge*rate_Hz) / rate_Hz}
	near := func(t *testing.T, e *coil.Edge, ms float64) {
		t.Helper()
		require.Equal(t, coil.Moved, e.Motion.Found, "evidence %g of %g", e.Motion.Evidence, e.Motion.Needed)
		require.InDelta(t, p.end_s*1e3, (e.Motion.End_s.Value+e.Onset_s.Value-edge)*1e3, ms)
	}
	read := func(s coil.Samples, k coil.Known) *coil.Edge {
		e, err := coil.Rise(s, k)
		require.NoError(t, err)
		return e
	}
	t.Run("as it is", func(t *testing.T) { near(t, read(coil.Samples{Time_s: ts, Current_A: is}, known), 0.3) })
	t.Run("switching time not known", func(t *testing.T) {
		e := read(coil.Samples{Time_s: ts, Current_A: is}, coil.Known{})
		near(t, e, 0.3)
		require.InDelta(t, edge, e.Onset_s.Value, 3/rate_Hz)
	})
	t.Run("another axis and unit", func(t *testing.T) {
		var s coil.Samples
		for k := range ts {
			s.Time_s, s.Current_A = append(s.Time_s, ts[k]+1000), append(s.Current_A, 1000*is[k])
		}
		a, b := read(coil.Samples{Time_s: ts, Current_A: is}, known), read(s, coil.Known{Switched: true, Switched_s: known.Switched_s + 1000})
		require.InDelta(t, a.Motion.End_s.Value, b.Motion.End_s.Value, 0.05e-3)
		require.InEpsilon(t, a.Final_A.Value*1000, b.Final_A.Value, 1e-3)
	})
	for _, step := range []float64{0.8e-3, 8e-3, 0.05 * final} {
		t.Run("converter's steps", func(t *testing.T) {
			q := make([]float64, len(is))
			for k, i := range is {
				q[k] = math.Round(i/step) * step
			}
			near(t, read(coil.Samples{Time_s: ts, Current_A: q}, known), 0.5)
		})
	}
	t.Run("uneven", func(t *testing.T) {
		var s coil.Samples
		for k := range ts {
			if r.IntN(3) > 0 {
				s.Time_s, s.Current_A = append(s.Time_s, ts[k]), append(s.Current_A, is[k])
			}
		}
		near(t, read(s, known), 0.4)
	})
	t.Run("holes", func(t *testing.T) {
		s := coil.Samples{Time_s: ts, Current_A: append([]float64(nil), is...)}
		for k := 7; k < len(is); k += 50 {
			s.Current_A[k] = math.NaN()
		}
		near(t, read(s, known), 0.3)
	})
	t.Run("1 kHz", func(t *testing.T) {
		var s coil.Samples
		for k := 0; k < len(ts); k += 20 {
			s.Time_s, s.Current_A = append(s.Time_s, ts[k]), append(s.Current_A, is[k])
		}
		e := read(s, coil.Known{Switched: true, Switched_s: known.Switched_s})
		if e.Motion.Found == coil.Moved {
			require.Less(t, math.Abs(e.Motion.End_s.Value+e.Onset_s.Value-edge-p.end_s), 4*e.Motion.End_s.U())
		} else {
			require.True(t, e.Motion.Found == coil.NotMeasured || e.Motion.Least_A > 0)
		}
		require.InEpsilon(t, final, e.Final_A.Value, 0.02)
	})
	t.Run("clipped", func(t *testing.T) {
		s := coil.Samples{Time_s: ts, Current_A: append([]float64(nil), is...)}
		ceiling := 0.9 * final
		for k, i := range is {
			s.Current_A[k] = min(i, ceiling)
		}
		k := known
		k.Ceiling_A = ceiling
		e, err := coil.Rise(s, k)
		require.NoError(t, err)
		require.Contains(t, e.Missing, "final current: readings stand at the converter's end; take a smaller shunt or gain")
		require.False(t, e.Settled)
	})
	t.Run("too short", func(t *testing.T) {
		var s coil.Samples
		for k := range ts {
			if ts[k] < edge+1e-3 {
				s.Time_s, s.Current_A, s.Supply_V = append(s.Time_s, ts[k]), append(s.Current_A, is[k]), append(s.Supply_V, 12)
			}
		}
		e, err := coil.Rise(s, known)
		require.NoError(t, err)
		require.False(t, e.Settled)
		require.True(t, math.IsNaN(e.Resistance_ohm.Value))
		require.NotEqual(t, coil.Moved, e.Motion.Found)
	})
	t.Run("noise only", func(t *testing.T) {
		var s coil.Samples
		for k := range ts {
			s.Time_s, s.Current_A = append(s.Time_s, ts[k]), append(s.Current_A, 0.01*r.NormFloat64())
		}
		for _, k := range []coil.Known{known, {}} {
			_, err := coil.Rise(s, k)
			require.ErrorIs(t, err, coil.ErrNoEdge)
			_, err = coil.Fall(s, k)
			require.ErrorIs(t, err, coil.ErrNoEdge)
		}
	})
	t.Run("linked noise", func(t *testing.T) {
		// Noise through a low pass, on a coil that is stuck: no motion.
		for range trials(20, 300) {
			s := inrush(r, 12, 10, 0.05, 0.15, 0)
			x := 0.0
			for k := range s.Current_A {
				x += 0.2 * (0.05*r.NormFloat64() - x)
				s.Current_A[k] += x
			}
			e, err := coil.Rise(s, coil.Known{Switched: true, Switched_s: 5e-3})
			require.NoError(t, err)
			require.NotEqual(t, coil.Moved, e.Motion.Found, "%g of %g", e.Motion.Evidence, e.Motion.Needed)
		}
	})
}

func TestRefused(t *testing.T) {
	line := func(n int) (s coil.Samples) {
		for k := range n {
			s.Time_s, s.Current_A = append(s.Time_s, float64(k)), append(s.Current_A, float64(k))
		}
		return s
	}
	for name, s := range map[string]coil.Samples{
		"nothing":       {},
		"few":           line(10),
		"other lengths": {Time_s: line(50).Time_s, Current_A: line(40).Current_A},
		"voltages":      {Time_s: line(50).Time_s, Current_A: line(50).Current_A, Supply_V: []float64{1}},
		"back": func() coil.Samples {
			s := line(50)
			s.Time_s[30] = 3
			return s
		}(),
	} {
		_, err := coil.Rise(s, coil.Known{})
		require.ErrorIs(t, err, coil.ErrSamples, name)
		_, err = coil.Fall(s, coil.Known{})
		require.ErrorIs(t, err, coil.ErrSamples, name)
	}
}

// FuzzRead: no samples make it panic or run for ever, and what is found is a
// number with an uncertainty.
func FuzzRead(f *testing.F) {
	r := rand.New(rand.NewPCG(1, 1))
	s := inrush(r, 12, 4, 5e-3, 0.02, 0.01)
	var seed []byte
	for _, i := range s.Current_A {
		seed = binary.LittleEndian.AppendUint16(seed, uint16(int16(i*1000)))
	}
	f.Add(seed, 5e-3, 5e-5, 0.0, true)
	f.Add(seed, 0.0, 1e300, 1.0, false)
	f.Add([]byte{1, 2, 3}, math.NaN(), math.Inf(1), -1.0, true)
	f.Fuzz(func(t *testing.T, data []byte, at, step, ceiling float64, known bool) {
		var s coil.Samples
		for k := 0; k+1 < len(data) && k < 4000; k += 2 {
			v := int16(binary.LittleEndian.Uint16(data[k:]))
			i := float64(v) / 1000
			switch v {
			case math.MaxInt16:
				i = math.NaN()
			case math.MinInt16:
				i = math.Inf(1)
			case math.MaxInt16 - 1:
				i = 1e300
			}
			s.Time_s, s.Current_A = append(s.Time_s, float64(k)*step), append(s.Current_A, i)
			s.Supply_V = append(s.Supply_V, i)
		}
		k := coil.Known{Switched: known, Switched_s: at, Ceiling_A: ceiling, Resolution_A: ceiling / 100}
		for _, read := range []func(coil.Samples, coil.Known) (*coil.Edge, error){coil.Rise, coil.Fall} {
			e, err := read(s, k)
			if err != nil {
				require.Nil(t, e)
				continue
			}
			if e.Motion.Found == coil.Moved {
				require.False(t, math.IsNaN(e.Motion.End_s.Value))
				require.GreaterOrEqual(t, e.Motion.End_s.Value, e.Motion.Begin_s.Value)
				require.Greater(t, e.Motion.End_s.U(), 0.0)
			}
		}
	})
}
