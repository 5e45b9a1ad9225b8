package pump

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/profiles"
	"dutybench/signal/matter"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// wetUnit is a pump in closed form, at full speed 1 and its base temperature with
// shaft power 1, torque constant 1 and nominal supply: torque = dry + film·μ·ω +
// hydraulic·ρ·μ^n·ω².
type wetUnit struct {
	regulation              string
	dry, film, hydraulic, n float64
	winding, magnet, quiet  float64
	liquid                  matter.Fluid
	base                    float64 // °C
}

// drawUnit takes each share from its range.
func drawUnit(r *rand.Rand, regulation string, liquid matter.Fluid, base_C float64) wetUnit {
	from := func(i int) float64 { return shares[i].low + (shares[i].high-shares[i].low)*r.Float64() }
	d, f, c := from(dry), from(film), from(copper)
	return wetUnit{regulation: regulation, dry: d, film: f, hydraulic: 1 - d - f, n: from(turbulent),
		winding: c / (1 - c), magnet: from(magnet), quiet: 0.04 / (1 - c), liquid: liquid, base: base_C}
}

// current at a duty of 0 to 1 and a water temperature, as the whole of the
// physics gives it: no share is taken as small, no change as straight.
func (u wetUnit) current(t testing.TB, duty, celsius float64) float64 {
	m, err := u.liquid.Change(u.base, celsius)
	require.NoError(t, err)
	ρ, μ, resistance := math.Exp(m.Density), math.Exp(m.Viscosity), u.winding*math.Exp(m.Copper)
	k := 1 - u.magnet*m.Kelvin
	torque := func(ω float64) float64 { return u.dry + u.film*μ*ω + u.hydraulic*ρ*math.Pow(μ, u.n)*ω*ω }
	supply := 1 + u.winding // what full speed takes at the base
	switch u.regulation {
	case "power":
		return u.quiet + duty*duty*duty
	case "speed":
		i := torque(duty) / k
		return u.quiet + (torque(duty)*duty+i*i*resistance)/supply
	}
	lo, hi := 0.0, 2.0 // duty·supply = k·ω + i·R
	for range 60 {
		if ω := (lo + hi) / 2; k*ω+torque(ω)/k*resistance < duty*supply {
			lo = ω
		} else {
			hi = ω
		}
	}
	return u.quiet + duty*torque(lo)/k
}

// beside is the surroundings of a trace at one temperature beside good units
// at another, both known exactly, of a type as the unit.
func (u wetUnit) beside(t testing.TB, regulation string, ref_C, at_C float64) *surroundings {
	p := learnedAt(ref_C, ref_C)
	p.Section = &Section{Regulation: regulation}
	full := u.current(t, 1, ref_C)
	for i := range p.Good {
		p.Good[i].Up = []float64{full}
		p.Good[i].Values = []profiles.Value{{Name: kind.WaterTemperature, X: ref_C, Unit: "°C"}, {Name: Quiet, X: u.quiet, Unit: "A"}}
	}
	p.Grid, p.Fixture.Fluid = []float64{100}, u.liquid.String()
	return newSurroundings(warmTrace(stat.Exact(at_C)), p)
}

// learnedAt is a profile whose good units ran at the temperatures, in water in
// a loop, each after 60 s of rest.
func learnedAt(celsius ...float64) *profiles.Profile {
	p := &profiles.Profile{Name: "warm", Fixture: profiles.Fixture{Type: "loop", Fluid: "water"}, Section: &Section{Regulation: "speed"}}
	for d := 20.0; d <= 100; d += 10 {
		p.Grid = append(p.Grid, d)
	}
	for i, c := range celsius {
		g := profiles.GoodUnit{Unit: fmt.Sprint(i), Values: []profiles.Value{{Name: kind.WaterTemperature, X: c, Unit: "°C"}, {Name: kind.Rested, X: 60, Unit: "s"}, {Name: Quiet, X: 0.03, Unit: "A"}}}
		for _, d := range p.Grid {
			g.Up = append(g.Up, plainCurve.at(d/100)*(1+0.02*math.Sin(float64(3*i))))
		}
		p.Good = append(p.Good, g)
	}
	return p
}

