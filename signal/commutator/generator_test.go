package commutator

import (
	"math"
	"math/rand/v2"
)

// motor makes the current of an invented brushed motor from cusps: between two
// commutations the current bulges as the top of a rectified sine does. It shares
// nothing with the simulated units of the bench.
type motor struct {
	perTurn  int
	hz       float64 // of the ripple, at the middle
	drift    float64 // of the speed over the block, a share
	wander   float64 // slow swing of the speed, a share
	mean     float64 // A
	depth    float64 // A, from cusp to top
	scale    []float64
	once     float64 // A, peak
	twice    float64
	pulse    float64 // A, twice a turn, as wide as one ripple: an open coil's
	slope    float64 // A over the block
	noise    float64 // A, standard deviation
	step     float64 // A, of the converter
	chopped  float64 // A, peak to peak of the triangle that PWM leaves
	pwm_Hz   float64
	filter   float64 // Hz, first order; 0 none
	fineness int     // points for each sample, for the filter
}

// line is the amplitude of the ripple's fundamental: a cusp of |sin| kind, of
// height 1 from cusp to top, has 4/(3π).
func (m motor) line() float64 { return m.depth * 4 / (3 * math.Pi) }

func (m motor) samples(rate_Hz, seconds float64, r *rand.Rand) []float64 {
	n := int(rate_Hz * seconds)
	out := make([]float64, n)
	start, phase, chop := r.Float64(), r.Float64(), r.Float64()
	fine := max(1, m.fineness)
	state, ready := 0.0, false
	for i := range out {
		for j := range fine {
			t := (float64(i) + float64(j+1)/float64(fine)) / rate_Hz
			mid := t/seconds - 0.5
			turns := m.hz * seconds / float64(m.perTurn) * (mid + m.drift*(mid*mid-0.25)/2)
			turns += m.wander * m.hz / float64(m.perTurn) * math.Sin(2*math.Pi*(1.7*t+phase)) / (2 * math.Pi * 1.7)
			turns += start + 1000
			part := turns * float64(m.perTurn)
			k := (int(math.Floor(part))%m.perTurn + m.perTurn) % m.perTurn
			bulge := math.Sin(math.Pi * (part - math.Floor(part)))
			if m.scale != nil {
				bulge *= m.scale[k]
			}
			v := m.mean + m.slope*mid + m.depth*bulge + m.once*math.Cos(2*math.Pi*turns) + m.twice*math.Cos(4*math.Pi*turns)
			if m.pulse != 0 && (k == 0 || k == m.perTurn/2) {
				v += m.pulse * math.Sin(math.Pi*(part-math.Floor(part)))
			}
			if m.pwm_Hz > 0 {
				v += m.chopped * (math.Abs(2*frac(t*m.pwm_Hz+chop)-1) - 0.5)
			}
			if m.filter > 0 {
				if !ready {
					state, ready = v, true
				}
				state += (v - state) * -math.Expm1(-2*math.Pi*m.filter/rate_Hz/float64(fine))
				v = state
			}
			out[i] = v
		}
		out[i] += m.noise * r.NormFloat64()
		if m.step > 0 {
			out[i] = m.step * math.Round(out[i]/m.step)
		}
	}
	return out
}

func frac(x float64) float64 { return x - math.Floor(x) }

// quiet gives noise such that the ripple's line has this power over all of it.
func (m motor) quiet(band_dB float64) motor {
	m.noise = m.line() / math.Sqrt2 * math.Pow(10, -band_dB/20)
	return m
}
