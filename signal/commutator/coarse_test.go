package commutator

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// Lower orders of a turn whose ripple sampling hides, at 1 kHz: every one has a comb
// that fits what is seen, and none may pass for the ripple.
func TestCoarseComb(t *testing.T) {
	for _, c := range []struct {
		name    string
		perTurn int
		turn    float64 // Hz
		orders  []int   // that are seen
		taken   int     // for the ripple
		fastest float64 // of the ripple, Hz
		refused bool
	}{
		{"sixth of twelve, ripple at 527 Hz", 12, 44, []int{1, 2, 3, 4, 5, 6, 7, 8, 9}, 6, 560, true},
		{"fourth of six, two missing, ripple at 530 Hz", 6, 88.4, []int{2, 4}, 4, 560, true},
		{"second of six, ripple at 493 Hz", 6, 82.2, []int{1, 2, 3, 4, 5}, 2, 560, true},
		{"tenth of 44, ripple at 597 Hz", 44, 13.6, []int{1, 2, 4, 6, 8, 10, 12, 16, 18, 20}, 10, 660, true},
		{"ripple at 300 Hz", 12, 25, []int{1, 2, 3, 6, 8, 12}, 12, 700, false},
		{"ripple at 300 Hz, an open coil, no faster than 450 Hz", 12, 25, []int{2, 4, 6, 8, 10, 12}, 12, 450, false},
		{"ripple at 300 Hz, an open coil, or 600 Hz", 12, 25, []int{2, 4, 6, 8, 10, 12}, 12, 700, true},
		{"ripple alone", 12, 25, []int{12}, 12, 700, false},
	} {
		o := Options{PerTurn: c.perTurn, Fastest_rpm: 60 * c.fastest / float64(c.perTurn)}
		var list []line
		var l line
		for _, n := range c.orders {
			q := line{bin: 10 * n, hz: c.turn * float64(n), u_Hz: 0.02, amp: 0.1, energy: 1e3}
			if n == c.taken {
				l = q
			}
			list = append(list, q)
		}
		err := o.coarse(l, list, 1000)
		if c.refused {
			assert.ErrorIs(t, err, ErrUnclear, c.name)
		} else {
			assert.NoError(t, err, c.name)
		}
	}
}

// A motor near half the sampling rate whose speed moves: its ripple is folded and
// drifts against the orders below it, so those are all that stands out plainly.
func TestMovingRippleNearHalfTheRate(t *testing.T) {
	for seed := range uint64(4) {
		r := source(100 + seed)
		m := motor{perTurn: 12, hz: 5300, mean: 1.6, depth: 0.1, drift: 0.12, scale: make([]float64, 12)}.quiet(24)
		for i := range m.scale {
			m.scale[i] = 0.7 + 0.6*r.Float64()
		}
		got, err := Speed(m.samples(10e3, 1, r), 10e3, Options{PerTurn: 12, Fastest_rpm: 5 * 5300 * 1.07})
		assert.Error(t, err, "%g Hz", got.Ripple_Hz)
	}
}
