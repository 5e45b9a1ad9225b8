package guard

import (
	"errors"
	"fmt"
)

// errEnded: the guard process is no more.
var errEnded = errors.New("it has ended")

// late says that nothing came from the guard process for too long, although
// the watch has had its turn since: this process may have been held up itself.
// It is called under mu.
func (p *Process) late(now int64) error {
	last := p.last.Load()
	switch {
	case now-last <= int64(quiet):
		p.doubted = 0
	case p.doubted <= last: // found for the first time since it was last heard
		p.doubted = now
	case now-p.doubted > int64(turn):
		return fmt.Errorf("guard: it says nothing for %.0f ms, as one that is stopped", float64(now-last)/1e6)
	}
	return nil
}

// outlive takes the contacts over once more when a guard process that did not
// die in time has ended at last: until then they were still its own.
func (p *Process) outlive(ended <-chan error) {
	<-ended
	<-p.gone
	p.one.Lock()
	defer p.one.Unlock()
	p.take()
}

// take opens the contacts from this process.
func (p *Process) take() {
	if p.taken = p.takeOver(); p.taken == nil && p.marker != nil {
		// An entry that stays is told at the next start, and that is all.
		_ = p.marker.Off()
	}
}

// kill ends the guard process, a stopped one too: SIGKILL needs no consent.
// One that said goodbye is left to end.
func (p *Process) kill() {
	p.mu.Lock()
	bye := p.bye
	p.mu.Unlock()
	if !bye {
		_ = p.cmd.Process.Kill()
	}
}
