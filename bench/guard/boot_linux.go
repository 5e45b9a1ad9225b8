package guard

import "golang.org/x/sys/unix"

// sinceBoot is the time since the machine's start in ns, the same for every
// process: CLOCK_BOOTTIME (clock_gettime(2)). It is monotonic, and goes on
// while the machine sleeps, so that a lease does not outlast that.
func sinceBoot() int64 {
	var t unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &t); err != nil {
		return noTime // every lease is over
	}
	return t.Nano()
}
