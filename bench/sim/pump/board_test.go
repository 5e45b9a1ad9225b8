package pump

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/sim"
)

// The nominal full currents of the sizes, and each simulated plateau against
// the closed-form balance at the temperatures that the unit has reached.
func TestPlateausMatchClosedForm(t *testing.T) {
	full := map[string]float64{"small": 1.51, "medium": 4.28, "large": 9.61, "heating": 2.00, "solar": 1.88}
	for _, size := range Sizes() {
		t.Run(size, func(t *testing.T) {
			c := nominal(t, size)
			c.Unrest, c.Imbalance = 0, 0
			assert.InDelta(t, full[size], c.Steady(1, c.Nominal_V, 20, 20).Supply_A, 0.006)
			b := plug(t, c, "", 0, 1)
			quiet := b.sweep([]float64{stopDuty(c)}, 0.5, 0.2)[0]
			assert.InDelta(t, c.Quiet_A, quiet, 1e-6)
			for _, share := range []float64{0.02, 0.125, 0.5, 1, 0.5} {
				b.line = pwm(c, atShare(c, share))
				b.hold(3)
				got := b.hold(0.5)
				now := b.Truth()
				want := c.Behind(share, c.Nominal_V, 0.02, now.Winding_C, (now.Winding_C+now.Water_C)/2)
				assert.InEpsilon(t, want.Supply_A, got, 0.002, "share %v", share)
				assert.InEpsilon(t, want.Speed_rad_s, now.Speed_rad_s, 0.001)
				assert.InEpsilon(t, want.Phase_A, now.Phase_A, 0.01, "as the last ripple left it")
			}
		})
	}
}

// A board that holds the speed draws constant power; one that sets the voltage
// draws more at a higher supply.
func TestSupplyDependence(t *testing.T) {
	at := func(size string, volts float64) float64 {
		c := nominal(t, size)
		b := plug(t, c, "", 0, 1)
		b.src.Open_V = volts
		return b.sweep([]float64{atShare(c, 0.5)}, 3, 0.5)[0]
	}
	quiet := nominal(t, "medium").Quiet_A
	assert.InEpsilon(t, 12*(at("medium", 12)-quiet), 14*(at("medium", 14)-quiet), 0.005)
	assert.Greater(t, at("small", 14), 1.15*at("small", 12))
}

// phases runs until t seconds have passed and notes what the board did.
func phases(b *bench, seconds float64) (names []string, at []float64) {
	for end := b.t_s + seconds; b.t_s < end; {
		b.hold(b.dt.Seconds())
		if s := b.Truth().State; len(names) == 0 || names[len(names)-1] != s {
			names, at = append(names, s), append(at, b.t_s)
		}
	}
	return names, at
}

func TestStartUp(t *testing.T) {
	for _, size := range Sizes() {
		c := drawn(t, size, 3)
		b := plug(t, c, "", 0, 1)
		names, _ := phases(b, 0.5)
		assert.Equal(t, []string{"unpowered", "boot", "idle"}, trim(names))
		b.line = pwm(c, fullDuty(c))
		names, at := phases(b, 1.5)
		require.Equal(t, []string{"waking", "align", "ramp", "verify", "closed loop"}, trim(names), size)
		at = at[len(at)-5:]
		for k, want := range []float64{c.Wake_s, c.Align_s, c.Ramp_s, c.Verify_s} {
			assert.InDelta(t, want, at[k+1]-at[k], 3e-4, names[k])
		}
		assert.Equal(t, 1, b.Truth().Attempt)
		b.line = pwm(c, stopDuty(c))
		b.hold(1)
		assert.Equal(t, "idle", b.Truth().State)
		assert.Zero(t, b.Truth().Speed_rad_s, "coasted down")
	}
}

// trim drops the state before the first step has charged the capacitor.
func trim(names []string) []string {
	if names[0] == "unpowered" && len(names) > 3 || names[0] == "idle" {
		return names[1:]
	}
	return names
}

// At alignment the winding takes i²·R, the board that over its efficiency.
func TestAlignmentCurrent(t *testing.T) {
	c := nominal(t, "medium")
	b := plug(t, c, "", 0, 1)
	b.hold(0.3)
	b.line = pwm(c, fullDuty(c))
	for b.Truth().State != "align" {
		b.hold(1e-4)
	}
	b.hold(0.05)
	got := b.hold(0.1)
	assert.InEpsilon(t, c.Quiet_A+8*8*0.14/(0.93*13.5), got, 0.005)
}

