package pump

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// Thresholds of profiles A and C of the PWM control signal for wet-runner
// circulating pumps (VDMA Einheitsblatt 24224, as circulator makers' manuals
// print them); the middles 47 % and 52.5 % of the straight lines computed.
func TestPublishedLaws(t *testing.T) {
	for _, c := range []struct {
		law   Law
		duty  float64
		on    bool
		run   bool
		share float64
	}{
		{Heating{}, 0, false, true, 1},
		{Heating{}, 0.10, true, true, 1},
		{Heating{}, 0.47, true, true, 0.5},
		{Heating{}, 0.84, true, true, 0},
		{Heating{}, 0.91, true, true, 0},
		{Heating{}, 0.91, false, true, 0},
		{Heating{}, 0.911, false, false, 0},
		{Heating{}, 0.93, true, true, 0},
		{Heating{}, 0.93, false, false, 0},
		{Heating{}, 0.95, true, true, 0},
		{Heating{}, 0.951, true, false, 0},
		{Heating{}, 1, true, false, 0},
		{Solar{}, 0, true, false, 0},
		{Solar{}, 0.05, true, false, 0},
		{Solar{}, 0.051, true, true, 0},
		{Solar{}, 0.06, true, true, 0},
		{Solar{}, 0.06, false, false, 0},
		{Solar{}, 0.08, false, false, 0},
		{Solar{}, 0.081, false, true, 0},
		{Solar{}, 0.15, true, true, 0},
		{Solar{}, 0.525, true, true, 0.5},
		{Solar{}, 0.90, true, true, 1},
		{Solar{}, 1, true, true, 1},
	} {
		share, run, valid := c.law.Command(c.duty, c.on)
		assert.True(t, valid)
		assert.Equal(t, c.run, run, "%T %v on %v", c.law, c.duty, c.on)
		assert.InDelta(t, c.share, share, 1e-12, "%T %v on %v", c.law, c.duty, c.on)
	}
}

func TestDirectLaw(t *testing.T) {
	l := Direct{Low: 0.03, Stop: 0.08, Start: 0.10, From: 0.10, To: 0.90, High: 0.97}
	for _, c := range []struct {
		duty       float64
		on         bool
		run, valid bool
		share      float64
	}{
		{0.02, true, false, false, 0}, {0.05, true, false, true, 0}, {0.09, true, true, true, 0},
		{0.09, false, false, true, 0}, {0.5, false, true, true, 0.5}, {0.95, true, true, true, 1}, {0.98, true, false, false, 0},
	} {
		share, run, valid := l.Command(c.duty, c.on)
		assert.Equal(t, c.run, run, c.duty)
		assert.Equal(t, c.valid, valid, c.duty)
		assert.InDelta(t, c.share, share, 1e-12)
	}
}

// Viscosity by IAPWS SR6-08 equation 7 (values computed from it; a table of
// water's properties prints 1.792, 1.002, 0.652, 0.467 mPa·s at 0, 20, 40, 60).
func TestWaterViscosity(t *testing.T) {
	for celsius, want := range map[float64]float64{
		0: 1.79178, 4: 1.56732, 10: 1.30590, 15: 1.13755, 20: 1.00157, 25: 0.89000, 30: 0.79721,
		40: 0.65273, 50: 0.54653, 60: 0.46604, 70: 0.40355, 80: 0.35405, 90: 0.31417, 100: 0.28158,
	} {
		assert.InDelta(t, want, waterViscosity(celsius)*1e3, 6e-6, "%v °C", celsius)
	}
}

// Copper: 0.00393 per kelvin at 20 °C; no resistance at 20 - 1/0.00393 = -234.45 °C.
func TestCopper(t *testing.T) {
	assert.InDelta(t, 1.1965, copperRatio(70), 1e-9)
	assert.InDelta(t, 0, copperRatio(-234.453), 1e-6)
}
