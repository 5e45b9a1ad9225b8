package stat

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestWholePercent(t *testing.T) {
	for share, want := range map[float64]int{0: 0, 1: 100, 0.001: 1, 1e-300: 1, 0.004999: 1, 0.005: 1, 0.0149: 1, 0.015: 2,
		0.5: 50, 0.984: 98, 0.995: 99, 0.9999: 99, math.Nextafter(1, 0): 99} {
		assert.Equal(t, want, WholePercent(share), "%g", share)
	}
	assert.Zero(t, WholePercent(math.NaN()))
}