func warmTrace(water stat.Quantity, meta ...trace.Entry) *kind.Measured {
	m := &kind.Measured{Trace: &trace.Trace{Meta: meta}}
	add(m, kind.WaterTemperature, "°C", water)
	return m
}

// The whole physics of units whose shares nobody knows, 5 K away, lies within
// two standard uncertainties of the correction in 95 % of draws and more; and
// the uncertainty is not much wider than it need be, widest where nobody knows
// how the board regulates.
func TestCorrectionHoldsForUnitsOfUnknownShares(t *testing.T) {
	const draws = 500
	for _, c := range []struct {
		regulation string
		liquid     matter.Fluid
		ref, at    float64
	}{
		{"speed", matter.Water, 20, 15}, {"speed", matter.Water, 20, 25}, {"speed", matter.Water, 12, 17},
		{"speed", matter.Fluid{Glycol: matter.Propylene, Fraction: 0.4}, 20, 25},
		{"voltage", matter.Water, 20, 15}, {"voltage", matter.Water, 20, 25},
		{"unknown", matter.Water, 20, 15}, {"unknown", matter.Water, 20, 25},
	} {
		for _, duty := range []float64{0.2, 0.4, 0.7, 1} {
			r := rand.New(rand.NewPCG(77, uint64(100*duty)))
			within, z2, before2, after2 := 0, 0.0, 0.0, 0.0
			for range draws {
				actual := c.regulation
				if actual == "unknown" {
					actual = []string{"speed", "voltage", "power"}[r.IntN(3)]
				}
				u := drawUnit(r, actual, c.liquid, c.ref)
				was, is := u.current(t, duty, c.ref), u.current(t, duty, c.at)
				x := math.Cbrt((was - u.quiet) / (u.current(t, 1, c.ref) - u.quiet))
				ln, uln := u.beside(t, c.regulation, c.ref, c.at).correction(x)
				before, after := math.Log(is/was), math.Log(is/was)-ln
				before2, after2, z2 = before2+before*before, after2+after*after, z2+after*after/(uln*uln)
				if math.Abs(after) <= 2*uln {
					within++
				}
			}
			t.Logf("%s %v %g→%g °C, duty %g: %.1f %% within, rms %.2f u, %.2f %% before, %.2f %% after", c.regulation, c.liquid, c.ref, c.at, duty,
				100*float64(within)/draws, math.Sqrt(z2/draws), 100*math.Sqrt(before2/draws), 100*math.Sqrt(after2/draws))
			assert.GreaterOrEqual(t, float64(within)/draws, 0.95, "%s duty %g", c.regulation, duty)
			assert.Greater(t, math.Sqrt(z2/draws), 0.4, "%s duty %g: no wider than it need be", c.regulation, duty)
			assert.LessOrEqual(t, after2, 1.05*before2, "%s duty %g: no worse than doing nothing", c.regulation, duty)
		}
	}
}

// Where the shares are known, the correction is what the whole physics gives,
// at every duty, and nothing is left unsure.
func TestCorrectionOfKnownShares(t *testing.T) {
	r := rand.New(rand.NewPCG(78, 1))
	for range 200 {
		for _, regulation := range []string{"speed", "voltage"} {
			u := drawUnit(r, regulation, matter.Water, 20)
			for _, at := range []float64{15, 25} {
				s := u.beside(t, regulation, 20, at)
				for i, v := range map[int]float64{dry: u.dry, film: u.film, turbulent: u.n, copper: u.winding / (1 + u.winding), magnet: u.magnet} {
					s.unsure[i].low, s.unsure[i].high = v, v
				}
				for _, duty := range []float64{0.2, 0.3, 0.5, 0.8, 1} {
					was, is := u.current(t, duty, 20), u.current(t, duty, at)
					ln, uln := s.correction(math.Cbrt((was - u.quiet) / (u.current(t, 1, 20) - u.quiet)))
					assert.InDelta(t, math.Log(is/was), ln, 0.0005, "%+v, duty %g at %g °C", u, duty, at)
					assert.Zero(t, uln)
				}
			}
		}
	}
}

