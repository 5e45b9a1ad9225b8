package motor

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

var noConditions kind.Conditions

// foreign is a motor that shares nothing with bench/sim: the current follows voltage
// less EMF over one resistance with a first-order lag, speed and friction are stated
// by their steady values and a time constant, and the ripple is added as cusps in
// angle, of five segments and two brushes.
type foreign struct {
	ohm, lag_s, k, friction_A, inertia_s float64
	depth                                float64 // of the cusps, A
	once, twice                          float64 // A
	restless                             float64 // A, noise of brushes
	holds_s                              float64 // sticks so long
	stuck                                bool
	lead                                 float64 // ohm before the plug, beside the bench's own
	gone                                 int     // ripple that is missing, -1 none
	rate                                 float64
}

func draw(r *rand.Rand) foreign {
	by := func(x, s float64) float64 { return x * (1 + s*max(-2.5, min(2.5, r.NormFloat64()))) }
	return foreign{ohm: by(2.4, 0.02), lag_s: by(0.6e-3, 0.05), k: by(0.021, 0.02), friction_A: by(0.7, 0.05), inertia_s: by(0.05, 0.03),
		depth: by(0.09, 0.04), once: 0.006 * r.Float64(), twice: 0.004 * r.Float64(), restless: 0.003, gone: -1, rate: 10e3}
}

// record is the test of one: two starts, a run, means of nothing, a converter of 3 mA
// steps at 10 kHz and a meter of the plug every hundred samples.
func (f foreign) record(name string, r *rand.Rand) *trace.Trace {
	const perTurn = 10
	var ts, duty, amps, on, volts []float64
	w, i, turns, pushed := 0.0, 0.0, r.Float64(), 0.0
	dt := 1 / f.rate
	for n := 0; float64(n)*dt < 4.5; n++ {
		t := float64(n) * dt
		d, supply := 0.0, 1.0
		switch {
		case t < 0.2:
			supply = 0
		case t >= 0.5 && t < 1.3, t >= 2.3:
			d = 100
		}
		const open, lead = 13.2, 0.05
		plug := open - (lead+f.lead)*i
		if supply == 0 {
			plug = 0
		}
		end := 0.0
		if d > 0 {
			end = max(0, (plug-f.k*w)/f.ohm)
		}
		i += (end - i) * -math.Expm1(-dt/f.lag_s)
		moving := w > 0 || i > f.friction_A*1.3
		if d == 0 {
			pushed = 0
		} else if pushed += dt; f.stuck || pushed < f.holds_s {
			moving = false
		}
		if moving {
			// With inertia as the time constant of speed: J = τ·k²/R.
			w = max(0, w+dt*(i-f.friction_A)*f.ohm/(f.k*f.inertia_s))
		}
		turns += w * dt / (2 * math.Pi)
		shown := i
		if i > 0 && w > 1 {
			part := turns * perTurn
			bulge := math.Abs(math.Sin(math.Pi * part))
			if f.gone >= 0 && int(part)%perTurn == f.gone {
				bulge = 0
			}
			share := w * f.k / open
			shown += share*(f.depth*(bulge-2/math.Pi)+f.once*math.Cos(2*math.Pi*turns)+f.twice*math.Cos(4*math.Pi*turns)) + f.restless*r.NormFloat64()
		}
		ts, duty, on = append(ts, t), append(duty, d), append(on, supply)
		amps = append(amps, 0.003*math.Round((shown+0.002*r.NormFloat64())/0.003))
		v := math.NaN()
		if n%100 == 0 {
			v = 0.01 * math.Round(100*plug)
		}
		volts = append(volts, v)
	}
	return &trace.Trace{Source: name, Meta: []trace.Entry{{Key: trace.KeyUnit, Value: name}}, Columns: []trace.Column{
		{Name: trace.ColTime, Values: ts}, {Name: trace.ColDuty, Values: duty}, {Name: trace.ColCurrent, Values: amps, Resolution: 0.003},
		{Name: trace.ColSupplyOn, Values: on}, {Name: trace.ColSupply, Values: volts}}}
}

