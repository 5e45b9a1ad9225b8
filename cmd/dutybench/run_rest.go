package main

import (
	"context"
	"fmt"
	"strings"
	"time"
)

// rest waits until the unit has had the profile's rest since the last test that
// the store has of it: the guard reckons its heat from nought. What the record of
// a test says is when it ended, of an interrupted one when it began. A simulated
// unit is a new one each time and does not wait.
func (t *test) rest(ctx context.Context) error {
	left := t.profile.Limits.Rest - t.rested
	if t.simulated() || t.rested <= 0 || left <= 0 {
		return nil
	}
	ctx, stop := t.interrupt(ctx)
	defer stop()
	fmt.Fprintf(t.stderr, "dutybench: %s was last tested %v ago; it rests for %v before the supply goes on.\n",
		t.flags.unit, t.rested.Round(time.Second), left.Round(time.Second))
	width, terminal := t.isTerminal(t.stderr)
	for left > 0 {
		if ctx.Err() != nil {
			return fmt.Errorf("the wait for the unit's rest was cancelled, so nothing was switched on: run the test again: %w", context.Cause(ctx))
		}
		if terminal && width > 0 {
			fmt.Fprintf(t.stderr, "\r%4.0f s of rest left ", left.Seconds())
		}
		nap := min(left, time.Second)
		t.sleep(nap)
		left -= nap
		t.rested += nap
	}
	if terminal && width > 0 {
		fmt.Fprintf(t.stderr, "\r%s\r", strings.Repeat(" ", len("   0 s of rest left ")))
	}
	return nil
}