func TestNothingIsCorrectedAtTheSameTemperature(t *testing.T) {
	p := learnedAt(18, 20, 22)
	s := newSurroundings(warmTrace(stat.Exact(20)), p)
	s.ref = stat.Exact(20)
	for _, x := range []float64{0, 0.3, 0.7, 1, 1.1} {
		ln, u := s.correction(x)
		assert.Zero(t, ln)
		assert.Zero(t, u)
	}
	assert.Empty(t, s.errors([]point{{x: 0.5}, {x: 1}}))
	assert.Equal(t, 2.0, s.bring(stat.Exact(2), 1).Value)

	// A temperature that is not known exactly makes the correction unsure by
	// its slope; the sensor's share cancels on one bench.
	s = newSurroundings(warmTrace(stat.Exact(20).With("noise", 0.5, 0).WithShared("sensor", 0.3)), p)
	ln, u := s.correction(1)
	assert.Zero(t, ln)
	slope := s.expected(s.perK, 1)
	assert.InDelta(t, math.Abs(slope)*math.Sqrt(0.5*0.5+0.3*0.3+4.0/3), u, 1e-12, "reading, sensor and the mean of 18, 20 and 22")
	for _, c := range s.errors([]point{{x: 1}}) {
		assert.Equal(t, c.source == "temperature sensor", c.bench, c.source)
	}
}

// Colder water is thicker and takes more current where a board holds the
// speed; the farther, the more, and the less sure.
func TestColderWaterTakesMore(t *testing.T) {
	for _, x := range []float64{0.4, 0.7, 1} {
		lastLn, lastU := 0.0, 0.0
		for d := 1.0; d <= 15; d++ {
			cold := newSurroundings(warmTrace(stat.Exact(20-d)), learnedAt(20, 20))
			warm := newSurroundings(warmTrace(stat.Exact(20+d)), learnedAt(20, 20))
			lnC, uC := cold.correction(x)
			lnW, uW := warm.correction(x)
			assert.Greater(t, lnC, lastLn, "x %g, %g K colder", x, d)
			assert.Negative(t, lnW, "x %g, %g K warmer", x, d)
			assert.Greater(t, uC, lastU)
			assert.Greater(t, uC, uW, "cold water changes faster")
			lastLn, lastU = lnC, uC
		}
		assert.InDelta(t, 0.022, lastLn/3, 0.012, "some 2 %% in 5 K")
	}
	power := learnedAt(20, 20)
	power.Section = &Section{Regulation: "power"}
	ln, u := newSurroundings(warmTrace(stat.Exact(10)), power).correction(1)
	assert.Zero(t, ln)
	assert.Zero(t, u, "a board that holds its power draws the same")
}

