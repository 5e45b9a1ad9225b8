package period

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

// coil is R and L in series under PWM with a diode across it, in its periodic
// state: i' = (u-R·i)/L, u the supply or less the diode's drop.
type coil struct {
	ohm, henry, supply_V, diode_V, freq_Hz, duty float64
}

// ends are the least and the most current in a period; least is 0 in
// discontinuous conduction.
func (c coil) ends() (least, most float64) {
	a, b, τ, T := c.supply_V/c.ohm, -c.diode_V/c.ohm, c.henry/c.ohm, 1/c.freq_Hz
	up, down := math.Exp(-c.duty*T/τ), math.Exp(-(1-c.duty)*T/τ)
	most = (a*(1-up) + b*(1-down)*up) / (1 - up*down)
	least = b + (most-b)*down
	if least < 0 {
		return 0, a * (1 - up)
	}
	return least, most
}

// at is the current, and that of the supply, at a place in the period, 0 to 1.
func (c coil) at(phase float64) (unit, supply float64) {
	least, most := c.ends()
	a, b, τ, T := c.supply_V/c.ohm, -c.diode_V/c.ohm, c.henry/c.ohm, 1/c.freq_Hz
	if phase < c.duty {
		i := a + (least-a)*math.Exp(-phase*T/τ)
		return i, i
	}
	return max(0, b+(most-b)*math.Exp(-(phase-c.duty)*T/τ)), 0
}

// means are the unit's and the supply's: over a period the coil has no mean
// voltage, so that the unit's is that of what drives it; where its current
// comes to nought, the diode drives for as long as it flows.
func (c coil) means() (unit, supply float64) {
	least, most := c.ends()
	a, b, τ, T := c.supply_V/c.ohm, -c.diode_V/c.ohm, c.henry/c.ohm, 1/c.freq_Hz
	supply = (a*c.duty*T + (least-a)*τ*(1-math.Exp(-c.duty*T/τ))) / T
	flows := 1 - c.duty
	if least == 0 {
		flows = min(flows, τ/T*math.Log((most-b)/-b))
	}
	return (c.supply_V*c.duty - c.diode_V*flows) / c.ohm, supply
}

// sampled is what a converter of a rate shows, with noise, from a phase on.
func (c coil) sampled(rate_Hz, span_s, phase, noise_A float64, seen bool, r *rand.Rand) (t, x []float64) {
	for i := range int(span_s * rate_Hz) {
		u := float64(i) / rate_Hz
		_, at := math.Modf(u*c.freq_Hz + phase)
		unit, supply := c.at(at)
		if !seen {
			unit = supply
		}
		t, x = append(t, u), append(x, unit+noise_A*r.NormFloat64())
	}
	return t, x
}

func (c coil) pwm(seen bool, rate_Hz float64) PWM {
	p := PWM{Frequency_Hz: c.freq_Hz, Tolerance: 1e-4, Duty_pct: 100 * c.duty, Rate_Hz: rate_Hz, Recirculation: Unseen}
	if seen {
		p.Recirculation = Seen
	}
	return p
}

// The closed form itself: over a period the coil's voltage has no mean.
func TestClosedForm(t *testing.T) {
	c := coil{10, 0.04, 12, 0.7, 1000, 0.3}
	var sum, supply float64
	const n = 100_000
	for i := range n {
		u, s := c.at((float64(i) + 0.5) / n)
		sum, supply = sum+u/n, supply+s/n
	}
	unit, ofSupply := c.means()
	assert.InDelta(t, unit, sum, 1e-6)
	assert.InDelta(t, ofSupply, supply, 1e-6)
	least, most := c.ends()
	assert.InDelta(t, RippleOf(12, 0.7, 30, 1000, 0.04), most-least, 0.02*(most-least))
	assert.GreaterOrEqual(t, RippleOf(12, 0.7, 30, 1000, 0.04), most-least)
}

