package run

import "time"

// RealTime is a pace that keeps rig time to real time: it sleeps until as
// much real time has passed since its first call as rig time has.
func RealTime(now func() time.Time, sleep func(time.Duration)) func(elapsed time.Duration) {
	var start time.Time
	var from time.Duration
	return func(elapsed time.Duration) {
		if start.IsZero() {
			start, from = now(), elapsed
			return
		}
		if ahead := elapsed - from - now().Sub(start); ahead > 0 {
			sleep(ahead)
		}
	}
}
