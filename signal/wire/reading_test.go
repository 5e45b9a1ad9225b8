package wire

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// fuzzEdges makes edges of any lengths, levels that need not alternate.
func fuzzEdges(data []byte, start bool) Edges {
	e := Edges{StartHigh: start}
	for i := 0; i+2 < len(data); i += 3 {
		e.End_s += float64(binary.LittleEndian.Uint16(data[i:])) * 1e-5
		e.At_s, e.High = append(e.At_s, e.End_s), append(e.High, data[i+2]&1 == 1)
	}
	e.End_s += 0.01
	return e
}

func checkReading(t *testing.T, r Reading) {
	t.Helper()
	require.NotEmpty(t, r.Kind)
	require.NotEmpty(t, r.Words)
	if r.Kind == PWM {
		require.True(t, r.Frequency_Hz.Value > 0 && finite(r.Frequency_Hz.Value), "%+v", r)
		require.True(t, r.Duty_pct.Value >= 0 && r.Duty_pct.Value <= 100, "%+v", r)
	}
	for _, s := range append(append([]string{}, r.Words...), r.Limits...) {
		require.NotContains(t, s, "NaN")
		require.True(t, strings.HasSuffix(s, "."), s)
	}
}

func FuzzReadEdges(f *testing.F) {
	f.Add([]byte{1, 2, 1, 4, 200, 0}, true)
	f.Add(make([]byte, 90), false)
	alternate := make([]byte, 240) // edges of no length
	for i := 2; i < len(alternate); i += 6 {
		alternate[i] = 1
	}
	f.Add(alternate, false)
	f.Fuzz(func(t *testing.T, data []byte, start bool) {
		e := fuzzEdges(data, start)
		r, err := Read(&e, nil, Surroundings{})
		require.NoError(t, err)
		checkReading(t, r)
	})
}

func FuzzReadLevels(f *testing.F) {
	f.Add([]byte{1, 2, 1, 4, 200, 0, 9, 9}, 0.0)
	f.Fuzz(func(t *testing.T, data []byte, filter float64) {
		l := &Levels{Filter_s: math.Abs(math.Mod(filter, 1))}
		if !finite(l.Filter_s) {
			l.Filter_s = 0
		}
		at := 0.0
		for i := 0; i+1 < len(data); i += 2 {
			at += float64(data[i]) * 1e-4
			l.At_s, l.V = append(l.At_s, at), append(l.V, float64(data[i+1])/16-2)
		}
		if len(l.V) == 0 {
			return
		}
		for _, s := range []Surroundings{{}, {Supply_V: 12, PullUp_V: 9, Open: true, Open_V: 2}, {Load: &Load{Ohm: 1000, Without: 5, With: 1}}} {
			r, err := Read(nil, l, s)
			require.NoError(t, err)
			checkReading(t, r)
		}
	})
}

// steady is a level with noise.
func steady(v, noise float64, even bool) *Levels {
	rng := rand.New(rand.NewPCG(3, 4))
	l := &Levels{Step_V: 0.005}
	for t := 0.0; t < 0.5; t += 1e-3 {
		at := t
		if !even {
			at += 4e-4 * rng.Float64()
		}
		l.At_s, l.V = append(l.At_s, at), append(l.V, v+noise*rng.NormFloat64())
	}
	return l
}

