package solenoid

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/profiles"
)

func like(s Section, hertz float64) *profiles.Profile {
	return &profiles.Profile{Kind: "solenoid", Section: &s, Command: profiles.Command{Type: profiles.Switched, Frequency_Hz: hertz, Wake_pct: 20, Full_pct: 100}}
}

// Every plan begins without supply, then rests with it; ends at rest; and chops
// only what may be chopped.
func TestPlan(t *testing.T) {
	for name, c := range map[string]struct {
		p     *profiles.Profile
		swept bool
		long  time.Duration
	}{
		"on-off":                 {like(Section{Type: onOff}, 0), false, 4 * time.Second},
		"proportional":           {like(Section{Type: proportional, Dither: true}, 200), true, 8 * time.Second},
		"without dither":         {like(Section{Type: proportional}, 200), false, 4 * time.Second},
		"without a frequency":    {like(Section{Type: proportional, Dither: true}, 0), false, 4 * time.Second},
		"unknown":                {like(Section{Type: unknownType}, 200), false, 4 * time.Second},
		"with pulses of its own": {like(Section{Type: onOff, Pulse: 1}, 0), false, 11 * time.Second},
	} {
		plan := Kind{}.Plan(c.p)
		require.False(t, plan.Steps[0].Supply, name)
		require.True(t, plan.Steps[1].Supply, name)
		require.Zero(t, plan.Steps[1].Command_pct, name)
		require.Zero(t, plan.Steps[len(plan.Steps)-1].Command_pct, name)
		assert.LessOrEqual(t, plan.Longest(), c.long, name)
		swept := false
		for _, s := range plan.Steps {
			assert.Equal(t, s.Min, s.Max, name)
			swept = swept || s.Command_pct > 0 && s.Command_pct < 100
		}
		assert.Equal(t, c.swept, swept, name)
		quick := Kind{}.Quick(c.p)
		asked := 0
		for i, s := range quick.Steps {
			if s.Ask {
				asked++
				assert.GreaterOrEqual(t, i, 8, "%s: three pulses first", name)
				assert.Equal(t, !c.swept, s.Suffices, name)
			}
		}
		assert.Positive(t, asked, name)
	}
}
