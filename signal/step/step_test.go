package step

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

// stair is a duty and how long it lasts.
type stair struct{ duty, long_s float64 }

// stairs is a duty column at a rate, and the first sample of each stair.
func stairs(rate float64, ss ...stair) (t, duty []float64, from []int) {
	at := 0.0
	for _, s := range ss {
		from = append(from, len(t))
		at += s.long_s
		for float64(len(t)) < math.Round(at*rate) {
			t = append(t, float64(len(t))/rate)
			duty = append(duty, s.duty)
		}
	}
	return t, duty, from
}

func flat(n int, v float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = v
	}
	return x
}

func TestEdgesAreExactAtEveryRate(t *testing.T) {
	for _, rate := range []float64{100, 500, 2000, 10_000, 20_000} {
		t.Run(fmt.Sprint(rate), func(t *testing.T) {
			x, duty, from := stairs(rate, stair{0, 0.5}, stair{20, 1}, stair{20.5, 0.4}, stair{100, 0.2}, stair{50, 1}, stair{0, 0.3})
			got := Find(columns(x, duty, flat(len(x), 1), nil, nil))
			require.Len(t, got, 6)
			for i, s := range got {
				assert.Equal(t, from[i], s.From)
				assert.Equal(t, duty[from[i]], s.Duty_pct)
				assert.True(t, s.Supply)
			}
			assert.Equal(t, len(x), got[5].To)
			assert.Equal(t, got[1].From, got[0].To)
			assert.Equal(t, []bool{true, true, true, true, false, false}, ups(got))
		})
	}
}

func ups(ss []Step) (up []bool) {
	for _, s := range ss {
		up = append(up, s.Up)
	}
	return up
}

func TestShortStretchesAreNoSteps(t *testing.T) {
	x, duty, from := stairs(1000, stair{80, 0.1}, stair{20, 1}, stair{90, 0.149}, stair{30, 0.16}, stair{10, 0.05})
	got := Find(columns(x, duty, flat(len(x), 1), nil, nil))
	require.Len(t, got, 2)
	assert.Equal(t, Step{From: from[1], To: from[2], Duty_pct: 20, Supply: true, Up: true}, got[0], "the first step counts as up")
	assert.Equal(t, Step{From: from[3], To: from[4], Duty_pct: 30, Supply: true, Up: true}, got[1])
	// Four samples in two seconds are long enough and too few.
	assert.Empty(t, Find(columns([]float64{0, 0.5, 1, 1.5}, flat(4, 50), flat(4, 1), nil, nil)))
}

func TestAnInterruptedStepKeepsItsDirection(t *testing.T) {
	x, duty, _ := stairs(1000, stair{80, 1}, stair{50, 1}, stair{55, 0.02}, stair{50, 1}, stair{20, 1})
	assert.Equal(t, []bool{true, false, false, false}, ups(Find(columns(x, duty, flat(len(x), 1), nil, nil))))
}

// A ramp between two steps is neither, and its ends lie with no step by more
// than an eighth of a per cent.
func TestRamps(t *testing.T) {
	for _, rate := range []float64{100, 2000} {
		for _, slope := range []float64{3, 10, 40, 200} { // % a second
			t.Run(fmt.Sprintf("%v Hz %v %%/s", rate, slope), func(t *testing.T) {
				n := int(rate * (2 + 30/slope + 2))
				x, duty := make([]float64, n), make([]float64, n)
				for i := range x {
					x[i] = float64(i) / rate
					duty[i] = min(max(20+slope*(x[i]-2), 20), 50)
				}
				got := Find(columns(x, duty, flat(n, 1), nil, nil))
				require.Len(t, got, 2)
				assert.InDelta(t, 20, got[0].Duty_pct, 0.01)
				assert.InDelta(t, 50, got[1].Duty_pct, 0.01)
				edge := 0.125/slope + 1.5/rate
				assert.InDelta(t, 2, x[got[0].To-1], edge)
				assert.InDelta(t, 2+30/slope, x[got[1].From], edge)
			})
		}
	}
}

