package trial_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/calibrate"
	"dutybench/bench/rig"
	"dutybench/bench/sim"
	"dutybench/bench/trial"
	"dutybench/signal/stat"
)

// The bar for calibrations: the stated 95 % intervals hold the truth in so
// many of them.
const leastHeld, mostHeld = 0.935, 0.965

// calibrated is one way of calibrating, and how its reference errs.
type calibrated struct {
	name    string
	voltage bool
	points  int
	meter   calibrate.Meter
	// uniform says that the reference's errors are drawn uniformly within
	// Gain and Offset, or within √3 standard uncertainties where there is a k;
	// else they are normal.
	uniform bool
	noBar   bool // for comparison only
}

// A bench multimeter of 4½ digits on its 10 A range, and of 5½ on 20 V;
// both chosen. The certificate's k is 2.
var (
	ammeter   = calibrate.Meter{Gain: 0.0010, Offset: 0.002, K: 2, Digit: 0.001}
	voltmeter = calibrate.Meter{Gain: 0.0005, Offset: 0.001, K: 2, Digit: 0.0001}
)

func limits(m calibrate.Meter) calibrate.Meter {
	m.K = 0
	return m
}

// draw is an error of the reference.
func (c *calibrated) draw(rng *rand.Rand, expanded float64) float64 {
	switch {
	case c.meter.K == 0 && c.uniform:
		return expanded * (2*rng.Float64() - 1)
	case c.meter.K == 0:
		return expanded / math.Sqrt(3) * rng.NormFloat64()
	case c.uniform:
		return expanded / c.meter.K * math.Sqrt(3) * (2*rng.Float64() - 1)
	}
	return expanded / c.meter.K * rng.NormFloat64()
}

// once calibrates one bench through its real converter and sampler, and
// gives the line beside the true gain and offset.
func (c *calibrated) once(t *testing.T, seed uint64) (l *calibrate.Line, gain, offset float64) {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 0x63616c))
	b := sim.NewBench(sim.Options{Seed: seed})
	d := rig.Default()
	r, err := rig.New(rig.Sim, b, d, rig.Options{Stands: true})
	require.NoError(t, err)
	within := func(limit float64) float64 { return limit * (2*rng.Float64() - 1) }

	var set func(value float64)
	var steps float64
	if c.voltage {
		ratio := (1 + within(0.0018)) / d.Supply.Divider.Ratio()
		apply := b.CalibrateADS1115()
		set = func(v float64) { apply([4]float64{v * ratio, 0, 1.65, 3.3}) }
		e := b.ADS1115.Errors
		steps = r.Accuracy.VoltageStep_V
		gain, offset = (1+e.Gain)*ratio*d.Supply.Divider.Ratio(), e.OffsetSteps*steps
	} else {
		shunt := sim.Shunt_Ohm * (1 + within(sim.ShuntTolerance))
		apply := b.CalibrateINA226()
		set = func(a float64) { apply(a*shunt, 0) }
		e := b.INA226.Errors
		steps = r.Accuracy.CurrentStep_A
		gain, offset = (1+e.ShuntGain)*shunt/sim.Shunt_Ohm, e.ShuntOffset_V/sim.Shunt_Ohm
	}
	refGain, refOffset := c.draw(rng, c.meter.Gain), c.draw(rng, c.meter.Offset)
	var points []calibrate.Point
	for i := range c.points {
		// A hand sets a load to about a value: currents from nought to 15 A,
		// voltages from 6 to 16 V.
		var value float64
		zero := !c.voltage && i == 0
		switch share := float64(i) / float64(c.points-1); {
		case c.voltage:
			value = 6 + 10*share + within(0.3)
		case !zero:
			value = 15*share + within(0.4)
		}
		set(value)
		var xs []float64
		require.NoError(t, r.Sampler.Start())
		for s := (rig.Sample{}); len(xs) < 100; {
			require.NoError(t, r.Sampler.Next(&s))
			x := s.Current_A
			if c.voltage {
				x = s.Supply_V
			}
			if !math.IsNaN(x) {
				xs = append(xs, x)
			}
		}
		require.NoError(t, r.Sampler.Stop())
		shown := 0.0
		if !zero {
			shown = value*(1+refGain) + refOffset + 0.3*c.meter.Digit*rng.NormFloat64()
			shown = math.Round(shown/c.meter.Digit) * c.meter.Digit
		}
		// The first reading may have begun before the change.
		p := calibrate.Take(xs[1:], steps, shown, zero)
		points = append(points, p)
	}
	l, err = calibrate.Fit(points, c.meter)
	require.NoError(t, err)
	return l, gain, offset
}