// Means and ripple of a coil lie within their own uncertainty of the closed
// form, wherever in the period the window begins.
func TestCoil(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 6))
	for _, freq := range []float64{50, 100, 333, 1000, 2500, 3100, 7000, 11_300, 25_000} {
		for _, duty := range []float64{0.15, 0.5, 0.8} {
			for _, seen := range []bool{true, false} {
				c := coil{10, 0.04, 12, 0.7, freq, duty}
				least, most := c.ends()
				unit, supply := c.means()
				shunt := supply
				if seen {
					shunt = unit
				}
				t.Run(fmt.Sprintf("%g Hz/%g/%v", freq, duty, seen), func(t *testing.T) {
					for range 12 {
						ts, xs := c.sampled(20e3, 0.25+0.02*r.Float64(), r.Float64(), 0.002, seen, r)
						m := Over(ts, xs, 0, 1, c.pwm(seen, 20e3))
						if !seen && freq == 25_000 && duty != 0.5 {
							require.Contains(t, m.Why, "in step", "at four places in the period")
							continue
						}
						require.Empty(t, m.Why)
						assert.InDelta(t, 0, (m.Shunt.Value-shunt)/m.Shunt.U(), 3.5, "shunt %g of %g ± %g", m.Shunt.Value, shunt, m.Shunt.U())
						assert.Less(t, m.Shunt.U(), 0.003+0.11*most*float64(freq)/20e3, "says enough")
						if seen || least > 0.3*most {
							require.Empty(t, m.NoUnit)
							assert.InDelta(t, 0, (m.Unit.Value-unit)/m.Unit.U(), 3.5, "unit %g of %g ± %g", m.Unit.Value, unit, m.Unit.U())
						}
						if least == 0 && !seen {
							assert.NotEmpty(t, m.NoUnit, "nothing tells what flows while the switch is open")
							assert.True(t, math.IsNaN(m.Unit.Value))
						}
						if m.NoRipple == "" {
							assert.InDelta(t, 0, (m.Ripple.Value-most+least)/m.Ripple.U(), 3, "ripple %g of %g ± %g", m.Ripple.Value, most-least, m.Ripple.U())
						} else {
							assert.True(t, math.IsNaN(m.Ripple.Value))
						}
					}
				})
			}
		}
	}
}

// The mean does not depend on where in a period the window begins or ends.
func TestPhaseOfTheWindow(t *testing.T) {
	for _, freq := range []float64{100, 970, 4100} {
		c := coil{10, 0.01, 12, 0.7, freq, 0.4}
		ts, xs := c.sampled(20e3, 0.4, 0.2, 0, true, rand.New(rand.NewPCG(1, 1)))
		want, _ := c.means()
		least, most := c.ends()
		for i := range 50 {
			from := float64(i) / 50 / freq * 1.7
			m := Over(ts, xs, from, 0.3+from*0.37, c.pwm(true, 20e3))
			assert.InDelta(t, want, m.Shunt.Value, 0.002*want+0.01*(most-least), "%g Hz from %g s", freq, from)
		}
	}
}

// A frequency off by its tolerance leaves the bias that is said.
func TestTolerance(t *testing.T) {
	for _, off := range []float64{-0.02, 0.013, 0.02} {
		c := coil{10, 0.01, 12, 0.7, 100 * (1 + off), 0.4}
		for i := range 20 {
			ts, xs := c.sampled(20e3, 0.105, float64(i)/20, 0, true, rand.New(rand.NewPCG(1, 1)))
			p := c.pwm(true, 20e3)
			p.Frequency_Hz, p.Tolerance = 100, 0.02
			m := Over(ts, xs, 0, 1, p)
			want, _ := c.means()
			half := m.Shunt.U() * math.Sqrt(3)
			assert.InDelta(t, want, m.Shunt.Value, half)
			assert.Less(t, half, 0.02, "nearly the size of what a part period leaves")
		}
	}
}

// PWM in step with the sampling: refused, or as uncertain as its ripple.
func TestInStep(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 1))
	for _, freq := range []float64{10e3, 20e3, 20_001} {
		c := coil{10, 0.04, 12, 0.7, freq, 0.5}
		want, _ := c.means()
		for i := range 20 {
			ts, xs := c.sampled(20e3, 0.2, float64(i)/20, 0.0005, true, r)
			p := c.pwm(true, 20e3)
			m := Over(ts, xs, 0, 1, p)
			assert.Equal(t, Refused, m.How)
			assert.Contains(t, m.Why, "in step")
			assert.True(t, math.IsNaN(m.Shunt.Value) && math.IsNaN(m.Unit.Value) && math.IsNaN(m.Ripple.Value))
			p.Ripple_A = RippleOf(12, 0.7, 50, freq, 0.04)
			m = Over(ts, xs, 0, 1, p)
			require.Equal(t, InStep, m.How)
			assert.InDelta(t, want, m.Shunt.Value, 2*m.Shunt.U())
			p.Recirculation = Unseen
			assert.Equal(t, Refused, Over(ts, xs, 0, 1, p).How)
		}
	}
}