// learned is a profile of good foreign motors.
func learned(t *testing.T, n int, r *rand.Rand) *profiles.Profile {
	p := &profiles.Profile{Name: "foreign", Kind: "motor", Supply: profiles.Supply{Nominal_V: 13.2, Low_V: 9, High_V: 16},
		Command: profiles.Command{Type: profiles.Switched, Full_pct: 100, Wake_pct: 50}, Limits: profiles.Limits{Peak_A: 8, StallTime: time.Second},
		Section: &Section{Brushes: 2, Segments: 5, NoLoad: 6200}, Grid: []float64{100}}
	for i := range n {
		m, err := Kind{}.Measure(draw(r).record(fmt.Sprintf("good-%d", i), r), p)
		require.NoError(t, err)
		g := profiles.GoodUnit{Unit: m.Trace.Source, Up: []float64{m.Curve[0].Current.Value}}
		for _, v := range m.Values {
			if v.Missing == "" {
				g.Values = append(g.Values, profiles.Value{Name: v.Name, X: v.Q.Value, Unit: v.Unit})
			}
		}
		p.Good = append(p.Good, g)
	}
	return p
}

// Good units of a model that is not ours pass, and its faults are found and blamed.
func TestStranger(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	p := learned(t, 20, r)
	assess := func(f foreign) (*kind.Measured, *kind.Assessment) {
		m, err := Kind{}.Measure(f.record("unit", r), p)
		require.NoError(t, err)
		return m, Kind{}.Assess(m, p, noConditions)
	}
	good := 0
	const n = 20
	for range n {
		f := draw(r)
		m, a := assess(f)
		v := m.Get(ShaftSpeed)
		require.Empty(t, v.Missing)
		truth := (13.2 - (0.05+f.ohm)*f.friction_A) / f.k * 30 / math.Pi
		assert.InDelta(t, truth, v.Q.Value, 0.01*truth)
		if a.Flawless() {
			good++
		} else {
			t.Logf("a good unit refused: %v", out(a))
		}
	}
	low, _ := stat.ClopperPearson(n-good, n, 0.95)
	assert.LessOrEqual(t, low, 0.05, "%d of %d good ones pass", good, n)
	for _, c := range []struct {
		name   string
		change func(*foreign)
		want   result.Cause
	}{
		{"binding", func(f *foreign) { f.friction_A *= 1.5 }, result.Mechanical},
		{"free", func(f *foreign) { f.friction_A *= 0.4 }, result.Mechanical},
		{"tight once a turn", func(f *foreign) { f.once = 0.08 }, result.Mechanical},
		{"blocked", func(f *foreign) { f.stuck = true }, result.Mechanical},
		{"sticks", func(f *foreign) { f.holds_s = 0.15 }, result.Mechanical},
		{"magnets weak", func(f *foreign) { f.k *= 0.82; f.friction_A /= 0.82 }, result.Mechanical},
		{"a ripple missing, twice a turn", func(f *foreign) { f.gone, f.twice, f.ohm = 3, 0.09, f.ohm*1.3 }, result.Electrical},
		{"worn brushes", func(f *foreign) { f.ohm *= 1.25; f.restless = 0.05 }, result.Electrical},
		{"leads", func(f *foreign) { f.lead = 0.3 }, result.Wiring},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := draw(r)
			c.change(&f)
			_, a := assess(f)
			require.False(t, a.Flawless(), "it passes")
			require.NotEmpty(t, a.Causes)
			assert.Equal(t, c.want, a.Causes[0].Cause, "%s; %v", a.Seen, out(a))
			assert.NotEmpty(t, a.NextStep)
		})
	}
	dead := draw(r)
	dead.ohm = 1e9
	_, a := assess(dead)
	assert.True(t, a.Stark)
	assert.ElementsMatch(t, []result.Cause{result.Electrical, result.Wiring}, a.Inseparable)
	assert.Contains(t, a.SeparatedBy, "own pins")
}

func out(a *kind.Assessment) string {
	var s []string
	for _, f := range a.Findings {
		if f.Result == result.Failed || f.Result == result.Doubtful {
			s = append(s, fmt.Sprintf("%s %.4g", f.Name, *f.Value))
		}
	}
	return strings.Join(append(s, a.Lacking...), ", ")
}

