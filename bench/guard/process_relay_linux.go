package guard

import (
	"fmt"
	"time"
)

// Paths are the contacts that the guard process holds.
func (p *Process) Paths() Path { return p.paths }

// String says who holds which pins.
func (p *Process) String() string { return fmt.Sprintf("process %d: %s", p.pid, p.about) }

// PID is the guard process's number.
func (p *Process) PID() int { return p.pid }

// Lost says why nobody holds the switch closed any more; nil while the guard
// process is well.
func (p *Process) Lost() error {
	if l := p.lost.Load(); l != nil {
		return l.error
	}
	return nil
}

// PullIn is how long a Set that closes contacts may take because the
// heartbeat's relay, before them, closes first.
func (p *Process) PullIn() time.Duration { return p.pullIn }

// Still has the guard process stop the heartbeat's pulses for up to a time of
// at most LongestStill, and open the contacts then, if nobody has before. What
// is closed stays so until then, under the lease.
func (p *Process) Still(most time.Duration) error {
	p.one.Lock()
	defer p.one.Unlock()
	if l := p.lost.Load(); l != nil {
		return l.error
	}
	return p.ask(order{kind: orderStill, until: sinceBoot() + int64(most)})
}

// refused notes that nothing is closed: the guard process opens everything
// when it refuses to close.
func (p *Process) refused(o order) {
	if o.kind != orderSet {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.until, p.pulsing = 0, false
}
