package guard

import (
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/sys/unix"
)

const (
	// quiet is how long the guard process may say nothing before it counts as
	// stopped. It beats every 20 ms, so that seven beats must be missing. A
	// thread of usual priority on a busy board of few cores is late by some
	// tens of milliseconds at times (chosen from that; a longer one only costs
	// time, a shorter one ends good tests).
	quiet = 150 * time.Millisecond

	// startup is how long the guard process has to hold the contacts.
	startup = 5 * time.Second

	// renewEvery is how far apart renewals are at least. Dropping one between
	// ends the lease so much earlier at most; fast converters would otherwise
	// wake the guard process tens of thousands of times a second.
	renewEvery = time.Millisecond

	// turn is how long the watch over the guard process is given to read what
	// may lie in the pipe, when the sampling thread finds it late (chosen: a
	// busy machine's scheduler takes some tens of milliseconds at worst).
	turn = 50 * time.Millisecond

	// dying is how long a killed process may take to be gone.
	dying = 500 * time.Millisecond
)

// Process is a switch that a second process holds: the guard process. Its
// methods may be called from several goroutines.
type Process struct {
	cmd      *exec.Cmd
	pid      int
	paths    Path
	about    string
	pullIn   time.Duration // of the heartbeat's relay
	takeOver func() error
	marker   *Marker // nil: none
	reports  *os.File

	one  sync.Mutex // one Set at a time
	acks chan report
	lost atomic.Pointer[lost]
	last atomic.Int64  // when the guard process was last heard, since boot
	gone chan struct{} // closed when the process has ended and taken is known

	mu      sync.Mutex // what follows, and writing
	orders  int        // the pipe; -1 once closed
	frame   [orderSize]byte
	seq     uint64
	grant   uint64
	renewed int64
	until   int64 // end of the lease, since boot; 0 while open
	pulsing bool  // the heartbeat's relay is in
	doubted int64 // when it was first found late, since boot; 0: it is not
	bye     bool

	taken error // the last taking over; guarded by one once gone is closed
}

// lost is why nobody holds the switch closed any more.
type lost struct{ error }

// Start starts a guard process and waits until it holds the contacts, open.
// cmd runs a program that calls Serve; its extra files are set here. marker
// may be nil; Serve has to be told. takeOver opens the contacts from this process: it is called when
// the guard process has ended without a goodbye, and then again by each Set
// that opens, until it does not fail. When Start fails the contacts have been
// taken over.
func Start(cmd *exec.Cmd, marker *Marker, takeOver func() error) (*Process, error) {
	p := &Process{cmd: cmd, takeOver: takeOver, marker: marker, acks: make(chan report, 4), gone: make(chan struct{})}
	ready, err := p.start()
	if err != nil {
		err = fmt.Errorf("guard: the process that is to hold the supply switch does not start: %w", err)
		if p.pid != 0 {
			p.finish()
		} else {
			p.take()
		}
		if p.taken != nil {
			err = errors.Join(err, fmt.Errorf("guard: and the supply switch could not be opened from here: %w: switch the supply off by hand", p.taken))
		}
		return nil, err
	}
	p.paths, p.about, p.pullIn = ready.path, ready.text, time.Duration(min(ready.seq, uint64(LongestPullIn)))
	p.last.Store(sinceBoot())
	go p.watch()
	return p, nil
}

func (p *Process) start() (ready report, err error) {
	var orders, reports [2]int
	if err := unix.Pipe2(orders[:], unix.O_CLOEXEC|unix.O_NONBLOCK); err != nil {
		return report{}, err
	}
	if err := unix.Pipe2(reports[:], unix.O_CLOEXEC|unix.O_NONBLOCK); err != nil {
		return report{}, errors.Join(err, unix.Close(orders[0]), unix.Close(orders[1]))
	}
	p.orders = orders[1]
	p.reports = os.NewFile(uintptr(reports[0]), "reports")
	theirs := []*os.File{os.NewFile(uintptr(orders[0]), "orders"), os.NewFile(uintptr(reports[1]), "reports")}
	p.cmd.ExtraFiles = theirs
	if p.marker != nil {
		p.cmd.ExtraFiles = append(p.cmd.ExtraFiles, p.marker.f)
	}
	err = p.cmd.Start()
	for _, f := range theirs {
		_ = f.Close() // so that each pipe ends with the other process
	}
	if err != nil {
		p.closeOrders()
		return report{}, errors.Join(err, p.reports.Close())
	}
	p.pid = p.cmd.Process.Pid
	ready, err = p.next(startup)
	switch {
	case err != nil:
		return report{}, err
	case ready.kind == reportUnready:
		return report{}, errors.New(ready.text)
	case ready.kind != reportReady:
		return report{}, errFrame
	}
	return ready, nil
}