// Slower and uneven recordings are measured as far as they go: a ripple of 900 Hz at
// 1 kHz is refused, not guessed, at 5 kHz it is there; with rows left out here and
// there too, and where too many are, the sentence says so. The rest is there always.
func TestOtherRates(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	p := learned(t, 6, r)
	for _, c := range []struct {
		name  string
		rate  float64
		gone  float64 // share of the rows
		speed bool
	}{
		{"1 kHz", 1000, 0, false},
		{"1 kHz, uneven", 1000, 0.1, false},
		{"5 kHz", 5000, 0, true},
		{"5 kHz, uneven", 5000, 0.05, true},
		{"10 kHz, half gone", 10e3, 0.5, false},
	} {
		f := draw(r)
		f.rate = c.rate
		tr := f.record(c.name, r)
		keep := make([]bool, tr.Len())
		for i := range keep {
			keep[i] = r.Float64() >= c.gone
		}
		for k, col := range tr.Columns {
			var v []float64
			for i, x := range col.Values {
				if keep[i] {
					v = append(v, x)
				}
			}
			tr.Columns[k].Values = v
		}
		m, err := Kind{}.Measure(tr, p)
		require.NoError(t, err)
		speed := m.Get(ShaftSpeed)
		if assert.Equal(t, c.speed, speed.Missing == "", "%s: %s", c.name, speed.Missing); c.speed {
			truth := (13.2 - (0.05+f.ohm)*f.friction_A) / f.k * 30 / math.Pi
			assert.InDelta(t, truth, speed.Q.Value, 0.01*truth, c.name)
		}
		for _, n := range []string{Full, StartPeak, Resistance, StartTime, Starts, SupplyDrop} {
			assert.Empty(t, m.Get(n).Missing, "%s: %s", c.name, n)
		}
		peak := m.Get(StartPeak).Q
		e, _ := peak.Expanded(0.95)
		assert.Less(t, math.Abs(peak.Value-13.2/(f.ohm+0.05)), max(e, 0.4), c.name)
		time_ms := m.Get(StartTime).Q
		e, _ = time_ms.Expanded(0.95)
		// 90 % of the fall at τ·ln 10, τ the mechanical time constant.
		assert.Less(t, math.Abs(time_ms.Value-1000*f.inertia_s*math.Log(10)), e+8, "%s: %.1f ± %.1f ms", c.name, time_ms.Value, e)
	}
}

// A blocked motor that a guard's heat or standstill rule cut is judged by what there
// was, however short; a rule whose reason only names a current is none of these.
func TestBlockedIsCutSoon(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	p := learned(t, 10, r)
	for _, ended := range []string{"heat: The unit carried more than the 2 A that it bears without end for too long.", "stalled: The current stayed above 4 A for 1s.", "over-current: It drew 5.5 A."} {
		for _, long_s := range []float64{0.05, 0.4} {
			f := draw(r)
			f.stuck = true
			tr := f.record("blocked", r)
			n := int((0.5 + long_s) * f.rate)
			for i := range tr.Columns {
				tr.Columns[i].Values = tr.Columns[i].Values[:n]
			}
			tr.Meta = append(tr.Meta, trace.Entry{Key: trace.KeyEnded, Value: ended})
			m, err := Kind{}.Measure(tr, p)
			require.NoError(t, err)
			a := Kind{}.Assess(m, p, noConditions)
			assert.True(t, a.Stark && !a.Flawless(), "%s after %g s", ended, long_s)
			require.NotEmpty(t, a.Causes)
			assert.Equal(t, result.Mechanical, a.Causes[0].Cause, "%s after %g s: %s", ended, long_s, a.Seen)
		}
	}
	for ended, want := range map[string]bool{"supply too low: 8 V at a current of 3 A.": false, "Stall": true, "": false, "short at switch-on: it drew 30 A.": true} {
		tr := &trace.Trace{Meta: []trace.Entry{{Key: trace.KeyEnded, Value: ended}}}
		assert.Equal(t, want, tripped(tr), ended)
	}
}

// Stripping labels and cutting the trace short changes nothing but what is measured.
func TestNothingDriven(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 10))
	p := learned(t, 5, r)
	tr := draw(r).record("rest", r)
	for i := range tr.Columns {
		tr.Columns[i].Values = tr.Columns[i].Values[:4000] // before the first start
	}
	m, err := Kind{}.Measure(tr, p)
	require.NoError(t, err)
	a := Kind{}.Assess(m, p, noConditions)
	assert.False(t, a.Flawless())
	assert.True(t, slices.ContainsFunc(a.Lacking, func(s string) bool { return strings.Contains(s, "never commands") }))
	_, err = Kind{}.Measure(&trace.Trace{Columns: []trace.Column{{Name: trace.ColTime}, {Name: trace.ColDuty}, {Name: trace.ColCurrent}}}, p)
	assert.ErrorContains(t, err, "no sample")
}
