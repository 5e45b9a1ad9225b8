package main

import (
	"bytes"
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/rig"
)

func TestUnitRests(t *testing.T) {
	t.Parallel()
	p, _, err := loadProfile(defaultProfile)
	require.NoError(t, err)
	require.Equal(t, 30*time.Second, p.Limits.Rest)
	cases := []struct {
		name   string
		rig    string
		rested time.Duration
		slept  time.Duration
		cancel bool
	}{
		{name: "just tested", rig: "bench", rested: 4500 * time.Millisecond, slept: 25500 * time.Millisecond},
		{name: "rested", rig: "bench", rested: 30 * time.Second},
		{name: "never tested here, or the clock is not set", rig: "bench"},
		{name: "a simulated one", rig: rig.Sim, rested: time.Second},
		{name: "cancelled", rig: "bench", rested: time.Second, slept: 3 * time.Second, cancel: true},
	}
	for _, c := range cases {
		var msg bytes.Buffer
		var slept time.Duration
		ctx, cancel := context.WithCancel(context.Background())
		x := &test{profile: p, rig: &rig.Rig{Name: c.rig}, rested: c.rested, flags: runFlags{unit: "A17"}, app: &app{env: env{stderr: &msg,
			isTerminal: func(any) (int, bool) { return 80, true },
			interrupt:  func(ctx context.Context) (context.Context, context.CancelFunc) { return ctx, func() {} },
			sleep: func(d time.Duration) {
				if slept += d; c.cancel && slept >= 3*time.Second {
					cancel()
				}
			}}}}
		err := x.rest(ctx)
		cancel()
		assert.Equal(t, c.slept, slept, c.name)
		assert.Equal(t, c.rested+c.slept, x.rested, c.name)
		assert.Equal(t, c.slept > 0, msg.Len() > 0, c.name)
		if c.cancel {
			require.ErrorIs(t, err, context.Canceled, c.name)
			continue
		}
		require.NoError(t, err, c.name)
		if c.slept > 0 {
			assert.Contains(t, msg.String(), "A17 was last tested 5s ago", c.name)
		}
	}
}
