package plot

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// An axis that counts has no ticks between whole numbers.
func TestWholeTicks(t *testing.T) {
	for _, c := range []struct {
		low, high float64
		whole     bool
		want      []string
	}{
		{1, 3, true, []string{"1", "2", "3"}},
		{1, 3, false, []string{"1.0", "1.5", "2.0", "2.5", "3.0"}},
		{0, 100, true, []string{"0", "20", "40", "60", "80", "100"}},
		{1.1, 1.4, true, []string{"1.1", "1.2", "1.3", "1.4"}}, // none is whole
	} {
		a := Axis{Range: &Range{c.low, c.high}, Whole: c.whole}
		for name, s := range map[string]Scale{"x": xScale(a, extent{}, 5), "y": yScale(Panel{Y: a}, extent{}, 5)} {
			var got []string
			for _, v := range s.Ticks {
				got = append(got, s.Words(v))
			}
			assert.Equal(t, c.want, got, "%s from %v to %v", name, c.low, c.high)
		}
	}
}
