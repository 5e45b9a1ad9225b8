package guard

import (
	"errors"
	"fmt"
	"os"
	"os/signal"
	"runtime"
	"runtime/debug"
	"syscall"

	"golang.org/x/sys/unix"
)

// The files that a guard process gets from the main process, by descriptor.
const (
	ordersFD  = 3
	reportsFD = 4
	markerFD  = 5 // only when the main process has a marker
)

// realTime is the priority asked for, of 1 to 99: above the main process, so
// that one that spins cannot keep the guard from opening on a board of one
// core (rig.Prioritise asks for 40), and below the kernel's own threads for
// interrupts, which run at 50 (from memory).
const realTime = 45

// ErrUnready says that the guard process could not hold the contacts, and has
// said so to the main process.
var ErrUnready = errors.New("guard: the contacts cannot be held")

// heeded are the signals that would end a process: the guard opens on each.
// The ones that a terminal sends to stop a job are ignored, so that Ctrl-Z
// stops the main process only, and the guard opens. SIGKILL and SIGSTOP cannot
// be had: the main process sees to these.
var heeded = []os.Signal{syscall.SIGTERM, syscall.SIGINT, syscall.SIGHUP, syscall.SIGQUIT, syscall.SIGABRT, syscall.SIGALRM,
	syscall.SIGUSR1, syscall.SIGUSR2, syscall.SIGXCPU, syscall.SIGPWR}

// Serve is the guard process: it opens the contacts first, then carries out
// what comes through the pipe of descriptor 3, says what it did through that
// of descriptor 4, and keeps the marker of descriptor 5 when withMarker is
// set. take gives the contacts; where it fails it leaves open what it could
// get. Serve returns when the main process has said goodbye, is gone, or a
// second signal came; the contacts are then open, or the error says that they
// may not be. Without a farewell nobody else may be there to tidy up.
func Serve(take func() (Contacts, error), withMarker bool) (farewell bool, err error) {
	runtime.LockOSThread()
	signals := make(chan os.Signal, 4)
	signal.Ignore(syscall.SIGTSTP, syscall.SIGTTIN, syscall.SIGTTOU, syscall.SIGPIPE)
	signal.Notify(signals, heeded...)

	w := &wire{orders: ordersFD, reports: reportsFD}
	if err := w.open(); err != nil {
		return false, err
	}
	s := &server{now: sinceBoot, send: w.send}
	if s.c, err = take(); err == nil {
		err = s.start()
	}
	if withMarker && err == nil {
		s.mark = inherited(os.NewFile(markerFD, "marker"))
		err = s.mark.Off()
	}
	if err != nil {
		s.say(report{kind: reportUnready, text: err.Error()})
		return false, fmt.Errorf("%w: %w", ErrUnready, err)
	}
	// Whatever ends this function leaves the contacts open, a panic too.
	defer func() { _ = s.release() }()
	go w.relay(signals)

	s.say(report{kind: reportReady, path: s.c.Switch.Paths(), seq: uint64(s.c.PullIn), text: s.c.Switch.String() + "; " + urgency()})
	err = w.loop(s)
	return s.farewell, err
}

// urgency makes this thread as urgent as it may be, and says what came of it.
// Without garbage no collector runs: the loop makes none while all is well.
func urgency() string {
	debug.SetGCPercent(-1)
	debug.SetMemoryLimit(64 << 20) // should there be garbage after all
	// What is in use stays in memory: a page that has to come from a slow card
	// first may take longer than the lease.
	locked := unix.Mlockall(unix.MCL_CURRENT|unix.MCL_ONFAULT) == nil
	said := "usual priority, no other is allowed"
	if unix.SchedSetAttr(0, &unix.SchedAttr{Size: unix.SizeofSchedAttr, Policy: unix.SCHED_FIFO, Priority: realTime}, 0) == nil {
		said = fmt.Sprintf("real-time priority %d", realTime)
	} else if unix.Setpriority(unix.PRIO_PROCESS, unix.Gettid(), -15) == nil {
		said = "raised priority"
	}
	if locked {
		said += ", memory locked"
	}
	return said
}

