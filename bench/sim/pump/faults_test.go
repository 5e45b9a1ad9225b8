package pump

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestFaultList(t *testing.T) {
	seen := map[string]bool{}
	for _, f := range Faults() {
		assert.False(t, seen[f.Name], f.Name)
		seen[f.Name] = true
		assert.NotEmpty(t, f.Line+f.Half+f.Full)
		assert.Contains(t, []string{"control-board", "mechanical", "hydraulic", "wiring", "bench"}, f.Side)
		for _, size := range Sizes() {
			_, err := New(nominal(t, size), f.Name, 0.5, 1)
			assert.NoError(t, err)
		}
	}
	assert.Len(t, seen, 20)
	for _, f := range Faults() {
		for _, other := range f.Inseparable {
			assert.True(t, seen[other], other)
		}
	}
	for _, severity := range []float64{-0.1, 1.1, math.NaN()} {
		_, err := New(nominal(t, "small"), "drag", severity, 1)
		assert.ErrorContains(t, err, "severity")
	}
	_, err := New(nominal(t, "small"), "no-such", 1, 1)
	assert.ErrorContains(t, err, "no-such")
	_, err = New(Params{}, "", 0, 1)
	assert.Error(t, err)
	_, err = Nominal("huge")
	assert.ErrorContains(t, err, "huge")
	_, err = Draw("huge", rand.New(rand.NewPCG(1, 1)))
	assert.Error(t, err)
}

// attempts finds the stretches of current above a threshold: start and length
// in seconds.
func attempts(x []float64, above, dt float64) (start, length []float64) {
	on := false
	for k, i := range x {
		if t := float64(k) * dt; i > above && !on {
			start, length, on = append(start, t), append(length, 0), true
		} else if i <= above {
			on = false
		}
		if on {
			length[len(length)-1] += dt
		}
	}
	return start, length
}

func TestSeizedRotor(t *testing.T) {
	for _, size := range Sizes() {
		for _, severity := range []float64{0, 0.5, 1} {
			c := drawn(t, size, 11)
			b := plug(t, c, "rotor-seized", severity, 1)
			b.hold(0.5)
			b.line = pwm(c, fullDuty(c))
			b.hold(20)
			start, length := attempts(b.got, 2*c.Quiet_A, 1e-4)
			require.Len(t, length, c.Attempts, size)
			for k := range length {
				assert.InDelta(t, c.Align_s+c.Ramp_s+c.Verify_s, length[k], 5e-4)
				if k > 0 {
					assert.InDelta(t, c.Rest_s, start[k]-start[k-1]-length[k-1], 5e-4)
				}
			}
			assert.Equal(t, "latched", b.Truth().State)
			assert.InDelta(t, c.Quiet_A, b.hold(1), 1e-6, "latched off at the quiet current")
			assert.Zero(t, b.Truth().Speed_rad_s)
		}
	}
}

func TestDeadBoard(t *testing.T) {
	for _, size := range Sizes() {
		c := nominal(t, size)
		b := plug(t, c, "board-dead", 0.5, 1)
		charge := b.hold(0.05) * 0.05
		assert.InEpsilon(t, c.Capacitor_F*c.Nominal_V, charge, 0.1, "the capacitor charges still")
		b.line = pwm(c, fullDuty(c))
		b.hold(10)
		_, length := attempts(b.got, 1.2*c.Asleep_A, 1e-4)
		assert.Empty(t, length)
		assert.InDelta(t, 0.6*c.Asleep_A, b.hold(0.1), 1e-5)
	}
}

func TestNoStart(t *testing.T) {
	c := nominal(t, "medium")
	b := plug(t, c, "no-start", 0.5, 1)
	b.hold(0.5)
	b.line = pwm(c, fullDuty(c))
	b.hold(10)
	_, length := attempts(b.got, 1.3*c.Quiet_A, 1e-4)
	assert.Empty(t, length)
	assert.InDelta(t, 1.1*c.Quiet_A, b.hold(0.1), 1e-5)
	assert.Equal(t, "waking", b.Truth().State)
}

