package pump

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

func TestOutsideWhatWasLearned(t *testing.T) {
	glycol := learnedAt(20, 22)
	glycol.Fixture.Fluid = "30 % propylene glycol"
	for _, c := range []struct {
		name       string
		p          *profiles.Profile
		celsius, u float64
		meta       []trace.Entry
		why, next  string
	}{
		{"inside", learnedAt(15, 17, 19, 21, 23, 25), 20, 0, nil, "", ""},
		{"a little beyond", learnedAt(15, 17, 19, 21, 23, 25), 27, 0, nil, "", ""},
		{"far beyond", learnedAt(15, 25), 37, 0, nil, "37.0 °C, and the good units of profile warm ran at 15.0 to 25.0 °C", "bring the water to 15.0 to 25.0 °C"},
		{"far below", learnedAt(15, 25), 3, 0, nil, "3.0 °C", "repeat"},
		{"beyond by what the reading is unsure of", learnedAt(15, 25), 37, 6, nil, "", ""},
		{"inside a stated range", ranged(15, 30), 29, 0, nil, "", ""},
		{"beyond a stated range", ranged(15, 30), 42, 0, nil, "42.0 °C", "judge with a profile"},
		{"glycol beyond its formula", glycol, 45, 0, nil, "0 to 40 °C", "bring the water"},
		{"no such water", learnedAt(90, 99), 104, 0, nil, "0 to 100 °C", "bring the water"},
		{"other fluid", learnedAt(20, 20), 20, 0, []trace.Entry{{Key: trace.KeyFluid, Value: "40 % ethylene glycol"}}, `ran in "40 % ethylene glycol", and profile warm was learned in "water"`, "fill the bench"},
		{"same fluid in other words", learnedAt(20, 20), 20, 0, []trace.Entry{{Key: trace.KeyFluid, Value: "tap water"}}, "", ""},
		{"other fixture", learnedAt(20, 20), 20, 0, []trace.Entry{{Key: trace.KeyFixture, Value: "Bucket, 10 l"}}, "ran in a bucket, and profile warm was learned in a loop", "mount"},
		{"same fixture", learnedAt(20, 20), 20, 0, []trace.Entry{{Key: trace.KeyFixture, Value: "loop, 19 mm"}}, "", ""},
		{"words of no type", learnedAt(20, 20), 20, 0, []trace.Entry{{Key: trace.KeyFixture, Value: "bench three"}}, "", ""},
	} {
		s := newSurroundings(warmTrace(stat.Exact(c.celsius).With("noise", c.u, 0), c.meta...), c.p)
		why, next := s.outside()
		if c.why == "" {
			assert.Empty(t, why, c.name)
			assert.Empty(t, next, c.name)
			continue
		}
		assert.Contains(t, why, c.why, c.name)
		assert.Contains(t, next, c.next, c.name)
	}
}

// How far beyond depends on the good units' own spread, and on how well it is
// known what temperature does to such a board.
func TestHowFarBeyond(t *testing.T) {
	// farthest is the first whole kelvin above 25 °C that lies outside.
	farthest := func(spread float64, regulation string) float64 {
		p := learnedAt(15, 20, 25)
		p.Section = &Section{Regulation: regulation}
		for i := range p.Good {
			for j, d := range p.Grid {
				p.Good[i].Up[j] = plainCurve.at(d/100) * (1 + spread*float64(i-1))
			}
		}
		for d := 0.0; ; d++ {
			require.Less(t, d, 30.0)
			if newSurroundings(warmTrace(stat.Exact(25+d)), p).tooFar() {
				return d
			}
		}
	}
	assert.InDelta(t, 3, farthest(0, "speed"), 1, "alike units: half a per cent")
	assert.Greater(t, farthest(0.01, "speed"), farthest(0, "speed"))
	assert.Greater(t, farthest(0, "speed"), farthest(0, "unknown")-1)
	assert.Equal(t, farthest_K+1.0, farthest(0, "power"), "the current does not move, but other things do")
	assert.Equal(t, farthest_K+1.0, farthest(0.1, "unknown"))
}

