package main

import (
	"fmt"
	"strings"
	"time"
)

// built is the year in which this release was made: a clock that stands
// before it was never set.
const built = 2026

// mostJump is how far the wall clock may move against the steady one during a
// test: what keeps a clock right slews it by at most 0.05 % (adjtime, from
// memory), 0.3 s in ten minutes.
const mostJump = 2 * time.Second

// watchedClock holds the machine's wall clock against its steady one, by which
// the test is measured.
type watchedClock struct {
	steady func() time.Time
	wall   func(time.Time) time.Time // what the wall clock shows then
	from   time.Time
	shown  time.Time
}

// watchClock begins to watch. A simulated bench may have a clock that jumps.
func (a *app) watchClock(b *openBench) *watchedClock {
	c := &watchedClock{steady: a.now, wall: func(t time.Time) time.Time { return t }}
	if b != nil && b.simulated != nil {
		c.wall = b.simulated.Wall
	}
	c.from = c.steady()
	c.shown = c.wall(c.from)
	return c
}

// now is the date by the wall clock.
func (c *watchedClock) now() time.Time { return c.wall(c.steady()) }

// set says that the clock was set when the test began.
func (c *watchedClock) set() bool { return c.shown.Year() >= built }

// doubt says what is wrong with the wall clock; empty when nothing is.
func (c *watchedClock) doubt() string {
	if !c.set() {
		return fmt.Sprintf("clock not set: it stands at %s, before this program was made", c.shown.Format(time.DateOnly))
	}
	steady := c.steady()
	// Without its steady part a time is compared by what the wall clock shows.
	moved := c.wall(steady).Round(0).Sub(c.shown.Round(0)) - steady.Sub(c.from)
	switch {
	case moved > mostJump:
		return fmt.Sprintf("the clock was put forward by %v during the test", moved.Round(time.Second))
	case moved < -mostJump:
		return fmt.Sprintf("the clock was put back by %v during the test", (-moved).Round(time.Second))
	}
	return ""
}

// sentence is a doubt as a warning; empty for none.
func (c *watchedClock) sentence() []string {
	d := c.doubt()
	if d == "" {
		return nil
	}
	return []string{strings.ToUpper(d[:1]) + d[1:] + ". Dates on this record may be wrong; the test itself is timed by a steady clock."}
}