// wire is the two pipes, and a third that wakes the loop for a signal.
type wire struct {
	orders, reports int
	wake            [2]int
	signal          chan os.Signal
	in              [64 * orderSize]byte
	frame           [reportSize]byte
	owed            bool // frame says why it opened and did not fit into the pipe
}

func (w *wire) open() error {
	for _, fd := range []int{w.orders, w.reports} {
		var about unix.Stat_t
		if err := unix.Fstat(fd, &about); err != nil || about.Mode&unix.S_IFMT != unix.S_IFIFO {
			return errors.New("guard: this is the process that holds the supply switch; run starts it, a person does not")
		}
		if err := unix.SetNonblock(fd, true); err != nil {
			return fmt.Errorf("guard: pipe %d: %w", fd, err)
		}
	}
	w.signal = make(chan os.Signal, 4)
	return unix.Pipe2(w.wake[:], unix.O_CLOEXEC|unix.O_NONBLOCK)
}

// relay wakes the loop for a signal.
func (w *wire) relay(signals <-chan os.Signal) {
	for s := range signals {
		select {
		case w.signal <- s:
		default: // there are enough of them
		}
		_, _ = unix.Write(w.wake[1], []byte{1})
	}
}

// send never waits: the main process may be stopped. What it does not take is
// lost, but for why the guard opened, which is tried again.
func (w *wire) send(r *report) {
	if w.owed {
		if _, err := unix.Write(w.reports, w.frame[:]); err != nil {
			return
		}
		w.owed = false
	}
	r.put(&w.frame)
	_, err := unix.Write(w.reports, w.frame[:])
	w.owed = err != nil && r.kind == reportOpened
}

// loop runs until the main process is gone or says goodbye. What has come is
// read before the lease is looked at, so that a guard that is itself late
// takes a renewal that was sent in time; as leases end at absolute times, one
// that lay there for longer helps nothing.
func (w *wire) loop(s *server) error {
	fds := [...]unix.PollFd{{Fd: int32(w.orders), Events: unix.POLLIN}, {Fd: int32(w.wake[0]), Events: unix.POLLIN}}
	for {
		next := s.tick()
		wait := unix.NsecToTimespec(max(next-s.now(), 0))
		fds[0].Revents, fds[1].Revents = 0, 0
		if _, err := unix.Ppoll(fds[:], &wait, nil); err != nil && !errors.Is(err, unix.EINTR) {
			s.latch(whyContacts, "it cannot wait for messages: "+err.Error())
			return fmt.Errorf("guard: waiting for messages: %w", err)
		}
		if fds[1].Revents != 0 && w.signalled(s) {
			return w.end(s)
		}
		if fds[0].Revents != 0 && !w.read(s) {
			return w.end(s)
		}
	}
}

// end is nil when the contacts are open.
func (w *wire) end(s *server) error {
	if err := s.release(); err != nil {
		return fmt.Errorf("guard: a contact does not open: %w: switch the supply off by hand", err)
	}
	return nil
}

// signalled opens for a signal; it is true for the second one.
func (w *wire) signalled(s *server) (last bool) {
	var drain [16]byte
	_, _ = unix.Read(w.wake[0], drain[:])
	for {
		select {
		case sig := <-w.signal:
			last = s.latched == whySignalled
			s.latch(whySignalled, fmt.Sprintf("it was told to end (%v)", sig))
		default:
			return last
		}
	}
}

// read takes the orders that have come; false when no more will.
func (w *wire) read(s *server) bool {
	n, err := unix.Read(w.orders, w.in[:])
	switch {
	case errors.Is(err, unix.EAGAIN) || errors.Is(err, unix.EINTR):
		return true
	case err != nil:
		s.latch(whyPipe, "the pipe from the main process fails: "+err.Error())
		return false
	case n == 0:
		s.latch(whyPipe, "the main process is gone")
		return false
	}
	for b := w.in[:n]; len(b) > 0; b = b[min(orderSize, len(b)):] {
		o, err := readOrder(b[:min(orderSize, len(b))])
		if err != nil {
			s.latch(whyBadFrame, "the main process's message is damaged")
			return true
		}
		if !s.take(o) {
			return false
		}
	}
	return true
}