// next is the next report, waited for so long. On time out it looks once more
// at what is in the pipe: this process may have been stopped itself.
func (p *Process) next(limit time.Duration) (report, error) {
	var b [reportSize]byte
	for _, wait := range []time.Duration{limit, 5 * time.Millisecond} {
		if err := p.reports.SetReadDeadline(time.Now().Add(wait)); err != nil {
			return report{}, err
		}
		_, err := io.ReadFull(p.reports, b[:])
		if err == nil {
			return readReport(b[:])
		}
		if errors.Is(err, io.EOF) {
			return report{}, errEnded
		}
		if !errors.Is(err, os.ErrDeadlineExceeded) {
			return report{}, err
		}
	}
	return report{}, busy{fmt.Errorf("it says nothing for %v, as one that is stopped or does not get its turn", limit)}
}

// watch reads what the guard process says until it has ended, or has to be.
func (p *Process) watch() {
	for {
		r, err := p.next(quiet)
		if err != nil {
			p.lose(fmt.Errorf("guard: %w", err))
			break
		}
		p.last.Store(sinceBoot())
		switch r.kind {
		case reportDone, reportRefused:
			select {
			case p.acks <- r:
			default: // nobody waits for it any more
			}
		case reportOpened:
			err := fmt.Errorf("guard: it has opened the switch: %s", r.text)
			switch r.why {
			case whySignalled:
				err = fmt.Errorf("%w: it has opened the switch: %s", ErrSignalled, r.text)
			case whySilence:
				err = busy{err}
			}
			p.lose(err)
		}
	}
	p.finish()
}

// lose notes why nobody holds the switch closed any more; the first reason
// stays.
func (p *Process) lose(err error) { p.lost.CompareAndSwap(nil, &lost{err}) }

// finish makes sure that the guard process has ended, however it is, and takes
// the contacts over unless it said goodbye.
func (p *Process) finish() {
	p.kill()
	ended := make(chan error, 1)
	go func() { ended <- p.cmd.Wait() }()
	var err error
	select {
	case err = <-ended:
	case <-time.After(dying):
		err = errors.New("it does not die")
		go p.outlive(ended)
	}
	p.mu.Lock()
	clean := p.bye && err == nil
	p.mu.Unlock()
	if !clean {
		p.take()
	}
	p.closeOrders()
	_ = p.reports.Close()
	close(p.gone)
}

func (p *Process) closeOrders() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.orders >= 0 {
		_ = unix.Close(p.orders)
		p.orders = -1
	}
}

// write sends an order in one write and gives its number. It never waits: a
// pipe that is full belongs to a process that reads nothing.
func (p *Process) write(o order) (seq uint64, err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.put(o)
}

func (p *Process) put(o order) (seq uint64, err error) {
	if p.orders < 0 {
		return 0, os.ErrClosed
	}
	p.seq++
	o.seq = p.seq
	switch o.kind {
	case orderSet:
		p.grant, p.until, p.renewed = o.seq, 0, 0
		if o.path != NoPath {
			p.until = o.until
			if !p.pulsing {
				p.until += int64(p.pullIn)
			}
		}
		p.pulsing = o.path != NoPath
	case orderStill:
		p.pulsing = false
	case orderRenew:
		o.grant = p.grant
	case orderBye:
		p.bye = true
	}
	o.put(&p.frame)
	_, err = unix.Write(p.orders, p.frame[:])
	return o.seq, err
}

