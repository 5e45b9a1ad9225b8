package rig

import "time"

// pace is how often the wire to the load switch is read while somebody asks for
// more than usual.
type pace struct {
	every, next time.Duration // every 0: nobody does
}

// set takes what was asked for; it says whether there is such a wire.
func (p *pace) set(every, now time.Duration, d *Description) bool {
	if d.Load == nil || d.Load.Level == nil {
		return false
	}
	p.every, p.next = max(every, 0), now
	return true
}

// due says that it is time for a reading, and plans the next.
func (p *pace) due(now time.Duration) bool {
	if p.every == 0 || now < p.next {
		return false
	}
	p.next = max(p.next+p.every, now)
	return true
}