func TestSwitchOnCharge(t *testing.T) {
	for _, size := range Sizes() {
		c := nominal(t, size)
		for _, limit := range []float64{0, 10} {
			b := plug(t, c, "", 0, 1)
			b.src.Limit_A, b.dt = limit, 10*us
			mean := b.hold(3e-3)
			charge := mean*3e-3 - c.Quiet_A*3e-3
			assert.InEpsilon(t, c.Capacitor_F*c.Nominal_V, charge, 0.02, size)
			peak := 0.0
			for _, i := range b.got {
				peak = max(peak, i)
			}
			if limit > 0 {
				assert.InDelta(t, limit, peak, 1e-6)
			} else {
				assert.Greater(t, peak, 0.8*c.Nominal_V/(c.ESR_Ohm+0.02))
				assert.Less(t, b.got[len(b.got)/3], peak/20, "over within a millisecond")
			}
		}
	}
}

func TestMissingCommand(t *testing.T) {
	lines := map[string]sim.Line{
		"open": {State: sim.LineReleased}, "low": {State: sim.LineLow},
		"high": {State: sim.LineHigh, High_V: 5}, "frequency": {State: sim.LinePWM, High: 0.5, Frequency_Hz: 20_000, High_V: 5},
		"weak": {State: sim.LinePWM, High: 0.5, Frequency_Hz: 1000, High_V: 0.8}, // never seen high: low
	}
	for _, size := range Sizes() {
		c := nominal(t, size)
		want := map[string]Behaviour{"open": c.Missing.Open, "low": c.Missing.Low, "high": c.Missing.High,
			"frequency": c.Missing.Frequency, "weak": c.Missing.Low}
		for name, line := range lines {
			b := plug(t, c, "", 0, 1)
			b.sweep([]float64{atShare(c, 0.3)}, 2.5, 0.1)
			before := b.Truth().Speed_rad_s
			b.line = line
			b.hold(c.Missing.After_s * 0.8)
			assert.InEpsilon(t, before, b.Truth().Speed_rad_s, 0.05, "%s %s: the last command holds", size, name)
			b.hold(3)
			if want[name] == RunsFull {
				assert.InDelta(t, 1, b.Truth().Share, 1e-9, "%s %s", size, name)
				assert.Greater(t, b.Truth().Speed_rad_s, 1.5*before, "%s %s", size, name)
			} else {
				assert.Zero(t, b.Truth().Speed_rad_s, "%s %s", size, name)
			}
		}
	}
}

// A unit that sleeps draws its sleeping current without a command, and wakes
// at one.
func TestSleep(t *testing.T) {
	c := nominal(t, "small")
	b := plug(t, c, "", 0, 1)
	b.line = sim.Line{State: sim.LineReleased}
	b.hold(c.SleepAfter_s + 1)
	assert.InDelta(t, c.Asleep_A, b.hold(0.1), 1e-6)
	b.line = pwm(c, stopDuty(c))
	b.hold(0.1)
	assert.InDelta(t, c.Quiet_A, b.hold(0.1), 1e-6)
}

func TestPullUpFollowsTheSupply(t *testing.T) {
	c := nominal(t, "large")
	b := plug(t, c, "", 0, 1)
	b.hold(0.2)
	volts, ohm := b.PullUp()
	assert.InDelta(t, 10.125, volts, 0.02, "three quarters of 13.5 V")
	assert.InDelta(t, 10e3, ohm, 1e-9)
	_, ohm = plug(t, nominal(t, "heating"), "", 0, 1).PullUp()
	assert.Zero(t, ohm, "an optocoupler has none")
}