func TestRestBeforeTheTest(t *testing.T) {
	p := learnedAt(20, 20) // after 60 s
	for rest, out := range map[float64]bool{5: true, 29: true, 31: false, 60: false, 1e6: false} {
		m := warmTrace(stat.Exact(20))
		add(m, kind.Rested, "s", stat.Exact(rest))
		why, next := newSurroundings(m, p).outside()
		if !out {
			assert.Empty(t, why, "%g s", rest)
			continue
		}
		assert.Contains(t, why, "and the good units of profile warm 60 s or longer")
		assert.Equal(t, "let the unit rest for 60 s and repeat the test", next)
	}
	m := warmTrace(stat.Exact(40), trace.Entry{Key: trace.KeyFluid, Value: "coolant"})
	why, next := newSurroundings(m, p).outside()
	assert.Contains(t, why, `ran at 20.0 °C; the unit ran in "coolant"`, "all that is strange")
	assert.Contains(t, next, "bring the water", "one next step")
}

// warmed is a trace with a temperature every tenth sample and a supply.
func warmed(celsius, volts func(t float64) float64, meta ...trace.Entry) *kind.Measured {
	tr := &trace.Trace{Meta: meta}
	var ts, temps, vs []float64
	for i := range 1000 {
		at := float64(i) / 100
		ts, vs = append(ts, at), append(vs, volts(at))
		if temps = append(temps, math.NaN()); i%10 == 0 {
			temps[i] = celsius(at)
		}
	}
	tr.Columns = []trace.Column{{Name: trace.ColTime, Values: ts}, {Name: trace.ColTemperature, Values: temps, Resolution: 0.0625}, {Name: trace.ColSupply, Values: vs}}
	return &kind.Measured{Trace: tr, Curve: []kind.Point{{Duty_pct: 50, Start_s: 2, End_s: 4}, {Duty_pct: 100, Start_s: 5, End_s: 6}, {Duty_pct: 100, Start_s: 8, End_s: 9}}}
}

func TestMeasureSurroundings(t *testing.T) {
	const slope = 0.2 // K/s
	m := warmed(func(at float64) float64 { return 20 + slope*at }, func(at float64) float64 {
		if at >= 5 {
			return 12.1
		}
		return 12.6
	}, trace.Entry{Key: trace.KeyRested, Value: "90"})
	measureSurroundings(m.Trace, nil, m)
	q := value(t, m, kind.WaterTemperature)
	require.Equal(t, "°C", q.Unit)
	assert.InDelta(t, 20+slope*(3*21+5.5*11+8.5*11)/43, q.Q.Value, 1e-9, "the samples on plateaus")
	own, shared := q.Q.Split()
	assert.InDelta(t, sensorU, shared, 1e-12)
	assert.Greater(t, own, 0.2, "it still rises by more than a kelvin")
	assert.InDelta(t, 0.2887, sensorU, 1e-4)

	v := value(t, m, kind.SupplyVoltage)
	assert.Equal(t, "V", v.Unit)
	assert.InDelta(t, 12.1, v.Q.Value, 1e-12, "at full command only")
	r := value(t, m, kind.Rested)
	assert.Equal(t, "s", r.Unit)
	assert.Equal(t, 90.0, r.Q.Value)
}

func TestSurroundingsThatAreNotTold(t *testing.T) {
	nan := func(float64) float64 { return math.NaN() }
	bare := &kind.Measured{Trace: &trace.Trace{}}
	gaps := warmed(nan, nan, trace.Entry{Key: trace.KeyRested, Value: "long"})
	low := warmed(nan, func(float64) float64 { return 12 }, trace.Entry{Key: trace.KeyRested, Value: "-3"})
	low.Curve = low.Curve[:1]
	text := warmed(nan, nan)
	text.Trace.Columns[1].Values, text.Trace.Columns[1].Text = nil, []string{"warm"}
	for i, m := range []*kind.Measured{bare, gaps, low, text} {
		measureSurroundings(m.Trace, nil, m)
		for _, name := range []string{kind.WaterTemperature, kind.SupplyVoltage, kind.Rested} {
			assert.NotEmpty(t, value(t, m, name).Missing, "%d: %s", i, name)
		}
	}
	once := warmed(nan, nan)
	once.Trace.Columns[1].Values[300] = 21
	measureSurroundings(once.Trace, nil, once)
	q := value(t, once, kind.WaterTemperature).Q
	assert.Equal(t, 21.0, q.Value)
	assert.Less(t, q.U(), 0.5, "one reading is a reading")
}
