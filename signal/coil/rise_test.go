package coil_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/signal/coil"
	"dutybench/signal/stat"
)

// inrush is U/R·(1 - exp(-t·R/L)) at 20 kHz from 5 ms on, with noise.
func inrush(r *rand.Rand, u, ohm, henry, length_s, sd float64) coil.Samples {
	n := int(length_s * rate_Hz)
	s := coil.Samples{Time_s: make([]float64, n), Current_A: make([]float64, n), Supply_V: make([]float64, n)}
	for k := range n {
		t := float64(k) / rate_Hz
		s.Time_s[k] = t
		s.Current_A[k] = -u/ohm*math.Expm1(-max(0, t-5.02e-3)*ohm/henry) + sd*r.NormFloat64()
		s.Supply_V[k] = math.NaN()
		if k%100 == 50 {
			s.Supply_V[k] = u
		}
	}
	return s
}

// TestPublishedRise: 12 V, 4 ohm, 20 mH: L/R 5 ms, 3 A in the end, 0.543808 A
// after 1 ms, 1.896362 A after 5 ms (makersdeck.com: 63.2 % and 99.3 % after
// one and five time constants).
func TestPublishedRise(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	s := inrush(r, 12, 4, 20e-3, 0.1, 3e-3)
	e, err := coil.Rise(s, coil.Known{Switched: true, Switched_s: 5e-3})
	require.NoError(t, err)
	require.Equal(t, coil.Still, e.Motion.Found)
	require.True(t, e.Held)
	require.True(t, e.Settled)
	for name, c := range map[string]struct {
		got  stat.Quantity
		want float64
	}{
		"onset":      {e.Onset_s, 5.02e-3},
		"final":      {e.Final_A, 3},
		"resistance": {e.Resistance_ohm, 4},
		"tau":        {e.Tau_s, 5e-3},
		"inductance": {e.Inductance_H, 20e-3},
		"after":      {e.InductanceAfter_H, 20e-3},
	} {
		require.InDelta(t, c.want, c.got.Value, 4*c.got.U()+0.003*c.want, name)
		require.Greater(t, c.got.U(), 0.0, name)
		require.Less(t, c.got.U(), 0.1*c.want, name)
	}
	at := func(t float64) float64 {
		for k := range e.Motion.Curve_s {
			if e.Motion.Curve_s[k] >= 5.02e-3+t {
				a, b := e.Motion.Curve_s[k-1], e.Motion.Curve_s[k]
				return e.Motion.Curve_A[k-1] + (5.02e-3+t-a)/(b-a)*(e.Motion.Curve_A[k]-e.Motion.Curve_A[k-1])
			}
		}
		return math.NaN()
	}
	require.InDelta(t, 0.543808, at(1e-3), 0.004)
	require.InDelta(t, 1.896362, at(5e-3), 0.004)
	require.InDelta(t, 2.593994, at(10e-3), 0.004)
	require.InDelta(t, 0.0045, e.Noise_A, 0.002)
}

// TestPublishedDip draws the curve of a hobby record (wangnick.com pgv-100,
// 24 ohm, 55 mH): 115 mV at 14 ms, when the valve moves, down to 80 mV within
// 3 ms, and 135 mV after 30 ms.
func TestPublishedDip(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 1))
	var s coil.Samples
	for k := range 1600 {
		at := float64(k) / rate_Hz
		u := at - 5.03e-3
		mV := 0.0
		switch {
		case u > 17e-3:
			mV = 136 - (136-80)*math.Exp(-(u-17e-3)/3.3e-3)
		case u > 14e-3:
			mV = 115 - 35*math.Pow((u-14e-3)/3e-3, 2)
		case u > 0:
			// With the time constant that gives 115 mV at 14 ms.
			mV = -136 * math.Expm1(-u/(14e-3/math.Log(136.0/21)))
		}
		s.Time_s, s.Current_A = append(s.Time_s, at), append(s.Current_A, mV+1.5*r.NormFloat64())
	}
	e, err := coil.Rise(s, coil.Known{Switched: true, Switched_s: 5e-3})
	require.NoError(t, err)
	m := e.Motion
	require.Equal(t, coil.Moved, m.Found)
	require.True(t, m.Turns)
	require.InDelta(t, 17, m.End_s.Value*1e3, 0.3)
	require.InDelta(t, 14, m.Begin_s.Value*1e3, 0.3+3*m.Begin_s.U()*1e3)
	require.InDelta(t, 14, m.Peak_s*1e3, 0.7)
	require.InDelta(t, 0.30, m.Dip_A.Value/m.Peak_A, 0.04)
}

// TestShoulders are rises whose slope never turns: a plunger's pull of various
// strength, from pure equations.
func TestShoulders(t *testing.T) {
	missed, far := 0, 0
	n := trials(40, 1000)
	for seed := range n {
		r := rand.New(rand.NewPCG(uint64(seed), 3))
		tau := uniform(r, 4e-3, 12e-3)
		begin, length := uniform(r, 0.4, 1.2)*tau, uniform(r, 0.3, 0.6)*tau
		// The inductance over R grows by so little that the slope stays up.
		gain := uniform(r, 0.3, 0.6) * length
		at := func(u float64) float64 { return gain * math.Pow(min(max((u-begin)/length, 0), 1), 2) }
		var s coil.Samples
		flux, h := 0.0, 2.5e-6
		next := 0
		falls := false
		last := 0.0
		for k := 0; float64(k)*h < 10*tau; k++ {
			u := float64(k)*h - 5.01e-3
			i := 0.0
			if u > 0 {
				i = flux / (tau + at(u))
				flux += h * (1 - i)
			}
			falls = falls || i < last-1e-12
			last = i
			if float64(k)*h >= float64(next)/rate_Hz {
				s.Time_s, s.Current_A = append(s.Time_s, float64(k)*h), append(s.Current_A, i+0.003*r.NormFloat64())
				next++
			}
		}
		if falls {
			continue
		}
		e, err := coil.Rise(s, coil.Known{Switched: true, Switched_s: 5e-3})
		require.NoError(t, err)
		if e.Motion.Found != coil.Moved {
			missed++
			continue
		}
		require.False(t, e.Motion.Turns && e.Motion.Dip_A.Value > 0.02)
		if math.Abs(e.Motion.End_s.Value-begin-length) > 0.3e-3 {
			far++
		}
	}
	t.Logf("shoulders at 50 dB: %d of %d missed, %d ends further than 0.3 ms", missed, n, far)
	require.LessOrEqual(t, missed, n/10)
	require.LessOrEqual(t, far, n/10)
}