// Renew makes the lease end so long from now. It is one write to a pipe, or
// none when the last was less than a millisecond ago. Where the watch over the
// guard process does not get its turn beside the caller, Renew itself ends one
// that has stopped, so that the next Set finds it gone.
func (p *Process) Renew(lease time.Duration) error {
	if l := p.lost.Load(); l != nil {
		return l.error
	}
	now := sinceBoot()
	p.mu.Lock()
	defer p.mu.Unlock()
	switch {
	case p.until == 0:
		return nil
	case now >= p.until:
		// Known here before the guard process's report has been read.
		return busy{fmt.Errorf("guard: this process was held up, and the lease ran out %.0f ms ago: the guard process has opened the switch", float64(now-p.until)/1e6)}
	case now-p.renewed < int64(renewEvery):
		return nil
	}
	if err := p.late(now); err != nil {
		p.lose(err)
		_ = p.cmd.Process.Kill()
		return err
	}
	p.renewed = now
	p.until = max(p.until, now+int64(lease))
	_, err := p.put(order{kind: orderRenew, until: p.until})
	switch {
	case errors.Is(err, unix.EPIPE):
		// Known here before the watch has read the end of the other pipe.
		return fmt.Errorf("guard: %w", errEnded)
	case err != nil:
		return fmt.Errorf("guard: the lease cannot be renewed: %w", err)
	}
	return nil
}

// Set has the guard process close these contacts and open the others, and
// waits until it says that it has. A guard process that does not answer is
// killed, and the contacts are opened from here.
func (p *Process) Set(path Path, lease time.Duration) error {
	p.one.Lock()
	defer p.one.Unlock()
	if path == NoPath {
		return p.openAll()
	}
	if l := p.lost.Load(); l != nil {
		return l.error
	}
	if lease <= 0 || lease > LongestLease {
		return fmt.Errorf("guard: a lease of %v: the guard process gives up to %v; use a converter that samples faster", lease, LongestLease)
	}
	return p.ask(order{kind: orderSet, path: path, until: sinceBoot() + int64(lease)})
}

// openAll opens everything, by the guard process or without it.
func (p *Process) openAll() error {
	select {
	case <-p.gone:
		if p.taken != nil {
			p.take()
		}
		return p.taken
	default:
	}
	err := p.ask(order{kind: orderSet, path: NoPath})
	if err == nil {
		return nil
	}
	select {
	case <-p.gone:
		return p.taken
	default:
		return err
	}
}

// ask sends an order and waits for the answer; without one the guard process
// is gone when it returns.
func (p *Process) ask(o order) error {
	seq, err := p.write(o)
	if err == nil {
		wait := quiet
		if o.kind == orderSet && o.path != NoPath {
			wait += p.pullIn
		}
		limit := time.NewTimer(wait)
		defer limit.Stop()
	answer:
		for {
			select {
			case r := <-p.acks:
				switch {
				case r.seq != seq:
				case r.kind == reportRefused:
					p.refused(o)
					return fmt.Errorf("guard: the process that holds the supply switch refuses: %s", r.text)
				default:
					return nil
				}
			case <-p.gone:
				break answer
			case <-limit.C:
				err = busy{fmt.Errorf("guard: the process that holds the supply switch does not answer within %v", wait)}
				break answer
			}
		}
	}
	if err != nil {
		p.lose(err)
		_ = p.cmd.Process.Kill()
	}
	select {
	case <-p.gone:
	case <-time.After(2 * dying):
		return errors.New("guard: the process that holds the supply switch does not die: switch the supply off by hand")
	}
	return p.Lost()
}

// Close opens the contacts, sends the guard process home, and waits until it
// has ended. An error means that the supply may be on.
func (p *Process) Close() error {
	p.one.Lock()
	defer p.one.Unlock()
	err := p.openAll()
	if _, werr := p.write(order{kind: orderBye}); werr == nil {
		select {
		case <-p.gone:
		case <-time.After(quiet):
			_ = p.cmd.Process.Kill()
			<-p.gone
		}
	}
	return errors.Join(err, p.taken)
}