// A measured duty strays, and one of its samples in a few hundred lies beyond
// any limit that still tells steps apart.
func TestMeasuredDuty(t *testing.T) {
	for _, rate := range []float64{100, 2000, 20_000} {
		for _, noise := range []float64{0.05, 0.1, 0.3, 1} {
			t.Run(fmt.Sprintf("%v Hz %v %%", rate, noise), func(t *testing.T) {
				for seed := range uint64(5) {
					r := rand.New(rand.NewPCG(seed, 1))
					x, duty, from := stairs(rate, stair{20, 2}, stair{30, 3}, stair{40, 2}, stair{100, 3}, stair{60, 2})
					for i := range duty {
						duty[i] += noise * r.NormFloat64()
					}
					got := Find(columns(x, duty, flat(len(x), 1), nil, nil))
					require.Len(t, got, 5, "seed %d", seed)
					for i, s := range got {
						assert.InDelta(t, from[i], s.From, 4)
						assert.InDelta(t, []float64{20, 30, 40, 100, 60}[i], s.Duty_pct, 0.3*noise)
					}
					assert.Equal(t, []bool{true, true, true, true, false}, ups(got))
				}
			})
		}
	}
}

// The last digit of a measured duty flickers between two values.
func TestFlickeringDigit(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	x, duty, from := stairs(2000, stair{20, 2}, stair{30, 3}, stair{25, 2})
	for i := range duty {
		if r.IntN(2) == 0 {
			duty[i] += 0.5
		}
	}
	got := Find(columns(x, duty, flat(len(x), 1), nil, nil))
	require.Len(t, got, 3)
	assert.InDelta(t, from[1], got[1].From, 3)
	assert.InDelta(t, 30.25, got[1].Duty_pct, 0.02)
}

// A table with another duty in every row is no noise about one duty.
func TestTableOfDuties(t *testing.T) {
	x, duty := make([]float64, 11), make([]float64, 11)
	for i := range x {
		x[i], duty[i] = 1.8*float64(i), 5+9.5*float64(i)
	}
	assert.Empty(t, Find(columns(x, duty, flat(11, 1), nil, nil)))
}

// Stamps that come in bunches, with equal ones and gaps, move no edge.
func TestBunchedTime(t *testing.T) {
	x, duty, from := stairs(100, stair{20, 2}, stair{50, 2}, stair{10, 2})
	for i := range x {
		x[i] = math.Floor(x[i]/0.05) * 0.05 // five rows a stamp
		if x[i] > 3 {
			x[i] += 0.8 // a gap within a step
		}
	}
	got := Plateaus(columns(x, duty, duty, nil, nil))
	require.Len(t, got, 3)
	for i, p := range got {
		assert.Equal(t, from[i], p.From)
		assert.InDelta(t, p.Duty_pct, p.Current.Value, 1e-9)
	}
}

