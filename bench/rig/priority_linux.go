package rig

import (
	"fmt"
	"runtime"

	"golang.org/x/sys/unix"
)

// realTime is the priority asked for: 40 of 1 to 99, chosen, above all usual
// work and below the kernel's own interrupt threads, which run at 50
// (Documentation/scheduler, from memory).
const realTime = 40

// Prioritise ties the calling goroutine to its thread and asks the kernel to
// run that before all usual work, so that samples are not lost to others. It
// says for the record what came of it. It holds for the goroutine's life;
// processes started from it get the usual priority.
//
// On one processor it stays as it is: what samples would keep this process's
// own other threads from their turn, and with them the watch over the guard
// process (0.65 to 2.2 s were measured until one that was stopped was noticed).
//
// Memory is not locked: Go reserves far more than a board has, and the pages
// that sampling touches are in constant use. The garbage collector stays as it
// is: sampling allocates nothing, so that it hardly runs, and what it stops
// for, well below a millisecond, shows as a lost sample if at all; switched
// off, a long test on a small board could run out of memory with the supply
// on.
func Prioritise() string { return prioritise(runtime.NumCPU()) }

func prioritise(processors int) string {
	runtime.LockOSThread()
	if processors < 2 {
		return "usual, as this computer has one processor and the watch over the guard process needs its turn: samples may be lost under load"
	}
	err := unix.SchedSetAttr(0, &unix.SchedAttr{Policy: unix.SCHED_FIFO, Priority: realTime, Flags: unix.SCHED_FLAG_RESET_ON_FORK}, 0)
	if err != nil {
		return fmt.Sprintf("usual (%v): samples may be lost under load; allow more with LimitRTPRIO=%d in the service unit, or a line \"@gpio - rtprio %d\" in limits.conf", err, realTime, realTime)
	}
	return fmt.Sprintf("real-time, %d", realTime)
}
