package pump

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind/weigh"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/step"
	"dutybench/signal/trace"
)

// heldLine is a run whose line is let go of or held for its last two seconds,
// in which the unit draws a given current.
func heldLine(line, amps float64, on bool) *trace.Trace {
	r := rand.New(rand.NewPCG(70, 1))
	duty := func(at float64) float64 {
		if at < 0.5 {
			return 0
		}
		return 50
	}
	tr := sampled{rate_Hz: 500, length_s: 6, duty: duty, current: func(at float64) float64 {
		x := 0.03 + 0.002*r.NormFloat64()
		switch {
		case at >= 4:
			x += amps
		case at >= 0.5:
			x += 0.8
		}
		return x
	}, on: func(at float64) bool { return at < 4 || on }}.trace()
	c := trace.Column{Name: trace.ColLineDuty}
	for _, at := range tr.Time() {
		d := duty(at)
		if at >= 4 {
			d = line
		}
		c.Values = append(c.Values, d)
	}
	tr.Columns = append(tr.Columns, c)
	return tr
}

func TestMissingCommandIsReadFromTheLine(t *testing.T) {
	for _, c := range []struct {
		name  string
		line  float64
		on    bool
		state step.Line
		found bool
	}{
		{"let go", math.NaN(), true, step.LineOpen, true},
		{"held low", 0, true, step.LineLow, true},
		{"held high", 100, true, step.LineHigh, true},
		{"commanded", 50, true, step.Commanded, false},
		{"let go with the supply off", math.NaN(), false, step.Commanded, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			tr := heldLine(c.line, 1.5, c.on)
			got := step.Undriven(tr, weigh.Lines(tr, nil))
			if !c.found {
				require.Empty(t, got)
				return
			}
			require.Len(t, got, 1)
			require.InDelta(t, 1.53, got[c.state], 0.005)
			// What a unit does without a command is no plateau of the curve.
			m, _ := measured(t, tr, nil)
			for _, q := range m.Curve {
				require.LessOrEqual(t, q.End_s, 4.0)
				require.InDelta(t, 0.83, q.Current.Value, 0.02)
			}
		})
	}
	bare := sampled{rate_Hz: 500, length_s: 3, duty: func(float64) float64 { return 50 }, current: func(float64) float64 { return 1 }}.trace()
	require.Empty(t, step.Undriven(bare, weigh.Lines(bare, nil)), "no line column")
}

func TestMissingFindings(t *testing.T) {
	r := &reference{full_A: 5, quiet: 0.05}
	for _, c := range []struct {
		does string
		amps float64
		want result.Outcome
	}{
		{"full", 4.9, result.Passed}, {"full", 0.05, result.Failed}, {"full", 2, result.Failed},
		{"stop", 0.05, result.Passed}, {"stop", 4.9, result.Failed}, {"stop", 1, result.Failed},
		{"hold", 1.2, result.Passed}, {"hold", 0.05, result.Failed},
	} {
		p := &profiles.Profile{Command: profiles.Command{Missing: profiles.Missing{Open: c.does}}}
		d := &detail{highest: 4.8, missing: map[step.Line]float64{step.LineOpen: c.amps}}
		ks := d.missingFindings(weigh.Yardstick{Profile: p}, r)
		require.Len(t, ks, 1, "only what the profile states")
		assert.Equal(t, c.want, ks[0].Result, "%+v", c)
		assert.Equal(t, "missing_command_open", ks[0].Name)
		assert.Equal(t, c.want == result.Failed, ks[0].Z != 0)
	}
	// Stated but not run.
	p := &profiles.Profile{Command: profiles.Command{Missing: profiles.Missing{Low: "stop", High: "full"}}}
	for _, k := range (&detail{highest: 4.8}).missingFindings(weigh.Yardstick{Profile: p}, r) {
		require.Equal(t, result.NotMeasured, k.Result)
		require.Nil(t, k.Value)
	}
	// A unit that has lost its water is held to its own full current.
	d := &detail{highest: 1, missing: map[step.Line]float64{step.LineOpen: 0.95}}
	p = &profiles.Profile{Command: profiles.Command{Missing: profiles.Missing{Open: "full"}}}
	require.Equal(t, result.Passed, d.missingFindings(weigh.Yardstick{Profile: p}, r)[0].Result)
}
