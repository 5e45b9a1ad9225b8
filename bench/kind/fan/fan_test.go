package fan

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/spectrum"
	"dutybench/signal/step"
	"dutybench/signal/trace"
)

// scraps are traces with little in them.
func scraps(t *testing.T) map[string]*trace.Trace {
	t.Helper()
	out := map[string]*trace.Trace{}
	for name, rows := range map[string]string{
		"one sample":    "0,0,0,1\n",
		"no supply":     strings.Repeat("0,50,0,0\n", 1) + "1,50,0,0\n2,50,0,0\n",
		"never command": "0,0,0,0\n0.1,0,0.1,1\n0.2,0,0.1,1\n1,0,0.1,1\n",
		"huge":          "0,0,1e300,1\n1,50,-1e300,1\n2,50,1e300,1\n3,50,1e300,1\n",
	} {
		tr, err := trace.Read(strings.NewReader("# trace: 1\n# kind: fan\nt_s,duty_pct,current_A,supply_on\n"+rows), name)
		require.NoError(t, err)
		out[name] = tr
	}
	return out
}

func TestPlanBeginsSafeAndEndsStopped(t *testing.T) {
	p := &profiles.Profile{Command: profiles.Command{Stop_pct: 5, Wake_pct: 12, Full_pct: 95, Missing: profiles.Missing{Open: "full"}}}
	for name, plan := range map[string]kind.Plan{"full": Kind{}.Plan(p), "quick": Kind{}.Quick(p)} {
		first, last := plan.Steps[0], plan.Steps[len(plan.Steps)-1]
		assert.False(t, first.Supply, name)
		assert.Equal(t, 5.0, plan.Steps[1].Command_pct, "supply comes on with the stop command")
		assert.Equal(t, 5.0, last.Command_pct)
		assert.True(t, slices.ContainsFunc(plan.Steps, func(s kind.Step) bool { return s.Line == kind.Release }), "what it does without a command")
		assert.False(t, slices.ContainsFunc(plan.Steps, func(s kind.Step) bool { return s.Line == kind.HoldLow }), "what the profile does not say is not tried")
		assert.Less(t, plan.Longest(), 2*time.Minute)
		asks := slices.IndexFunc(plan.Steps, func(s kind.Step) bool { return s.Ask })
		assert.Equal(t, name == "quick", asks > 0)
		suffices := slices.IndexFunc(plan.Steps, func(s kind.Step) bool { return s.Suffices })
		if suffices > 0 {
			assert.Equal(t, "hold", plan.Steps[suffices-1].Name, "a pass takes the sweep and the hold at full")
		}
	}
	assert.Equal(t, []float64{20, 35, 50, 65, 80, 95}, sweep(p.Command))
	assert.Equal(t, []float64{45, 60, 75, 90, 100}, sweep(profiles.Command{Wake_pct: 40}))
}

// Every mode of every type says what a person needs, and no unit's cause is a
// loop of liquid or a coil without a board.
func TestModesAreWhole(t *testing.T) {
	for _, sec := range []Section{{Regulation: "speed", Air: "axial"}, {Regulation: "voltage", Air: "radial"}, {Regulation: "unknown", Air: "unknown"}} {
		for _, known := range []bool{true, false} {
			states := map[string]bool{}
			for _, m := range modes(sec, known, known, known) {
				assert.NotContains(t, []result.Cause{result.Hydraulic, result.Electrical}, m.Cause, m.Name)
				assert.NotEmpty(t, m.Seen, m.Name)
				assert.NotEmpty(t, m.Disproof, m.Name)
				assert.NotEmpty(t, m.Next, m.Name)
				assert.False(t, len(m.Like) > 0 && m.Apart == "", m.Name)
				assert.NotContains(t, m.Like, m.Cause, m.Name)
				for _, s := range m.States {
					states[s] = true
				}
			}
			assert.Len(t, states, 7, "every state has a mode")
		}
	}
}

func TestSaysWhatCanHurt(t *testing.T) {
	all := strings.ToLower(strings.Join(Kind{}.Cautions(), " "))
	for _, word := range []string{"guard", "vice", "never reach in", "start by itself", "eye protection", "supply"} {
		assert.Contains(t, all, word)
	}
}

// ripple is a plateau's samples: a mean, a ripple at 18 times the shaft and a
// swing once a turn.
func ripple(mean, ripple, turn, shaft_Hz, rate float64, n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		s := 2 * math.Pi * float64(i) / rate * shaft_Hz
		x[i] = mean * (1 + ripple*math.Sin(18*s) + turn*math.Sin(s))
	}
	return x
}

func sweptTo(t *testing.T, highest float64) *trace.Trace { return sweptAt(t, 3000, highest) }

