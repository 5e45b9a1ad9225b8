package ntc

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/sim"
)

// TestBeta holds the beta law against values computed from its formula:
// 10 kΩ and B 3950, 3435 and 3380 K.
func TestBeta(t *testing.T) {
	for _, c := range []struct{ b, celsius, ohm float64 }{
		{3950, 0, 33620.60}, {3950, 50, 3588.18}, {3435, 85, 1451.35},
		{3380, 0, 28223.73}, {3380, 50, 4160.14}, {3380, 85, 1496.90}, {3380, 25, 10000},
	} {
		l := Beta{R25_Ohm: 10e3, B_K: c.b}
		require.NoError(t, l.Check())
		assert.InDelta(t, c.celsius, l.Kelvin(c.ohm)-kelvin, 2e-4)
		assert.InDelta(t, c.ohm, Ohm(l, c.celsius), 0.0051, "printed to hundredths")
	}
}

// TestTerms holds the four-term law against values computed from a data
// sheet's constants for 10 kΩ, and against its table of resistances.
func TestTerms(t *testing.T) {
	l := Terms{R25_Ohm: 10e3, A: 3.354016e-3, B: 2.569850e-4, C: 2.620131e-6, D: 6.383091e-8}
	require.NoError(t, l.Check())
	for _, c := range []struct{ ohm, celsius float64 }{{32554, -0.00764}, {10000, 25.00004}, {3605, 50.00573}, {681.6, 99.78317}} {
		assert.InDelta(t, c.celsius, l.Kelvin(c.ohm)-kelvin, 1e-5)
		assert.InEpsilon(t, c.ohm, Ohm(l, c.celsius), 1e-6)
	}
}

// TestThreeTerms: Steinhart and Hart's law, with the constants of a common
// module of 10 kΩ.
func TestThreeTerms(t *testing.T) {
	l := Terms{R25_Ohm: 1, A: 1.129148e-3, B: 2.34125e-4, D: 8.76741e-8}
	require.NoError(t, l.Check())
	assert.InDelta(t, 10e3, l.Middle(), 1)
	for _, c := range []struct{ ohm, celsius float64 }{{10000, 24.99967}, {32650, 0.00022}, {3603, 49.98566}} {
		assert.InDelta(t, c.celsius, l.Kelvin(c.ohm)-kelvin, 1e-5)
		assert.InEpsilon(t, c.ohm, Ohm(l, c.celsius), 1e-6)
	}
}

// Slope is the law's derivative.
func TestSlope(t *testing.T) {
	for _, l := range []Law{
		Beta{10e3, 3380}, Terms{10e3, 3.354016e-3, 2.569850e-4, 2.620131e-6, 6.383091e-8}, Terms{1, 1.129148e-3, 2.34125e-4, 0, 8.76741e-8},
	} {
		for ohm := 200.0; ohm < 400e3; ohm *= 1.7 {
			const h = 1e-5
			assert.InEpsilon(t, (l.Kelvin(ohm*math.Exp(h))-l.Kelvin(ohm*math.Exp(-h)))/(2*h), l.Slope(ohm), 1e-6)
		}
	}
}

func sensor(t testing.TB, change func(*Sensor)) *Sensor {
	t.Helper()
	s := Sensor{Law: Beta{R25_Ohm: 10e3, B_K: 3380}, Fixed_Ohm: 10e3}
	if change != nil {
		change(&s)
	}
	out, err := New(s)
	require.NoError(t, err)
	return out
}

// tap is the voltage at the divider's tap at a temperature.
func tap(s *Sensor, celsius, reference float64) float64 {
	ohm := Ohm(s.Law, celsius)
	if s.High {
		return reference * s.Fixed_Ohm / (ohm + s.Fixed_Ohm)
	}
	return reference * ohm / (ohm + s.Fixed_Ohm)
}

func TestRead(t *testing.T) {
	for _, high := range []bool{false, true} {
		s := sensor(t, func(s *Sensor) { s.High = high })
		for celsius := -49.9; celsius < 150; celsius += 0.7 {
			r, err := s.Read(tap(s, celsius, 3.3), 3.3)
			require.NoError(t, err)
			assert.InDelta(t, celsius, r.Celsius, 1e-6)
			assert.InEpsilon(t, Ohm(s.Law, celsius), r.Ohm, 1e-6)
			assert.InDelta(t, celsius, s.Celsius(tap(s, celsius, 5), 5), 1e-6, "whatever the reference")
			assert.Zero(t, r.Uncertainty)
		}
	}
}