// The laws against the whole of a motor's equations, one small change at a
// time: V = 1.15, k = 1, R = 0.15, torque ω² at full speed 1.
func TestLawsOfBoards(t *testing.T) {
	const c, d = 0.15 / 1.15, 1e-6
	for name, full := range map[string]func(torque, resistance, k float64) float64{
		"speed": func(t, r, k float64) float64 { return t + t*t/(k*k)*0.15*r },
		"voltage": func(t, r, k float64) float64 { // k·ω + (t/k)·ω²·0.15·r = 1.15
			a := 0.15 * r * t / k
			ω := (math.Sqrt(k*k+4*a*1.15) - k) / (2 * a)
			return 1.15 * t * ω * ω / k
		},
		"power": func(float64, float64, float64) float64 { return 1 },
	} {
		l := lawsOf(name)[0]
		slope := func(t, r, k float64) float64 { return math.Log(full(1+t, 1+r, 1+k)/full(1, 1, 1)) / d }
		assert.InDelta(t, slope(d, 0, 0), l(c, 2, 1, 0, 0), 1e-4, "%s: torque", name)
		assert.InDelta(t, slope(0, d, 0), l(c, 2, 0, 1, 0), 1e-4, "%s: resistance", name)
		assert.InDelta(t, slope(0, 0, d), l(c, 2, 0, 0, 1), 1e-4, "%s: magnets", name)
	}
	assert.Len(t, lawsOf("unknown"), 3)
	assert.Len(t, lawsOf(""), 3)
	for i, b := range shares {
		assert.NotEmpty(t, b.source)
		assert.LessOrEqual(t, b.low, b.high, "%d", i)
	}
	mid := shares.middle()
	assert.InDelta(t, shareOfFriction, mid[dry]+mid[film], 1e-12)
}

// What cannot be read of a fluid may be anything from water to half glycol.
func TestFluidThatCannotBeRead(t *testing.T) {
	for celsius := 5.0; celsius < 40; celsius += 5 {
		w, err := matter.Water.Change(celsius, celsius+1)
		require.NoError(t, err)
		for _, f := range []matter.Fluid{{Glycol: matter.Ethylene, Fraction: 0.5}, {Glycol: matter.Propylene, Fraction: 0.5}} {
			g, err := f.Change(celsius, celsius+1)
			require.NoError(t, err)
			assert.Less(t, g.Viscosity/w.Viscosity, thickest+0.05, "%v at %g °C", f, celsius)
			assert.Greater(t, g.Viscosity/w.Viscosity, 1.0)
		}
	}
	read, unread := learnedAt(20, 20), learnedAt(20, 20)
	unread.Fixture.Fluid = "what was at hand"
	_, sure := newSurroundings(warmTrace(stat.Exact(15)), read).correction(0.7)
	_, unsure := newSurroundings(warmTrace(stat.Exact(15)), unread).correction(0.7)
	assert.Greater(t, unsure, 1.2*sure)
}

// Each cause is one error over all points, and all of them together are the
// correction's uncertainty at each.
func TestErrorsOverPoints(t *testing.T) {
	for _, regulation := range []string{"speed", "voltage", "unknown"} {
		p := learnedAt(20, 21, 22)
		p.Section = &Section{Regulation: regulation}
		s := newSurroundings(warmTrace(stat.Exact(14).With("noise", 0.1, 0)), p)
		pts := []point{{x: 0.3}, {x: 0.6}, {x: 1}}
		errors := s.errors(pts)
		seen := map[string]bool{}
		for _, c := range errors {
			require.Len(t, c.by, len(pts))
			assert.False(t, seen[c.source], "%s stands twice", c.source)
			seen[c.source] = true
		}
		for i, q := range pts {
			var u float64
			for _, c := range errors {
				u = math.Hypot(u, c.by[i])
			}
			ln, want := s.correction(q.x)
			assert.InDelta(t, want, u, 2*negligible)
			b := s.bring(stat.Exact(3), q.x)
			assert.InDelta(t, 3*math.Exp(-ln), b.Value, 1e-12)
			assert.InDelta(t, want*b.Value, b.U(), 3*2*negligible)
		}
	}
}

