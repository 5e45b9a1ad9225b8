package store

import (
	"time"

	"golang.org/x/sys/unix"
)

// sinceBoot is the time since the machine's start; 0 where it is not known.
// CLOCK_BOOTTIME goes on while the machine sleeps (clock_gettime(2)).
func sinceBoot() time.Duration {
	var t unix.Timespec
	if unix.ClockGettime(unix.CLOCK_BOOTTIME, &t) != nil {
		return 0
	}
	return time.Duration(t.Nano())
}