// TestBroken: an open probe and a short are named, with a converter of 12 bit
// that is a few steps off; and no temperature of the range is taken for one.
func TestBroken(t *testing.T) {
	const step = 3.3 / 4096
	for _, high := range []bool{false, true} {
		s := sensor(t, func(s *Sensor) { s.High = high })
		open, short := 3.3, 0.0
		if high {
			open, short = short, open
		}
		for off := -3.0; off <= 3; off++ {
			_, err := s.Read(open+off*step, 3.3)
			assert.ErrorIs(t, err, ErrOpen)
			_, err = s.Read(short+off*step, 3.3)
			assert.ErrorIs(t, err, ErrShorted)
			assert.True(t, math.IsNaN(s.Celsius(open+off*step, 3.3)))
			for _, celsius := range []float64{-40, 0, 25, 125} {
				_, err := s.Read(tap(s, celsius, 3.3)+off*step, 3.3)
				assert.NoError(t, err)
			}
		}
		_, err := s.Read(tap(s, -51, 3.3), 3.3)
		assert.ErrorIs(t, err, ErrOpen)
		_, err = s.Read(tap(s, 151, 3.3), 3.3)
		assert.ErrorIs(t, err, ErrShorted)
	}
	s := sensor(t, nil)
	for _, v := range [][2]float64{{1, 0}, {1, -1}, {1, math.NaN()}, {math.NaN(), 3.3}, {1, math.Inf(1)}} {
		_, err := s.Read(v[0], v[1])
		assert.ErrorIs(t, err, ErrReference)
	}
}

// TestUncertainty holds the budget against draws of the parts.
func TestUncertainty(t *testing.T) {
	tol := Tolerance{R25: 0.01, B: 0.01, Fixed: 0.01, Offset: 5e-3, Celsius: 0.3}
	s := sensor(t, func(s *Sensor) { s.Tolerance = tol })
	rng := rand.New(rand.NewPCG(7, 7))
	within := func(limit float64) float64 { return limit * (2*rng.Float64() - 1) }
	for _, celsius := range []float64{-20, 25, 60, 110} {
		r, err := s.Read(tap(s, celsius, 3.3), 3.3)
		require.NoError(t, err)
		var sum float64
		const n = 20000
		for range n {
			true_ := Sensor{Law: Beta{R25_Ohm: 10e3 * (1 + within(tol.R25)), B_K: 3380 * (1 + within(tol.B))}, Fixed_Ohm: 10e3 * (1 + within(tol.Fixed))}
			ohm := true_.Law.(Beta).R25_Ohm * math.Exp(true_.Law.(Beta).B_K*(1/(celsius+kelvin)-1/t25))
			v := 3.3*ohm/(ohm+true_.Fixed_Ohm) + within(tol.Offset)
			off := s.Celsius(v, 3.3) + within(tol.Celsius) - celsius
			sum += off * off
		}
		assert.InEpsilon(t, math.Sqrt(sum/n), r.Uncertainty, 0.03, "at %g °C", celsius)
	}
	// By hand, at 25 °C: a resistance 1 % off is 298.15²/3380·0.01 = 0.263 K.
	s = sensor(t, func(s *Sensor) { s.Tolerance = Tolerance{R25: 0.01} })
	r, err := s.Read(1.65, 3.3)
	require.NoError(t, err)
	assert.InDelta(t, 0.26300/math.Sqrt(3), r.Uncertainty, 1e-4)
}