// A thousand simulated calibrations of each kind (two hundred in a sample), with
// shunt, chip, divider and reference drawn anew: how often the stated intervals
// hold the true gain and offset. A certificate's k says that its errors are
// near normal; limits of a data sheet are taken as uniform. What happens when
// they are not, and with few points, stands beside it without a bar.
func TestCampaignCalibration(t *testing.T) {
	n := 1000
	switch campaign() {
	case "full":
	case "sample":
		n = 200
	default:
		n = 10
	}
	for k, c := range []calibrated{
		{name: "current, 9 points, certificate", points: 9, meter: ammeter},
		{name: "current, 5 points, certificate", points: 5, meter: ammeter},
		{name: "current, 3 points, certificate", points: 3, meter: ammeter, noBar: true},
		{name: "current, 9 points, data-sheet limits", points: 9, meter: limits(ammeter), uniform: true},
		{name: "current, 5 points, data-sheet limits", points: 5, meter: limits(ammeter), uniform: true},
		{name: "current, 9 points, certificate, errors uniform", points: 9, meter: ammeter, uniform: true, noBar: true},
		{name: "current, 9 points, limits, errors normal", points: 9, meter: limits(ammeter), noBar: true},
		{name: "voltage, 9 points, certificate", voltage: true, points: 9, meter: voltmeter},
		{name: "voltage, 5 points, certificate", voltage: true, points: 5, meter: voltmeter},
		{name: "voltage, 3 points, certificate", voltage: true, points: 3, meter: voltmeter, noBar: true},
		{name: "voltage, 9 points, data-sheet limits", voltage: true, points: 9, meter: limits(voltmeter), uniform: true},
		{name: "voltage, 9 points, certificate, errors uniform", voltage: true, points: 9, meter: voltmeter, uniform: true, noBar: true},
	} {
		var gains, offsets, refused int
		var halfGain, halfOffset []float64
		for i := range n {
			l, gain, offset := c.once(t, uint64(k*100_000+i+1))
			if l.Gain.Covers(gain) {
				gains++
			}
			if l.Offset.Covers(offset) {
				offsets++
			}
			if l.Refused() != nil {
				refused++
			}
			halfGain, halfOffset = append(halfGain, l.Gain.Half), append(halfOffset, l.Offset.Half)
		}
		g, o := trial.NewRate(gains, n), trial.NewRate(offsets, n)
		unit := "mA"
		if c.voltage {
			unit = "mV"
		}
		fmt.Printf("%-48s gain %4d of %d %s ±%.3f %%; offset %4d %s ±%.2f %s; refused %d\n", c.name,
			gains, n, g, 100*stat.Median(halfGain), offsets, o, 1e3*stat.Median(halfOffset), unit, refused)
		if c.noBar {
			continue
		}
		for what, rate := range map[string]trial.Rate{"gain": g, "offset": o} {
			if n >= 1000 {
				assert.GreaterOrEqual(t, *rate.Share, leastHeld, "%s: %s", c.name, what)
				assert.LessOrEqual(t, *rate.Share, mostHeld, "%s: %s", c.name, what)
			} else {
				assert.LessOrEqual(t, *rate.Low, mostHeld, "%s: %s", c.name, what)
				assert.GreaterOrEqual(t, *rate.High, leastHeld, "%s: %s", c.name, what)
			}
		}
		mostly, _ := stat.ClopperPearson(refused, n, 0.95)
		assert.LessOrEqual(t, mostly, 0.03, "%s: good calibrations refused", c.name)
	}
}
