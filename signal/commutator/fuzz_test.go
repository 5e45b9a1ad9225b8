package commutator

import (
	"encoding/binary"
	"math"
	"testing"
)

// Whatever the samples are, an answer is finite, below 0.4 of the rate, and no
// faster than stated.
func FuzzSpeed(f *testing.F) {
	m := motor{perTurn: 12, hz: 600, mean: 1.6, depth: 0.08}.quiet(15)
	var seed []byte
	for _, v := range m.samples(5000, 0.1, source(9)) {
		seed = binary.LittleEndian.AppendUint16(seed, uint16(int16(v*1000)))
	}
	f.Add(seed, 5000.0, 12, 4000.0, 3000.0, 0.0)
	f.Add(seed, 1000.0, 6, 0.0, 0.0, 490.0)
	f.Add([]byte{1, 2, 3}, 1.0, 0, math.Inf(1), math.NaN(), 1e300)
	f.Fuzz(func(t *testing.T, data []byte, rate float64, perTurn int, fastest, expected, pwm float64) {
		if len(data) > 4000 {
			return
		}
		x := make([]float64, len(data)/2)
		for i := range x {
			x[i] = float64(int16(binary.LittleEndian.Uint16(data[2*i:]))) / 1000
		}
		o := Options{PerTurn: perTurn, Fastest_rpm: fastest, Expected_rpm: expected, Within: 1.6, PWM_Hz: pwm, PWM_U: 1e-4}
		r, err := Speed(x, rate, o)
		if err != nil {
			return
		}
		for _, v := range []float64{r.Speed_rpm.Value, r.Speed_rpm.U(), r.Amplitude, r.SNR_dB, r.Band_dB, r.Drift} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Fatalf("%+v", r)
			}
		}
		if r.Ripple_Hz > usable*rate || !(r.Ripple_Hz > 0) {
			t.Fatalf("%g Hz at a rate of %g", r.Ripple_Hz, rate)
		}
		if turn, err := Average(x, rate, perTurn, r); err == nil && len(turn.Ripples) != perTurn {
			t.Fatalf("%d ripples", len(turn.Ripples))
		}
	})
}