func TestWhatIsNotKnownIsNotCorrected(t *testing.T) {
	silent := &kind.Measured{Trace: &trace.Trace{}}
	miss(silent, kind.WaterTemperature, "°C", "no sensor")
	unknown := silenced(learnedAt(20, 20), 2)
	empty := &profiles.Profile{}
	for name, s := range map[string]*surroundings{
		"no temperature in the trace":    newSurroundings(silent, learnedAt(20, 20)),
		"none measured at all":           newSurroundings(&kind.Measured{Trace: &trace.Trace{}}, learnedAt(20, 20)),
		"none in the profile":            newSurroundings(warmTrace(stat.Exact(5)), unknown),
		"a reading that says nothing":    newSurroundings(warmTrace(stat.Exact(60).With("noise", math.Inf(1), 1)), learnedAt(20, 20)),
		"an empty profile":               newSurroundings(warmTrace(stat.Exact(5)), empty),
		"two good units of five have it": newSurroundings(warmTrace(stat.Exact(5)), silenced(learnedAt(20, 20, 20, 20, 20), 3)),
	} {
		ln, u := s.correction(0.8)
		assert.Zero(t, ln, name)
		assert.Zero(t, u, name)
		why, next := s.outside()
		assert.Empty(t, why, name)
		assert.Empty(t, next, name)
	}
	assert.Empty(t, newSurroundings(silent, empty).unrecorded())
	said := newSurroundings(silent, learnedAt(18, 22)).unrecorded()
	require.Len(t, said, 2)
	assert.Regexp(t, `good units ran at 18\.0 to 22\.0 °C: 10 K off shift the current by about [1-4] %`, said[0])
	assert.Contains(t, said[1], "rested")
	assert.Len(t, newSurroundings(warmTrace(stat.Exact(20)), learnedAt(18, 22)).unrecorded(), 1)
}

// silenced takes the values of the first n good units away.
func silenced(p *profiles.Profile, n int) *profiles.Profile {
	for i := range n {
		p.Good[i].Values = nil
	}
	return p
}

// ranged is a profile that states a range of temperatures and no more.
func ranged(low, high float64) *profiles.Profile {
	p := silenced(learnedAt(20, 20), 2)
	p.Fixture.LowTemp_C, p.Fixture.HighTemp_C = low, high
	return p
}

// Good units' spread holds what lies within a stated range; beyond, the nearest
// end is what is compared with.
func TestStatedRangeOfTemperatures(t *testing.T) {
	noisy := func(celsius float64) *kind.Measured { return warmTrace(stat.Exact(celsius).With("noise", 0.5, 0)) }
	for _, within := range []float64{15, 16, 22.5, 30} {
		ln, u := newSurroundings(noisy(within), ranged(15, 30)).correction(0.7)
		assert.Zero(t, ln, "%g °C", within)
		assert.Zero(t, u, "%g °C", within)
	}
	for at, end := range map[float64]float64{12: 15, 34: 30} {
		ln, u := newSurroundings(noisy(at), ranged(15, 30)).correction(0.7)
		want, uEnd := newSurroundings(noisy(at), learnedAt(end, end)).correction(0.7)
		assert.InEpsilon(t, want, ln, 0.03, "%g °C", at) // the two differ in quiet current
		assert.InEpsilon(t, uEnd, u, 0.03)
		assert.NotZero(t, ln)
	}
}

// Whatever a column holds, what comes out is a number.
func TestAnyTemperatureGivesWholeNumbers(t *testing.T) {
	for _, celsius := range []float64{-300, -1e300, 0, 100, 1e300, 1e-300} {
		for _, swing := range []float64{0, 1, 1e300} {
			m := warmed(func(at float64) float64 { return celsius + swing*math.Sin(at) }, func(float64) float64 { return 12 })
			measureSurroundings(m.Trace, nil, m)
			s := newSurroundings(m, learnedAt(15, 25))
			s.outside()
			for _, x := range []float64{0, 1e-9, 0.5, 1.5} {
				ln, u := s.correction(x)
				assert.False(t, math.IsNaN(ln) || math.IsInf(ln, 0), "%g ± %g", celsius, swing)
				assert.False(t, math.IsNaN(u) || math.IsInf(u, 0), "%g ± %g", celsius, swing)
			}
		}
	}
}