func TestSteadyLevels(t *testing.T) {
	still := &Edges{End_s: 1, StartHigh: true}
	for _, c := range []struct {
		name   string
		level  float64
		edges  *Edges
		filter float64
		around Surroundings
		want   Kind
		says   string
	}{
		{"ground", 0.05, nil, 0, Surroundings{}, Low, "stuck low"},
		{"ground of an input with a known bias", 0.05, nil, 0, Surroundings{Open: true, Open_V: 2.5}, Low, "stuck low"},
		{"low level of an input, VDMA sheet 24224: below 1 V", 0.95, nil, 0, Surroundings{}, Low, "stuck low"},
		{"the input's own level", 2.4, nil, 0, Surroundings{Open: true, Open_V: 2.5}, Floating, "nothing connected"},
		{"supply", 13.2, nil, 0, Surroundings{Supply_V: 13.5}, High, "load test"},
		{"above any analogue command", 12, nil, 0, Surroundings{}, High, "idle bus"},
		{"three quarters of the supply, as the pull-up", 9.1, nil, 0, Surroundings{Supply_V: 12, PullUp_V: 9}, High, "own pull-up"},
		{"5 V", 5, nil, 0, Surroundings{Supply_V: 12}, Analogue, "analogue level"},
		{"7.3 V of 0 to 10", 7.3, nil, 0, Surroundings{}, Analogue, "No PWM"},
		{"differential bus, idle", 2.5, nil, 0, Surroundings{}, Analogue, "ISO 11898-2"},
		{"mean of a filter", 6.2, nil, 0.02, Surroundings{Supply_V: 12}, MeanOnly, "A meter would show 6.2 V"},
		{"mean of a filter, without edges", 6.2, still, 0.02, Surroundings{Supply_V: 12}, Analogue, "analogue level"},
		{"filter at the supply", 12, nil, 0.02, Surroundings{Supply_V: 12}, High, "no PWM"},
	} {
		t.Run(c.name, func(t *testing.T) {
			l := steady(c.level, 0.01, true)
			l.Filter_s = c.filter
			r, err := Read(c.edges, l, c.around)
			require.NoError(t, err)
			checkReading(t, r)
			assert.Equal(t, c.want, r.Kind)
			assert.Contains(t, strings.Join(r.Words, " "), c.says)
			assert.InDelta(t, c.level, r.Mean_V.Value, 0.01)
			if c.filter > 0 && r.Kind == High {
				assert.Contains(t, strings.Join(r.Limits, " "), "would look steady")
			}
		})
	}
}

// TestLoad: a level of 12 V behind R falls to 12 V·RL/(R+RL).
func TestLoad(t *testing.T) {
	for _, c := range []struct {
		source, load, input float64
		want                Kind
	}{
		{50, 10e3, 0, DrivenHigh}, {300, 10e3, 0, DrivenHigh}, {1000, 10e3, 0, PullUp}, {4700, 10e3, 110e3, PullUp},
		{100e3, 10e3, 0, PullUp}, {100e3, 10e3, 110e3, PullUp}, {20e6, 10e3, 0, Floating}, {500, 10e3, 0, High},
	} {
		without := 12.0
		inner := c.source
		if c.input > 0 {
			inner = 1 / (1/c.source + 1/c.input)
		}
		d := Load{Ohm: c.load, Without: without, With: without * c.load / (inner + c.load), U_V: 0.005, InputOhm: c.input}
		r, err := Read(nil, steady(without, 0.01, false), Surroundings{Load: &d})
		require.NoError(t, err)
		checkReading(t, r)
		assert.Equal(t, c.want, r.Kind, "%+v", c)
		if r.Kind != Floating {
			half, _ := r.Source_Ohm.Expanded(0.95)
			assert.InDelta(t, c.source, r.Source_Ohm.Value, half+1e-6*c.source)
		}
	}
}

// TestPublishedFrames: a bit of LIN at 19.2 kbit/s is 52.08 µs (1/19,200 s), of
// CAN at 500 kbit/s 2 µs (arithmetic).
func TestPublishedFrames(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 9))
	w := framed(rng, 19200, 0.1)
	l := input{low: 0.8, high: 12.6, noise: 0.05, step: 0.01, interval: 8e-6}.levels(rng, w)
	r := read(t, nil, l)
	assert.Equal(t, Bus, r.Kind)
	assert.InDelta(t, 52.08e-6, r.Bit_s, 0.3e-6)
	assert.Contains(t, strings.Join(r.Words, " "), "LIN (ISO 17987-4)")

	w = stuffed(rng, 500e3, 4e-3)
	for _, levels := range [][2]float64{{2.5, 3.5}, {1.5, 2.5}} {
		l = input{low: levels[0], high: levels[1], noise: 0.02, step: 0.005, interval: 0.25e-6}.levels(rng, w)
		r = read(t, nil, l)
		assert.Equal(t, Bus, r.Kind)
		assert.InDelta(t, 2e-6, r.Bit_s, 0.02e-6)
		assert.Contains(t, strings.Join(r.Words, " "), "ISO 11898-2")
		// Far too slow for it: no guess, but the levels are named.
		l = input{low: levels[0], high: levels[1], noise: 0.02, step: 0.005, interval: 20e-6, uneven: 0.3}.levels(rng, w)
		r = read(t, nil, l)
		assert.Equal(t, TooFast, r.Kind)
		assert.Contains(t, strings.Join(r.Words, " "), "ISO 11898-2")
	}
}

