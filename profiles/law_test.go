package profiles

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Thresholds of two published laws and of two by another source. They are
// data: one and the same code serves all four.
//
// heating and solar: published sheet on PWM control of circulating pumps,
// thresholds as reprinted in several makers' manuals (input profiles A and C).
// Between the points the manuals draw a straight line. The sheet itself was
// not in reach.
//
// heating 1 and solar 2: a second set, as printed in one maker's manuals
// (profiles 1 and 2), whose minimum when starting begins later than when
// running.
//
// The speed at minimum is the type's own; 20 % here.
var laws = map[string]Command{
	"heating": {Inverted: true, Wake_pct: 20, Full_pct: 100, Reserved: []Window{{0, 2}, {91, 95}},
		Law: []LawPoint{{0, 100}, {10, 100}, {84, 20}, {91, 20}, {95, 0}, {100, 0}}},
	"solar": {Wake_pct: 20, Full_pct: 100, Reserved: []Window{{5, 8}},
		Law: []LawPoint{{0, 0}, {5, 0}, {8, 20}, {15, 20}, {90, 100}, {100, 100}}},
	"heating 1": {Inverted: true, Wake_pct: 20, Full_pct: 100, Reserved: []Window{{88, 93}},
		Law: []LawPoint{{0, 100}, {5, 100}, {85, 20}, {88, 20}, {93, 0}, {100, 0}}},
	"solar 2": {Wake_pct: 20, Full_pct: 100, Reserved: []Window{{7, 12}},
		Law: []LawPoint{{0, 0}, {7, 0}, {12, 20}, {15, 20}, {95, 100}, {100, 100}}},
}

func TestCommandOf(t *testing.T) {
	for _, c := range []struct {
		law           string
		line, command float64
	}{
		// Heating: d <= 10 maximum; 10 < d <= 84 variable, falling; 84 < d <= 91
		// minimum; 95 < d <= 100 standby. 47 is the middle of 10..84.
		{"heating", 0, 100}, {"heating", 5, 100}, {"heating", 10, 100}, {"heating", 47, 60}, {"heating", 84, 20},
		{"heating", 91, 20}, {"heating", 95, 0}, {"heating", 96, 0}, {"heating", 100, 0},
		// Solar: d <= 5 standby; 8 < d <= 15 minimum; 15 < d <= 90 variable,
		// rising; 90 < d <= 100 maximum. 52.5 is the middle of 15..90.
		{"solar", 0, 0}, {"solar", 5, 0}, {"solar", 8, 20}, {"solar", 15, 20}, {"solar", 52.5, 60}, {"solar", 90, 100},
		{"solar", 95, 100}, {"solar", 100, 100},
		// Second set: heating maximum below 5, falling 5..85, minimum to 93 when
		// running (85..88 when starting), stop 93..100.
		{"heating 1", 4, 100}, {"heating 1", 45, 60}, {"heating 1", 85, 20}, {"heating 1", 88, 20}, {"heating 1", 93, 0},
		// Solar stop 0..7, minimum 12..15 when starting, rising 15..95, maximum.
		{"solar 2", 7, 0}, {"solar 2", 12, 20}, {"solar 2", 15, 20}, {"solar 2", 55, 60}, {"solar 2", 95, 100}, {"solar 2", 97, 100},
	} {
		assert.InDelta(t, c.command, laws[c.law].CommandOf(c.line), 1e-9, "%s at %v %%", c.law, c.line)
	}
}

func TestLineDuty(t *testing.T) {
	for _, c := range []struct {
		law           string
		command, line float64
	}{
		{"heating", 100, 6}, // middle of 2..10, clear of the window next to 0
		{"heating", 60, 47}, // middle speed, middle of 10..84
		{"heating", 20, 87.5},
		{"heating", 0, 97.5},
		{"heating", 12, 87.5}, // below minimum there is no steady speed: the nearer end
		{"heating", 8, 97.5},
		{"heating", 150, 6},
		{"heating", -5, 97.5},
		{"solar", 100, 95},
		{"solar", 60, 52.5},
		{"solar", 20, 11.5},
		{"solar", 0, 2.5},
		{"heating 1", 100, 2.5},
		{"heating 1", 60, 45},
		{"heating 1", 20, 86.5},
		{"heating 1", 0, 96.5},
		{"solar 2", 100, 97.5},
		{"solar 2", 60, 55},
		{"solar 2", 20, 13.5},
		{"solar 2", 0, 3.5},
	} {
		assert.InDelta(t, c.line, laws[c.law].LineDuty(c.command), 1e-9, "%s, command %v %%", c.law, c.command)
	}
}

func TestLineDutyWithoutLaw(t *testing.T) {
	assert.InDelta(t, 30, Command{}.LineDuty(30), 0)
	assert.InDelta(t, 70, Command{Inverted: true}.LineDuty(30), 0)
	assert.InDelta(t, 30, Command{Inverted: true}.CommandOf(70), 0)
	assert.True(t, math.IsNaN(laws["solar"].CommandOf(math.NaN())))
}

// A line duty that a test drives means the command again, and is clear of the
// windows, whichever law.
func TestLineDutyProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for name, c := range laws {
		for range 5000 {
			command := 20 + 80*r.Float64()
			line := c.LineDuty(command)
			require.InDelta(t, command, c.CommandOf(line), 1e-9, name)
			require.False(t, c.Reserves(line), "%s: %v %% lies in a window", name, line)
			require.False(t, c.Reserves(c.LineDuty(20*r.Float64())), name)
		}
	}
}

func TestReserves(t *testing.T) {
	c := Command{Reserved: []Window{{0, 5}, {40, 50}, {95, 100}}}
	for line, want := range map[float64]bool{0: true, 3: true, 5: false, 20: false, 40: false, 45: true, 50: false, 95: false, 96: true, 100: true} {
		assert.Equal(t, want, c.Reserves(line), "%v %%", line)
	}
	from, to := c.clear(0, 100)
	assert.Equal(t, [2]float64{50, 95}, [2]float64{from, to}, "the longest free part")
	from, to = c.clear(41, 49)
	assert.Equal(t, [2]float64{41, 49}, [2]float64{from, to}, "none is free")
}