func TestSteadyThinnedAndShort(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 1))
	c := coil{10, 0.04, 12, 0.7, 1000, 0.5}
	ts, xs := c.sampled(20e3, 0.1, 0, 0.001, true, r)
	on := c.pwm(false, 20e3)
	on.Duty_pct = 100
	m := Over(ts, xs, 0, 1, on)
	assert.Equal(t, Steady, m.How)
	assert.Equal(t, m.Shunt, m.Unit)
	on.Duty_pct = 0
	assert.NotEmpty(t, Over(ts, xs, 0, 1, on).NoUnit, "open and not seen")

	assert.Equal(t, Refused, Over(ts, xs, 0, 0.0004, c.pwm(true, 20e3)).How, "less than a period")
	assert.Equal(t, Refused, Over(ts[:2], xs, 0, 1, c.pwm(true, 20e3)).How)
	assert.Equal(t, Refused, Over(nil, nil, 0, 1, c.pwm(true, 20e3)).How)

	var thin, means []float64 // rows of 5.3 ms
	for i := 0; i+106 <= len(ts); i += 106 {
		var s float64
		for _, v := range xs[i : i+106] {
			s += v / 106
		}
		thin, means = append(thin, ts[i]), append(means, s)
	}
	p := c.pwm(true, 20e3)
	p.Ripple_A = RippleOf(12, 0.7, 50, 1000, 0.04)
	m = Over(thin, means, 0, 1, p)
	require.Equal(t, Thinned, m.How)
	want, _ := c.means()
	assert.InDelta(t, want, m.Unit.Value, 2*m.Unit.U())
}

// Lost samples, times that jitter and values that are none.
func TestHoles(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 1))
	for _, freq := range []float64{100, 1000, 20e3} {
		c := coil{10, 0.04, 12, 0.7, freq, 0.5}
		want, _ := c.means()
		var ts, xs []float64
		for i := range 4000 {
			u := (float64(i) + 0.3*r.Float64()*math.Min(1, 1000/freq*20)) / 20e3
			if freq > 10e3 {
				u = (float64(i) + 0.9*r.Float64()) / 20e3
			}
			_, at := math.Modf(u * freq)
			x, _ := c.at(at)
			if r.IntN(50) == 0 {
				x = math.NaN()
			}
			if i > 1000 && i < 1030 || r.IntN(50) == 0 {
				continue
			}
			ts, xs = append(ts, u), append(xs, x+0.001*r.NormFloat64())
		}
		m := Over(ts, xs, 0, 1, c.pwm(true, 20e3))
		require.Empty(t, m.Why, "%g Hz", freq)
		assert.InDelta(t, want, m.Shunt.Value, 3.5*m.Shunt.U()+1e-3, "%g Hz", freq)
	}
}

func TestOf(t *testing.T) {
	tr := &trace.Trace{Meta: []trace.Entry{{Key: trace.KeyPWM, Value: "400"}, {Key: trace.KeyRecirculation, Value: trace.RecirculationUnseen}, {Key: trace.KeyDutyU, Value: "0.1"}},
		Columns: []trace.Column{{Name: trace.ColTime, Values: []float64{0, 1e-3, 2e-3}}}}
	p := Of(tr, 0.01).At(30)
	assert.Equal(t, PWM{Frequency_Hz: 400, Tolerance: 0.01, Duty_pct: 30, DutyU_pct: 0.1, Recirculation: Unseen, Rate_Hz: 1000}, p)
	assert.True(t, math.IsNaN(Of(&trace.Trace{}, 0).Duty_pct))
	assert.Equal(t, Unknown, Of(&trace.Trace{}, 0).Recirculation)
}

// Whatever the samples are, nothing that is given is without its uncertainty.
func FuzzOver(f *testing.F) {
	f.Add(uint64(1), 1000.0, 50.0, 0.01, 300)
	f.Add(uint64(2), 20e3, 3.0, 0.0, 50)
	f.Fuzz(func(t *testing.T, seed uint64, freq, duty, tol float64, n int) {
		if n < 0 || n > 3000 || !(freq >= 0 && freq < 1e7) || !(tol >= 0 && tol < 1) {
			return
		}
		r := rand.New(rand.NewPCG(seed, 1))
		ts, xs := make([]float64, n), make([]float64, n)
		u := 0.0
		for i := range ts {
			u += r.ExpFloat64() * 5e-5
			ts[i], xs[i] = u, r.NormFloat64()*math.Exp(3*r.NormFloat64())
		}
		m := Over(ts, xs, r.Float64()*0.01, u, PWM{Frequency_Hz: freq, Duty_pct: duty, Tolerance: tol, Recirculation: Recirculation(r.IntN(3)), Rate_Hz: 20e3})
		if (m.Why == "") == math.IsNaN(m.Shunt.Value) || (m.NoUnit == "") == math.IsNaN(m.Unit.Value) || (m.NoRipple == "") == math.IsNaN(m.Ripple.Value) {
			t.Fatalf("%+v", m)
		}
		if m.Why == "" && !(m.Shunt.U() >= 0) || m.NoUnit == "" && !(m.Unit.U() >= 0) {
			t.Fatalf("%+v", m)
		}
	})
}