// TestPublishedPWM: frequencies that sheets and service texts state: 75 Hz ± 5
// % of the return signal (period 12.70 to 14.04 ms), 100 to 4,000 Hz of the
// command (VDMA sheet 24224), 300 Hz of a radiator fan.
func TestPublishedPWM(t *testing.T) {
	for _, c := range []struct{ f, duty float64 }{{71.25, 95}, {75, 90}, {78.75, 42}, {100, 10}, {300, 60}, {1000, 50}, {4000, 84}} {
		rng := rand.New(rand.NewPCG(uint64(c.f), 2))
		w := pwmSpec{f: c.f, duty: c.duty / 100}.wave(rng, 50/c.f)
		e := stamped(w.window(0, w.end), 1e-6, 0)
		r := read(t, &e, input{high: 12, step: 0.01, interval: 0.02 / c.f}.levels(rng, w))
		require.Equal(t, PWM, r.Kind)
		assert.InDelta(t, c.f, r.Frequency_Hz.Value, 1e-3*c.f)
		assert.InDelta(t, c.duty, r.Duty_pct.Value, 0.5)
		assert.InDelta(t, 0.12*c.duty, r.Mean_V.Value, 0.2)
		assert.InDelta(t, 12, r.High_V.Value, 0.01)
	}
}

// TestHumByEdges: a comparator on hum gives edges at the mains frequency, which
// must not pass for a PWM.
func TestHumByEdges(t *testing.T) {
	for _, f := range []float64{49.8, 50, 60.1} {
		w := pwmSpec{f: f, duty: 0.5}.wave(rand.New(rand.NewPCG(1, 2)), 1)
		e := stamped(w.window(0, w.end), 50e-6, 0)
		r := read(t, &e, nil)
		assert.Equal(t, Unclear, r.Kind)
		assert.Contains(t, r.Words[0], "mains")
	}
}

func TestLostEdges(t *testing.T) {
	e := Edges{End_s: 1}
	for i := range 100 {
		e.At_s, e.High = append(e.At_s, float64(i)*0.01), append(e.High, i%3 == 0)
	}
	r := read(t, &e, nil)
	assert.Equal(t, TooFast, r.Kind)
	assert.Positive(t, r.Lost)
}

func TestRefused(t *testing.T) {
	_, err := Read(nil, nil, Surroundings{})
	assert.ErrorContains(t, err, "neither")
	for _, e := range []Edges{
		{At_s: []float64{1}, End_s: 2}, {At_s: []float64{1, 0.5}, High: []bool{true, false}, End_s: 2},
		{At_s: []float64{3}, High: []bool{true}, End_s: 2}, {Start_s: math.NaN()}, {Start_s: 2, End_s: 1}, {End_s: 1, Resolution_s: -1},
	} {
		_, err := Read(&e, nil, Surroundings{})
		assert.Error(t, err)
	}
	for _, l := range []Levels{{}, {At_s: []float64{0}}, {At_s: []float64{0}, V: []float64{math.NaN()}}, {At_s: []float64{1, 0}, V: []float64{1, 1}}, {At_s: []float64{0}, V: []float64{0}, Step_V: -1}} {
		_, err := Read(nil, &l, Surroundings{})
		assert.Error(t, err)
	}
}

// TestSineIsNotTwoLevels holds Otsu's ratio of a sine, 8/π² = 0.811, and of a
// triangle, 3/4, against the limit.
func TestSineIsNotTwoLevels(t *testing.T) {
	for name, wave := range map[string]func(x float64) float64{
		"sine":     func(x float64) float64 { return math.Sin(2 * math.Pi * x) },
		"triangle": func(x float64) float64 { return 4*math.Abs(x-math.Floor(x)-0.5) - 1 },
	} {
		l := &Levels{}
		for i := range 2000 {
			l.At_s, l.V = append(l.At_s, float64(i)*1e-3), append(l.V, 5+5*wave(float64(i)*0.01))
		}
		assert.Nil(t, split(l), name)
	}
	require.Less(t, 8/(math.Pi*math.Pi), twoRatio)
}
