package wire

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// circulator is the return signal of wet-runner circulating pumps as several
// makers' manuals print it, after VDMA sheet 24224: 75 Hz ± 5 %, accuracy ± 2
// points; 95 standby, 90 blocked, 85 electrical, 75 supply low, 0 to 70 % power.
func circulator() Table {
	f := &Range{71.25, 78.75}
	at := func(d float64) *Range { return &Range{d - 2, d + 2} }
	return Table{Codes: []Code{
		{Name: "standby", Meaning: "standby, stopped by the command", Duty_pct: at(95), Frequency_Hz: f},
		{Name: "blocked", Meaning: "stopped, rotor blocked", Hint: "mechanical", Duty_pct: at(90), Frequency_Hz: f},
		{Name: "electrical", Meaning: "stopped, electrical fault", Duty_pct: at(85), Frequency_Hz: f},
		{Name: "supply-low", Meaning: "runs, supply below its range", Duty_pct: at(75), Frequency_Hz: f},
		{Name: "running", Meaning: "runs", Duty_pct: &Range{1, 71}, Frequency_Hz: f},
		{Name: "shorted", Meaning: "wire shorted or unit off", Duty_pct: &Range{0, 0.5}},
		{Name: "open", Meaning: "wire open or unit off", Duty_pct: &Range{99.5, 100}},
	}}
}

// sequence puts stretches of PWM after each other.
func sequence(f float64, parts ...[2]float64) *wave {
	w := &wave{}
	for _, p := range parts {
		for end := w.end + p[1]; w.end < end-1e-9; {
			switch p[0] {
			case 0, 100:
				w.add(p[0] == 100, p[1])
			default:
				w.add(true, p[0]/100/f)
				w.add(false, (1-p[0]/100)/f)
			}
		}
	}
	return w
}

func TestCodesOverTime(t *testing.T) {
	table := circulator()
	for _, f := range []float64{71.5, 75, 78.5} {
		w := sequence(f, [2]float64{100, 0.5}, [2]float64{42, 1}, [2]float64{75, 0.5}, [2]float64{90, 1}, [2]float64{95, 0.4}, [2]float64{0, 0.6})
		e := stamped(w.window(0, w.end), 50e-6, 0)
		told, err := table.Decode(&e)
		require.NoError(t, err)
		var names []string
		for i, x := range told {
			require.GreaterOrEqual(t, x.Code, 0, table.Sentence(x))
			names = append(names, table.Codes[x.Code].Name)
			if i > 0 {
				assert.GreaterOrEqual(t, x.From_s, told[i-1].To_s-1e-9)
			}
		}
		require.Equal(t, []string{"open", "running", "supply-low", "blocked", "standby", "shorted"}, names)
		assert.InDelta(t, 42, told[1].Duty_pct, 0.3)
		assert.InDelta(t, f, told[1].Frequency_Hz, 0.1)
		assert.InDelta(t, 1, told[3].To_s-told[3].From_s, 2/f)
		assert.Contains(t, table.Sentence(told[3]), "the unit reports: stopped, rotor blocked")
	}
}

// TestSpeedByFrequency: 4 Hz at standstill and 1.5 pulses a turn, as a service
// text for a coolant pump states it: 4 Hz reads as 160 /min.
func TestSpeedByFrequency(t *testing.T) {
	table := Table{SpeedBy: "frequency", Speed: []SpeedPoint{{2, 80}, {200, 8000}}}
	for _, f := range []float64{4, 50, 150} {
		w := sequence(f, [2]float64{50, 3})
		e := stamped(w.window(0, w.end), 0, 0)
		told, err := table.Decode(&e)
		require.NoError(t, err)
		require.Len(t, told, 1)
		assert.InDelta(t, f*60/1.5, told[0].Speed_per_min, 1e-6*f*40)
		assert.Equal(t, NoCode, told[0].Code)
	}
}

// TestPullDowns: the command runs at 400 Hz; lows of 0.3 and 1 s are the unit's.
func TestPullDowns(t *testing.T) {
	table := Table{Line: true, Command_Hz: 400, Codes: []Code{
		{Name: "dry", Length_s: &Range{0.2, 0.4}}, {Name: "blocked", Length_s: &Range{0.8, 1.2}}}}
	w := sequence(400, [2]float64{60, 0.5}, [2]float64{0, 0.3}, [2]float64{60, 0.4}, [2]float64{0, 1}, [2]float64{60, 0.2}, [2]float64{0, 0.6}, [2]float64{60, 0.2})
	e := w.window(0, w.end)
	told, err := table.Decode(&e)
	require.NoError(t, err)
	require.Len(t, told, 3)
	assert.Equal(t, []int{0, 1, NoCode}, []int{told[0].Code, told[1].Code, told[2].Code})
	assert.InDelta(t, 0.3, told[0].Length_s, 1/400.)
	assert.Contains(t, table.Sentence(told[2]), "its table does not know")

	_, err = (&Table{Line: true, Codes: table.Codes}).Decode(&e)
	assert.ErrorContains(t, err, "the command's frequency")
	_, err = (&Table{}).Decode(&e)
	assert.ErrorContains(t, err, "empty")
}

// TestDisturbedCodes: single odd periods say nothing.
func TestDisturbedCodes(t *testing.T) {
	table := circulator()
	wrong := 0
	for i := range 300 {
		rng := rand.New(rand.NewPCG(uint64(i), 7))
		duty := []float64{95, 90, 85, 75, 40}[i%5]
		p := pwmSpec{f: between(rng, 72, 78), duty: duty / 100, edgeJitter: 0.002, dropOut: 0.03, glitch: 0.03}
		w := p.wave(rng, 2)
		e := stamped(w.window(0, w.end), 50e-6, 0)
		told, err := table.Decode(&e)
		require.NoError(t, err)
		require.NotEmpty(t, told)
		for _, x := range told {
			if x.Code != i%5 && x.Code != NoCode {
				wrong++
			}
		}
	}
	assert.LessOrEqual(t, wrong, 3)
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4, 200, 7}, true)
	f.Fuzz(func(t *testing.T, data []byte, start bool) {
		e := fuzzEdges(data, start)
		for _, table := range []Table{circulator(), {Line: true, Command_Hz: 100, Codes: []Code{{Name: "x", Length_s: &Range{0, 1}}}}, {SpeedBy: "frequency", Speed: []SpeedPoint{{1, 60}, {1000, 60000}}}} {
			told, err := table.Decode(&e)
			require.NoError(t, err)
			last := math.Inf(-1)
			for _, x := range told {
				require.True(t, x.From_s >= last && x.To_s >= x.From_s && x.To_s <= e.End_s, "%+v", x)
				require.True(t, x.Code >= NoCode && x.Code < len(table.Codes))
				last = x.From_s
				_ = table.Sentence(x)
			}
		}
	})
}