func TestNewRefuses(t *testing.T) {
	for name, change := range map[string]func(*Sensor){
		"no law":            func(s *Sensor) { s.Law = nil },
		"no resistance":     func(s *Sensor) { s.Law = Beta{0, 3380} },
		"no B":              func(s *Sensor) { s.Law = Beta{10e3, math.NaN()} },
		"endless":           func(s *Sensor) { s.Law = Beta{math.Inf(1), 3380} },
		"terms all zero":    func(s *Sensor) { s.Law = Terms{R25_Ohm: 10e3} },
		"power of ten":      func(s *Sensor) { s.Law = Terms{10e3, 3.354016e-2, 2.569850e-4, 2.620131e-6, 6.383091e-8} },
		"sign":              func(s *Sensor) { s.Law = Terms{10e3, 3.354016e-3, -2.569850e-4, 2.620131e-6, 6.383091e-8} },
		"terms without R25": func(s *Sensor) { s.Law = Terms{0, 3.354016e-3, 2.569850e-4, 2.620131e-6, 6.383091e-8} },
		"no fixed resistor": func(s *Sensor) { s.Fixed_Ohm = 0 },
		"tolerance below 0": func(s *Sensor) { s.Tolerance.Fixed = -0.1 },
		"bends within the range": func(s *Sensor) {
			s.Law = Terms{10e3, 3.354016e-3, 2.569850e-4, -2.677e-4, 8.9e-5}
			s.Lowest_C, s.Highest_C = -20, 80
		},
		"range the wrong way": func(s *Sensor) {
			s.Lowest_C, s.Highest_C = 100, 0
		},
		"below absolute zero": func(s *Sensor) { s.Lowest_C, s.Highest_C = -300, 100 },
	} {
		s := Sensor{Law: Beta{R25_Ohm: 10e3, B_K: 3380}, Fixed_Ohm: 10e3}
		change(&s)
		_, err := New(s)
		assert.Error(t, err, name)
	}
}

// TestSimulatedBench: the sensor reads what the bench's divider shows.
func TestSimulatedBench(t *testing.T) {
	s := sensor(t, func(s *Sensor) { s.Law = Beta{sim.NTC_Ohm, sim.NTC_Beta_K}; s.Fixed_Ohm = sim.NTC_Ohm })
	ohm := sim.NTC_Ohm * math.Exp(sim.NTC_Beta_K*(1/(63.5+kelvin)-1/t25))
	assert.InDelta(t, 63.5, s.Celsius(sim.Reference_V*ohm/(ohm+sim.NTC_Ohm), sim.Reference_V), 1e-9)
}

// FuzzRead: any voltages and constants give a temperature of the range with
// its uncertainty, or an error.
func FuzzRead(f *testing.F) {
	f.Add(1.65, 3.3, 10e3, 3380.0, 10e3, 0.01)
	f.Add(-1e-4, 3.3, 10e3, 3380.0, 10e3, 0.0)
	f.Add(3.3, 3.3, 1.0, 1.0, 1.0, 0.5)
	f.Fuzz(func(t *testing.T, v, ref, r25, b, fixed, tol float64) {
		for _, high := range []bool{false, true} {
			s, err := New(Sensor{Law: Beta{r25, b}, Fixed_Ohm: fixed, High: high, Tolerance: Tolerance{R25: tol, B: tol, Fixed: tol}})
			if err != nil {
				return
			}
			r, err := s.Read(v, ref)
			if err != nil {
				continue
			}
			if !(r.Celsius > Lowest_C-0.01 && r.Celsius < Highest_C+0.01 && r.Uncertainty >= 0) {
				t.Fatalf("%g V of %g V gave %+v", v, ref, r)
			}
		}
	})
}

// FuzzTerms: any terms are refused, or are a law that falls throughout the
// range.
func FuzzTerms(f *testing.F) {
	f.Add(10e3, 3.354016e-3, 2.569850e-4, 2.620131e-6, 6.383091e-8)
	f.Add(1.0, 1.129148e-3, 2.34125e-4, 0.0, 8.76741e-8)
	f.Fuzz(func(t *testing.T, r25, a, b, c, d float64) {
		s, err := New(Sensor{Law: Terms{r25, a, b, c, d}, Fixed_Ohm: 10e3})
		if err != nil {
			return
		}
		last := math.Inf(1)
		for x := math.Log(s.low_Ohm) + 1e-6; x < math.Log(s.high_Ohm); x += 0.05 {
			k := s.Law.Kelvin(math.Exp(x))
			if !(k < last) {
				t.Fatalf("terms %g %g %g %g for %g Ω rise at %g Ω", a, b, c, d, r25, math.Exp(x))
			}
			last = k
		}
	})
}