// Two of six commutation steps are empty, the attempts fail.
func TestOpenPhase(t *testing.T) {
	for _, size := range Sizes() {
		c := nominal(t, size)
		b := plug(t, c, "open-phase", 1, 1)
		b.hold(0.3)
		b.line = pwm(c, fullDuty(c))
		for b.Truth().State != "verify" {
			b.hold(1e-4)
		}
		b.dt = 20 * us
		b.hold(c.Verify_s - 1e-3)
		got := b.got[len(b.got)/5:]
		mean, low := 0.0, 1e9
		for _, i := range got {
			mean += i / float64(len(got))
			low = min(low, i)
		}
		full := c.Start_A * c.Start_A * c.Winding_Ohm / (c.Efficiency * c.Nominal_V)
		assert.InEpsilon(t, full*2/3, mean-c.Quiet_A, 0.08, "%s: four of six", size)
		assert.InDelta(t, c.Quiet_A, low, 0.1*full)
		assert.Positive(t, tone(b.got, 2*float64(c.PolePairs)*c.HandOver_rad_s/(2*math.Pi), 20e-6), "gaps twice an electrical turn")
		b.dt = 100 * us
		b.hold(15)
		assert.Equal(t, "latched", b.Truth().State)
	}
}

func TestLostCommand(t *testing.T) {
	for _, size := range Sizes() {
		c := nominal(t, size)
		b := plug(t, c, "command-lost-full", 0.5, 1)
		b.hold(20)
		got := b.sweep([]float64{stopDuty(c), atShare(c, 0.1), atShare(c, 0.6), fullDuty(c)}, 0.1, 0.5)
		for _, i := range got {
			assert.InEpsilon(t, got[0], i, 0.005, "the same whatever the duty")
		}
		assert.InEpsilon(t, c.Steady(1, c.Nominal_V, 40, 30).Supply_A, got[0], 0.03)

		b = plug(t, c, "command-lost-off", 0.5, 1)
		b.hold(5)
		got = b.sweep([]float64{stopDuty(c), atShare(c, 0.1), fullDuty(c)}, 1, 0.5)
		for _, i := range got {
			assert.LessOrEqual(t, i, c.Quiet_A+1e-9)
		}
		_, ohm := b.PullUp()
		assert.Equal(t, c.PullUpOhm, ohm)
		_, ohm = plug(t, c, "command-lost-off", 1, 1).PullUp()
		assert.Zero(t, ohm)
	}
}

func TestPowerLimit(t *testing.T) {
	for _, size := range Sizes() {
		c := nominal(t, size)
		good := plug(t, c, "", 0, 1).sweep([]float64{atShare(c, 0.3), fullDuty(c)}, 4, 0.5)
		bad := plug(t, c, "power-limit", 0.5, 1).sweep([]float64{atShare(c, 0.3), fullDuty(c)}, 4, 0.5)
		assert.InEpsilon(t, good[0], bad[0], 0.005, size)
		share := powerHalf
		if c.Regulation == Voltage {
			share *= voltagePower
		}
		assert.InDelta(t, 1-share, bad[1]/good[1], 0.02, size)
	}
}

func TestDropOuts(t *testing.T) {
	c := nominal(t, "medium")
	b := plug(t, c, "drop-outs", 0.5, 1)
	b.line = pwm(c, atShare(c, 0.5))
	b.hold(4)
	b.hold(120)
	var drops int
	low := false
	for _, i := range b.got {
		if i < 1.5*c.Quiet_A && !low {
			drops++
		}
		low = i < 1.5*c.Quiet_A
	}
	assert.InDelta(t, 20, drops, 9, "once in 6 s")
}

func TestInputShort(t *testing.T) {
	c := nominal(t, "medium")
	b := plug(t, c, "input-short", 1, 1)
	b.src.Limit_A = 15
	assert.InDelta(t, 15, b.hold(0.1), 0.05, "at the supply's limit, not for a millisecond")
	assert.InDelta(t, 15*0.03, b.Truth().Plug_V, 0.01)
	b.src.Limit_A = 0
	b.hold(0.1)
	assert.InDelta(t, 13.5/0.05, b.hold(0.1), 0.5)
}

func TestLateStart(t *testing.T) {
	c := nominal(t, "medium")
	for severity, vain := range map[float64]int{0: 0, 0.5: 2, 1: 4} {
		b := plug(t, c, "late-start", severity, 1)
		b.hold(0.5)
		b.line = pwm(c, fullDuty(c))
		names, at := phases(b, 2)
		assert.Equal(t, vain, strings.Count(strings.Join(names, ","), "napping"))
		for k, n := range names {
			if n == "align" {
				assert.InDelta(t, c.Wake_s+float64(vain)*(c.Wake_s+nap_s), at[k]-at[0], 2e-3)
			}
		}
	}
}