// sweptAt is a sweep up to a duty and back to the lowest, sampled so fast.
func sweptAt(t *testing.T, rate, highest float64) *trace.Trace {
	t.Helper()
	var b strings.Builder
	b.WriteString("# trace: 1\n# kind: fan\n# pwm_frequency_Hz: 100\nt_s,duty_pct,current_A,supply_on,supply_V\n")
	now := 0.0
	write := func(duty float64, x []float64) {
		for _, v := range x {
			fmt.Fprintf(&b, "%.6f,%g,%.6f,1,13\n", now, duty, v)
			now += 1 / rate
		}
	}
	write(0, ripple(0.07, 0, 0, 1, rate, int(rate)))
	for _, d := range []float64{20, 35, 50, 65, 80, 95, 20} {
		if d <= highest {
			write(d, ripple(current(d, 1, 1), 0.08, 0.02, 43*d/95, rate, int(2.5*rate)))
		}
	}
	tr, err := trace.Read(strings.NewReader(b.String()), "ripple")
	require.NoError(t, err)
	return tr
}

// The speed is what the ripple says, within 0.1 %, and what comes once a turn is
// read there; sampled too slowly it is refused, not guessed.
func TestSpeedFromTheRipple(t *testing.T) {
	for _, c := range []struct {
		rate float64
		told bool
	}{{3000, true}, {1500, false}, {400, false}} {
		tr := sweptAt(t, c.rate, 95)
		p := goodFans(12)
		p.Section = &Section{Regulation: "speed", Drive: "six-step", PolePairs: 3, Air: "axial"}
		m, err := Kind{}.Measure(tr, p)
		require.NoError(t, err)
		speed, share, turn := m.Get(ShaftSpeed), m.Get(AirShare), m.Get(TurnLine)
		if !c.told {
			assert.NotEmpty(t, speed.Missing, "at %g Hz: %g rpm", c.rate, speed.Q.Value)
			continue
		}
		require.Empty(t, speed.Missing)
		assert.InEpsilon(t, 43*60, speed.Q.Value, 1e-3)
		assert.InDelta(t, 100*10/10.3, share.Q.Value, 0.5)
		assert.InEpsilon(t, 0.02*(current(20, 1, 1)+current(35, 1, 1))/2, turn.Q.Value, 0.1)
		views := m.Detail.(*detail).views()
		require.Len(t, views, 1)
		for _, l := range views[0].Lines {
			assert.LessOrEqual(t, len(l.X), result.MostViewPoints)
			assert.Len(t, l.Y, len(l.X))
		}
	}
}

// A sweep that never got to full says nothing of the speed there.
func TestSpeedOfHalfASweepIsNotHeld(t *testing.T) {
	d := &detail{plateaus: []step.Plateau{{Step: step.Step{Duty_pct: 50}}}}
	m := &kind.Measured{Trace: &trace.Trace{}}
	d.measureFull(m, nil)
	assert.Contains(t, m.Get(Full).Missing, "50 %")
	tr := sweptTo(t, 65)
	p := goodFans(12)
	p.Section = &Section{Regulation: "speed", Drive: "six-step", PolePairs: 3, Air: "axial"}
	half, err := Kind{}.Measure(tr, p)
	require.NoError(t, err)
	assert.Contains(t, half.Get(ShaftSpeed).Missing, "65 %")
	assert.Contains(t, half.Get(AirShare).Missing, "65 %")
	assert.Empty(t, half.Get(TurnLine).Missing)
}

// Friction and air are told apart by the power over the speed alone.
func TestSplit(t *testing.T) {
	var hz, watts []float64
	for f := 10.0; f < 50; f += 8 {
		hz, watts = append(hz, f), append(watts, 0.7*f+0.002*f*f*f)
	}
	friction, air, err := split(hz, watts)
	require.NoError(t, err)
	assert.InEpsilon(t, 0.7, friction, 1e-9)
	assert.InEpsilon(t, 0.002, air, 1e-9)
	_, _, err = split(hz[:1], watts[:1])
	assert.Error(t, err)
	_, err = airShare([]turning{{shaft_Hz: 10, power_W: 1, run_A: 1, plateau: step.Plateau{}, block: spectrum.Block{}}})
	assert.Error(t, err)
}

// A line that is driven moves with the duty; one that only picks up noise about
// nothing does not.
func TestNoiseOnTheWireProvesNothing(t *testing.T) {
	wire := func(at func(duty float64, i int) float64) *trace.Trace {
		var b strings.Builder
		b.WriteString("# trace: 1\nt_s,duty_pct,current_A,line_V\n")
		for i := range 200 {
			duty := float64(20 + 60*(i/100))
			fmt.Fprintf(&b, "%g,%g,0,%g\n", float64(i)/100, duty, at(duty, i))
		}
		tr, err := trace.Read(strings.NewReader(b.String()), "wire")
		require.NoError(t, err)
		return tr
	}
	assert.True(t, step.LineMoves(wire(func(d float64, _ int) float64 { return 5 * d / 100 })))
	assert.False(t, step.LineMoves(wire(func(d float64, i int) float64 { return 0.004 * math.Sin(float64(i)) })))
	assert.False(t, step.LineMoves(wire(func(float64, int) float64 { return 13.4 })))
}
