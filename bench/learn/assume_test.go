package learn

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// recordedAs is a unit of one trace with these comments and columns, in which it
// draws 2 A at full, and 9 A at once on the way there.
func recordedAs(comments []string, columns ...trace.Column) measured {
	tr := &trace.Trace{}
	for i := 0; i < len(comments); i += 2 {
		tr.Meta = append(tr.Meta, trace.Entry{Key: comments[i], Value: comments[i+1]})
	}
	var t, d, x []float64
	for i := range 100 {
		t, d, x = append(t, float64(i)), append(d, 0), append(x, 0)
		if i >= 50 {
			d[i], x[i] = 100, 2
		}
	}
	x[50] = 9
	tr.Columns = append([]trace.Column{{Name: trace.ColTime, Values: t}, {Name: trace.ColDuty, Values: d}, {Name: trace.ColCurrent, Values: x}}, columns...)
	return measured{m: []*kind.Measured{{Trace: tr, Curve: []kind.Point{{Duty_pct: 100, Up: true, Current: stat.Quantity{Value: 2}, Supply_V: 12.2}}}}}
}

// What traces say of a command is taken from them: a unit of whose free-wheel path
// they speak is one that the bench switches, and a dry one is held in a vice.
func TestAssume(t *testing.T) {
	for name, c := range map[string]struct {
		comments []string
		wet      bool
		want     profiles.Command
		fixture  string
		peak_A   float64
	}{
		"a signal, in a loop": {[]string{trace.KeyPWM, "400"}, true,
			profiles.Command{Type: profiles.Signal, Frequency_Hz: 400, Tolerance: 0.05, Drive: "open-drain", Wake_pct: 1, Full_pct: 100}, profiles.Loop, 6},
		"in a bucket": {[]string{trace.KeyFixture, "Bucket of ten litres"}, true,
			profiles.Command{Type: profiles.Signal, Frequency_Hz: 1000, Tolerance: 0.05, Drive: "open-drain", Wake_pct: 1, Full_pct: 100}, profiles.Bucket, 6},
		"switched, dry": {[]string{trace.KeyRecirculation, "seen", trace.KeyPWM, "0"}, false,
			profiles.Command{Type: profiles.Switched, Wake_pct: 1, Full_pct: 100}, profiles.Vice, 14},
		"switched by PWM": {[]string{trace.KeyRecirculation, "not-seen", trace.KeyPWM, "250"}, false,
			profiles.Command{Type: profiles.Switched, Frequency_Hz: 250, Wake_pct: 1, Full_pct: 100}, profiles.Vice, 14},
	} {
		t.Run(name, func(t *testing.T) {
			p := &profiles.Profile{}
			assume(p, []measured{recordedAs(c.comments)}, c.wet)
			assert.Equal(t, c.want, p.Command)
			assert.Equal(t, c.fixture, p.Fixture.Type)
			assert.Equal(t, c.peak_A, p.Limits.Peak_A)
			assert.Equal(t, c.wet, p.Limits.DryRun > 0)
			assert.Equal(t, profiles.Position{}, p.Position)
		})
	}
}

// The voltages at the ends of the travel follow from where the unit stood, sampled
// now and then as a rig does.
func TestAssumePosition(t *testing.T) {
	volts, pct := make([]float64, 100), make([]float64, 100)
	for i := range volts {
		volts[i], pct[i] = math.NaN(), math.NaN()
		if i%7 == 0 {
			at := min(float64(i)*1.5, 96)
			pct[i], volts[i] = at, 4.5-0.04*at
		}
	}
	v, p := trace.Column{Name: trace.ColPositionV, Values: volts}, trace.Column{Name: trace.ColPosition, Values: pct}
	still := trace.Column{Name: trace.ColPositionV, Values: make([]float64, 100)}
	for name, c := range map[string]struct {
		columns []trace.Column
		want    profiles.Position
		within  float64
	}{
		"with what it stands for": {[]trace.Column{v, p}, profiles.Position{By: profiles.ByVoltage, At0: 4.5, At100: 0.5}, 1e-9},
		"per cent alone":          {[]trace.Column{p}, profiles.Position{By: profiles.ByPWM, At100: 100}, 1e-9},
		"never moved":             {[]trace.Column{still}, profiles.Position{}, 0},
		"nothing":                 {nil, profiles.Position{}, 0},
	} {
		t.Run(name, func(t *testing.T) {
			var got profiles.Profile
			assume(&got, []measured{recordedAs(nil, c.columns...)}, false)
			assert.Equal(t, c.want.By, got.Position.By)
			assert.InDelta(t, c.want.At0, got.Position.At0, c.within)
			assert.InDelta(t, c.want.At100, got.Position.At100, c.within)
		})
	}
	var got profiles.Profile // against the command alone: it came late, and stands at its end
	assume(&got, []measured{recordedAs(nil, trace.Column{Name: trace.ColPositionV, Values: append(repeat(0.5, 60), repeat(4.5, 40)...)})}, false)
	assert.InDelta(t, 0.5, got.Position.At0, 1e-9)
	assert.InDelta(t, 4.5, got.Position.At100, 1e-9)
}

// One that is sent to places has its stop and full where it was sent.
func TestCommandEnds(t *testing.T) {
	u := recordedAs(nil, trace.Column{Name: trace.ColPositionV, Values: repeat(1, 100)})
	tr := u.m[0].Trace
	for i := range tr.Duty() {
		tr.Duty()[i] = 7 + 0.86*float64(i)
	}
	stop, full := commandEnds([]*trace.Trace{tr})
	assert.InDelta(t, 7, stop, 1e-9)
	assert.InDelta(t, 7+0.86*99, full, 1e-9)
	stop, full = commandEnds([]*trace.Trace{tr, recordedAs(nil).m[0].Trace})
	assert.Zero(t, stop)
	assert.EqualValues(t, 100, full)
	stop, full = commandEnds(nil)
	assert.Zero(t, stop)
	assert.EqualValues(t, 100, full)
}

func repeat(x float64, n int) (out []float64) {
	for range n {
		out = append(out, x)
	}
	return out
}

// A dry kind speaks of mountings, not of fillings of a loop.
func TestDrySentences(t *testing.T) {
	u := recordedAs([]string{trace.KeyFilling, "vice 1"})
	seen := look([]measured{u})
	dry, wet := strings.Join(seen.sentences(nil, false), "\n"), strings.Join(seen.sentences(nil, true), "\n")
	require.Contains(t, wet, "one filling of the loop (vice 1)")
	assert.Contains(t, dry, "All units were measured in one mounting (vice 1): what mounting it again changes is not in their spread.")
	assert.NotContains(t, dry, "loop")
}

// The least spread of a time is no more than a part of it: a coil's ten
// milliseconds would drown in the fiftieth of a second of a rotor's start.
func TestFloorOfTimes(t *testing.T) {
	for size, want := range map[float64]float64{1: 0.05, 0.147: 0.05, 0.05: 0.05, 0.010: 0.0025, -0.010: 0.0025, 0: 0} {
		assert.InDelta(t, want, floor("s", size), 1e-12, "%v", size)
	}
	assert.Equal(t, 0.002, floor("A", 1e-9))
}