func TestSupplySwitching(t *testing.T) {
	x, duty, from := stairs(1000, stair{50, 1}, stair{50, 1}, stair{50, 0.5}, stair{20, 1}, stair{20, 1})
	n := len(x)
	state := func(i int) float64 { // off, on, off, on, on
		if i < from[1] || i >= from[2] && i < from[3] {
			return 0
		}
		return 1
	}
	on, volts, current := make([]float64, n), make([]float64, n), make([]float64, n)
	r := rand.New(rand.NewPCG(1, 1))
	for i := range x {
		on[i] = state(i)
		volts[i] = 12*on[i] + 0.01*r.NormFloat64()
		current[i] = on[i]*duty[i]/25 + 0.003*r.NormFloat64()
	}
	want := []Step{
		{From: 0, To: from[1], Duty_pct: 50, Up: true},
		{From: from[1], To: from[2], Duty_pct: 50, Supply: true, Up: true},
		{From: from[2], To: from[3], Duty_pct: 50, Up: true},
		{From: from[3], To: n, Duty_pct: 20, Supply: true, Up: true}, // from no supply
	}
	assert.Equal(t, want, Find(columns(x, duty, current, on, nil)), "by supply_on")
	assert.Equal(t, want, Find(columns(x, duty, current, nil, volts)), "by supply_V")
	assert.Equal(t, want, Find(columns(x, duty, current, on, flat(n, 0))), "supply_on before supply_V")
	assert.Equal(t, want, Find(columns(x, duty, current, flat(n, math.NaN()), volts)), "an empty supply_on says nothing")
	got := Find(columns(x, duty, current, nil, nil))
	require.Len(t, got, 2, "by neither")
	assert.True(t, got[0].Supply && got[1].Supply)
	assert.Equal(t, got, Find(columns(x, duty, current, nil, flat(n, math.NaN()))), "an empty supply_V says nothing")

	// Sampled one time in ten, both hold their last value, and before the
	// first their first.
	for i := range x {
		if i%10 != 5 {
			on[i], volts[i] = math.NaN(), math.NaN()
		}
	}
	for _, tr := range []*trace.Trace{columns(x, duty, current, on, nil), columns(x, duty, current, nil, volts)} {
		got := Find(tr)
		require.Len(t, got, 4)
		for i := range got {
			assert.InDelta(t, want[i].From, got[i].From, 6)
			assert.Equal(t, want[i].Supply, got[i].Supply)
		}
	}
}

// A sensor's offset is no current that pulls a supply down, however little the
// unit draws.
func TestOffsetIsNoSupply(t *testing.T) {
	x, duty, from := stairs(2000, stair{0, 1}, stair{50, 1})
	volts, current := flat(len(x), 0), flat(len(x), 0.02)
	for i := from[1]; i < len(x); i++ {
		volts[i], current[i] = 12, 0.03
	}
	got := Find(columns(x, duty, current, nil, volts))
	require.Len(t, got, 2)
	assert.False(t, got[0].Supply)
	assert.True(t, got[1].Supply)
}

// A unit that draws nothing gives no sign of supply by its current: the noise
// of the current sensor, small or large, must not look like one.
func TestDeadUnitBehindASwitch(t *testing.T) {
	for _, noise := range []float64{0.001, 0.02, 0.2} {
		x, duty, from := stairs(2000, stair{0, 1}, stair{0, 1}, stair{50, 1}, stair{50, 1})
		r := rand.New(rand.NewPCG(1, 1))
		volts, current := make([]float64, len(x)), make([]float64, len(x))
		for i := range x {
			current[i] = noise * r.NormFloat64()
			if i >= from[1] && i < from[3] {
				volts[i] = 12
			}
		}
		got := Find(columns(x, duty, current, nil, volts))
		require.Len(t, got, 4, "%v A", noise)
		for i, s := range got {
			assert.Equal(t, i == 1 || i == 2, s.Supply)
			assert.Equal(t, from[i], s.From)
		}
	}
}

// A short pulls the plug down while current flows: that is supply.
func TestPulledDownIsNotOff(t *testing.T) {
	x, duty, from := stairs(2000, stair{0, 1}, stair{50, 1}, stair{0, 1})
	volts, current := flat(len(x), 12), flat(len(x), 0.01)
	for i := from[1]; i < from[2]; i++ {
		volts[i], current[i] = 1, 8
	}
	for _, s := range Find(columns(x, duty, current, nil, volts)) {
		assert.True(t, s.Supply, "%+v", s)
	}
}

// A plug that never sees supply shows noise about 0 V.
func TestNoSupplyAtThePlug(t *testing.T) {
	x, duty, _ := stairs(2000, stair{0, 1}, stair{50, 1})
	r := rand.New(rand.NewPCG(1, 1))
	volts := make([]float64, len(x))
	for i := range volts {
		volts[i] = 0.002 * r.NormFloat64()
	}
	got := Find(columns(x, duty, flat(len(x), 0), nil, volts))
	require.Len(t, got, 2)
	assert.False(t, got[0].Supply || got[1].Supply)
}
