package run

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/guard"
	"dutybench/bench/result"
)

// held is a switch in the hands of another process, which is lost at a rig
// time.
type held struct {
	guard.Switch
	now func() time.Duration
	at  time.Duration
	err error
}

func (h *held) lost() error {
	if h.now() >= h.at {
		return h.err
	}
	return nil
}

func (h *held) Renew(time.Duration) error { return h.lost() }

func (h *held) Set(p guard.Path, lease time.Duration) error {
	if err := h.lost(); err != nil && p != guard.NoPath {
		return err
	}
	return h.Switch.Set(p, lease)
}

// stale is a guard process that did not get its turn.
type stale struct{}

func (stale) Error() string        { return "guard: it says nothing for 150ms" }
func (stale) Is(target error) bool { return target == guard.ErrLate }

// A busy computer is not looked for in the rig's wires.
func TestBusyComputerIsNamed(t *testing.T) {
	for _, at := range []time.Duration{0, 900 * ms} { // closing the switch, and holding it
		b := newBench(t, steady, nil)
		b.rig.Switch = &held{Switch: b.rig.Switch, now: b.rig.Clock.Now, at: at, err: stale{}}
		out, _ := Run(t.Context(), b.rig, short(), profile(), Options{})
		require.NotNil(t, out)
		require.NotEmpty(t, out.Faults)
		assert.Equal(t, result.Bench, out.Faults[0].Cause)
		assert.Contains(t, out.Faults[0].Next, "too busy: end other programs")
		assert.Contains(t, out.Faults[0].Next, "priority")
		assert.NotContains(t, out.Ended, "pins")
	}
}

func TestSwitchThatIsLost(t *testing.T) {
	told := fmt.Errorf("%w: interrupt", guard.ErrSignalled)
	for _, c := range []struct {
		name   string
		at     time.Duration
		err    error
		cancel bool
	}{
		{"the guard process is gone while the supply is on", 900 * ms, errors.New("guard: it has ended"), false},
		{"it is told to end while the supply is on", 900 * ms, told, true},
		{"it is told to end before the supply is on", 0, told, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t, steady, nil)
			b.rig.Switch = &held{Switch: b.rig.Switch, now: b.rig.Clock.Now, at: c.at, err: c.err}
			p, plan := profile(), short()
			out, err := Run(t.Context(), b.rig, plan, p, Options{})
			require.NotNil(t, out)
			assert.False(t, b.World.Energised())
			require.NotNil(t, out.Trip)
			if c.cancel {
				require.ErrorIs(t, err, context.Canceled)
				assert.Equal(t, guard.Cancelled, out.Trip.Rule)
				assert.Empty(t, out.Faults)
				return
			}
			require.NoError(t, err)
			assert.Equal(t, guard.Lost, out.Trip.Rule)
			require.Len(t, out.Faults, 1)
			assert.Equal(t, result.Bench, out.Faults[0].Cause, "never the unit")
		})
	}
}