func TestStickyStart(t *testing.T) {
	for _, size := range Sizes() {
		c := nominal(t, size)
		good := plug(t, c, "", 0, 1).sweep([]float64{fullDuty(c)}, 8, 0.3)[0]
		for severity, failed := range map[float64]int{0.5: 1, 1: c.Attempts - 1} {
			b := plug(t, c, "sticky-start", severity, 1)
			b.hold(0.5)
			b.line = pwm(c, fullDuty(c))
			names, _ := phases(b, float64(failed)*2.6+4)
			assert.Equal(t, failed, strings.Count(strings.Join(names, ","), "rest"), size)
			assert.Equal(t, "closed loop", names[len(names)-1])
			assert.InEpsilon(t, good, b.hold(0.3), 0.01, "runs as good afterwards")
			b.line = pwm(c, stopDuty(c))
			b.hold(2)
			b.line = pwm(c, fullDuty(c))
			names, _ = phases(b, 1.5)
			assert.NotContains(t, names, "rest", "a sticky first start happens once")
		}
	}
}

// A rub shows at the shaft's frequency, a drag of the same mean does not.
func TestRubModulates(t *testing.T) {
	for _, size := range Sizes() {
		at := func(fault string) float64 {
			c := nominal(t, size)
			c.Unrest = 0
			b := plug(t, c, fault, 0.5, 1)
			b.line = pwm(c, atShare(c, 0.5))
			b.hold(3)
			b.hold(1)
			return tone(b.got, b.Truth().Speed_rad_s/(2*math.Pi), 1e-4)
		}
		assert.Greater(t, at("rub"), 2.5*at("drag"), size)
	}
}

func TestDryLoopIsUneasy(t *testing.T) {
	for _, size := range Sizes() {
		spread := func(fault string) float64 {
			c := nominal(t, size)
			c.Ripple, c.Imbalance = 0, 0
			b := plug(t, c, fault, 0.5, 1)
			b.line = pwm(c, fullDuty(c))
			b.hold(4)
			mean, sq := b.hold(2), 0.0
			for _, i := range b.got {
				sq += (i - mean) * (i - mean)
			}
			return math.Sqrt(sq/float64(len(b.got))) / mean
		}
		assert.Greater(t, spread("dry-loop"), 3*spread("blocked-outlet"), size)
	}
}

func TestSourceFaults(t *testing.T) {
	c := nominal(t, "medium")
	b := plug(t, c, "line-resistance", 0.5, 1)
	i := b.sweep([]float64{fullDuty(c)}, 4, 0.5)[0]
	assert.InDelta(t, 13.5-i*(0.02+leadHalf), b.Truth().Plug_V, 0.05)

	for _, size := range Sizes() {
		for _, severity := range []float64{0.5, 1} {
			c = nominal(t, size)
			b = plug(t, c, "supply-limit", severity, 1)
			b.hold(0.5)
			i = b.sweep([]float64{fullDuty(c)}, 4, 0.5)[0]
			assert.InEpsilon(t, b.src.Limit_A, i, 0.02, size)
			assert.Less(t, b.Truth().Plug_V, c.Nominal_V-0.3, size)
			assert.Equal(t, "closed loop", b.Truth().State, "%s at %v", size, severity)
		}
	}
	src := ideal(c)
	assert.Equal(t, src, SourceChange(c, "supply-limit", 0, src))
	assert.Equal(t, src, SourceChange(c, "drag", 1, src))
}

func TestReversedAndUnplugged(t *testing.T) {
	c := nominal(t, "medium")
	b := plug(t, c, "reversed", 1, 1)
	b.src.Limit_A = 10
	assert.InDelta(t, 10, b.hold(0.1), 1e-9)
	_, v := b.Step(100*us, b.src, b.line)
	assert.InDelta(t, 1.5+10*0.05, v, 1e-9)
	_, ohm := b.PullUp()
	assert.Zero(t, ohm)
	b.src.On = false
	assert.InDelta(t, 0, b.hold(0.1), 1e-9)

	b = plug(t, c, "", 0, 1)
	b.hold(1)
	b.src.Open_V = -12
	assert.Negative(t, b.hold(0.1), "a source the wrong way round")

	b = plug(t, c, "unplugged", 1, 1)
	assert.Zero(t, b.hold(1))
	_, v = b.Step(100*us, b.src, b.line)
	assert.InDelta(t, c.Nominal_V, v, 1e-9)
}

func TestGrade(t *testing.T) {
	assert.Zero(t, grade(0, 2, 10))
	assert.Equal(t, 2.0, grade(0.5, 2, 10))
	assert.Equal(t, 10.0, grade(1, 2, 10))
	assert.Equal(t, 6.0, grade(0.75, 2, 10))
}