// Six-step drive ripples at 6·p·n: 6·2·480/2π = 917 Hz. The source sees the
// load's ripple through (1+jωreC)/(1+jω(Rs+re)C).
func TestCommutationRipple(t *testing.T) {
	c := nominal(t, "medium")
	c.Unrest, c.Imbalance = 0, 0
	b := plug(t, c, "", 0, 1)
	b.line = pwm(c, fullDuty(c))
	b.hold(4)
	b.dt = 20 * us
	mean := b.hold(0.5)
	hz := 6 * float64(c.PolePairs) * b.Truth().Speed_rad_s / (2 * math.Pi)
	assert.InDelta(t, 916.7, hz, 0.5)
	w := 2 * math.Pi * hz
	filter := math.Hypot(1, w*c.ESR_Ohm*c.Capacitor_F) / math.Hypot(1, w*(0.02+c.ESR_Ohm)*c.Capacitor_F)
	assert.InEpsilon(t, c.Ripple*(mean-c.Quiet_A)*filter, tone(b.got, hz, 20e-6), 0.03)

	c = nominal(t, "large")
	b = plug(t, c, "", 0, 1)
	b.line = pwm(c, fullDuty(c))
	b.hold(4)
	b.dt = 20 * us
	mean = b.hold(0.5)
	hz = 6 * float64(c.PolePairs) * b.Truth().Speed_rad_s / (2 * math.Pi)
	assert.Less(t, tone(b.got, hz, 20e-6), 0.005*mean, "a sine drive hardly ripples")
}

// tone is the amplitude at a frequency (correlation with cosine and sine).
func tone(x []float64, hz, dt float64) float64 {
	var mean, re, im float64
	for _, v := range x {
		mean += v / float64(len(x))
	}
	for k, v := range x {
		s, c := math.Sincos(2 * math.Pi * hz * float64(k) * dt)
		re, im = re+(v-mean)*c, im+(v-mean)*s
	}
	return 2 * math.Hypot(re, im) / float64(len(x))
}

// Warm copper: the winding's end temperature is i²·R over its way to the water.
func TestWarming(t *testing.T) {
	c := nominal(t, "medium")
	b := plug(t, c, "", 0, 1)
	b.line = pwm(c, fullDuty(c))
	b.hold(150)
	now := b.Truth()
	assert.InEpsilon(t, now.Phase_A*now.Phase_A*now.Winding_Ohm*c.Winding_KperW, now.Winding_C-now.Water_C, 0.03)
	assert.InEpsilon(t, c.Winding_Ohm*copperRatio(now.Winding_C), now.Winding_Ohm, 1e-3)
	assert.InDelta(t, 20+150*50/(5*waterHeat), b.Temperature(), 0.05, "50 W into 5 kg of water")
}

// Switched off, the board drops out, the rotor coasts and feeds the capacitor,
// and within half a minute less than 1 V is left.
func TestSwitchOff(t *testing.T) {
	for _, size := range Sizes() {
		c := nominal(t, size)
		b := plug(t, c, "", 0, 1)
		b.line = pwm(c, fullDuty(c))
		b.hold(4)
		b.src.On, b.src.Leak_A = false, 1e-6
		b.line = sim.Line{State: sim.LineLow}
		assert.InDelta(t, 1e-6, b.hold(0.2), 1e-6)
		assert.Positive(t, b.Truth().Plug_V)
		b.hold(2)
		assert.Zero(t, b.Truth().Speed_rad_s)
		b.hold(30)
		assert.Less(t, b.Truth().Plug_V, 1.0, size)
		assert.Equal(t, "unpowered", b.Truth().State)
	}
}

func TestOverVoltageLetsTheMotorGo(t *testing.T) {
	c := nominal(t, "medium")
	b := plug(t, c, "", 0, 1)
	b.line = pwm(c, fullDuty(c))
	b.hold(4)
	b.src.Open_V = c.Over_V + 1
	b.hold(1)
	assert.Zero(t, b.Truth().Speed_rad_s)
	b.src.Open_V = 12
	b.hold(5)
	assert.InEpsilon(t, c.Max_rad_s, b.Truth().Speed_rad_s, 0.01)
}

// A long dt is split, a short one is taken as it is; both end alike.
func TestStepSize(t *testing.T) {
	c := nominal(t, "medium")
	c.Unrest = 0
	var end [3]float64
	for k, dt := range []time.Duration{10 * us, 100 * us, 5 * time.Millisecond} {
		b := plug(t, c, "", 0, 1)
		b.dt = dt
		b.line = pwm(c, atShare(c, 0.5))
		b.hold(4)
		end[k] = b.hold(0.5)
	}
	assert.InEpsilon(t, end[0], end[1], 0.003)
	assert.InEpsilon(t, end[1], end[2], 0.003)
}
