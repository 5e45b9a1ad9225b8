package rig

import (
	"fmt"
	"math"
	"sync"
	"time"

	"periph.io/x/conn/v3/gpio"

	"dutybench/bench/clock"
)

// How a position by PWM is read. All of it is chosen.
const (
	// positionPace is how often it goes into a sample, as a voltage would.
	positionPace = positionEvery
	// slowestPosition is the longest period: after three without an edge the
	// level is a steady one, a position of 0 or 100 %. Outputs of positioners
	// have 100 Hz to 1 kHz (common practice, no source).
	slowestPosition = 50 * time.Millisecond
	// positionEdge is the half width of an edge's time: this program is woken
	// some time after the kernel saw it, and not always as late (common practice,
	// no source: 20 to 100 µs on a board that is not busy). At 200 Hz one period
	// is then right within 1.6 % (standard, of two edges), a mean over n periods
	// within that over √n.
	positionEdge = 100 * time.Microsecond
)

// shares measures the high share of a PWM over whole periods, from rise to
// rise. Edges may come from another goroutine.
type shares struct {
	mu sync.Mutex
	heard
}

// heard is what came of edges.
type heard struct {
	rise, fall    time.Duration // the last of each; -1: none since a gap
	level         bool
	last          time.Duration // of an edge
	high, periods time.Duration // summed since the last reading
	begun         bool
}

// start forgets what was before.
func (s *shares) start(now time.Duration, level bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.heard = heard{rise: -1, fall: -1, level: level, last: now, begun: true}
}

// edge takes a change to a level. Two of one level mean that one was lost: the
// period is left out.
func (s *shares) edge(at time.Duration, level bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.begun || at < s.last {
		return
	}
	lost := level == s.level
	s.level, s.last = level, at
	switch {
	case lost:
		s.rise, s.fall = -1, -1
		if level {
			s.rise = at
		}
	case !level:
		s.fall = at
	default:
		if s.rise >= 0 && s.fall > s.rise {
			s.high += s.fall - s.rise
			s.periods += at - s.rise
		}
		s.rise, s.fall = at, -1
	}
}

// read is the share in per cent over the whole periods since the last reading;
// NaN while there is none. A level that stays is 0 or 100 %.
func (s *shares) read(now time.Duration) float64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case s.periods > 0:
		share := 100 * float64(s.high) / float64(s.periods)
		s.high, s.periods = 0, 0
		return share
	case now-s.last <= 3*slowestPosition:
		return math.NaN()
	}
	s.rise, s.fall = -1, -1 // a period with such a gap in it is none
	if s.level {
		return 100
	}
	return 0
}

// positioning is a position told by PWM. On a machine a goroutine waits for its
// edges; a simulated board tells of them.
type positioning struct {
	shares
	pin      gpio.PinIO
	told     bool // the board tells of edges
	inverted bool
	clk      clock.Clock
	due      time.Duration
	stopping chan struct{}
	done     sync.WaitGroup
}

func openPositioning(b Board, in *Input) (*positioning, error) {
	p := &positioning{clk: b.Clock(), inverted: in.ActiveLow}
	var err error
	if p.pin, err = OpenInput(b, in, gpio.BothEdges); err != nil {
		return nil, fmt.Errorf("position: %w", err)
	}
	if r, ok := b.(returning); ok {
		p.told = true
		r.OnReturn(func(at time.Duration, high bool) { p.edge(at, high != p.inverted) })
	}
	return p, nil
}

func (p *positioning) start(now time.Duration) error {
	p.due = now
	p.shares.start(now, bool(p.pin.Read()) != p.inverted)
	if !p.told {
		p.stopping = make(chan struct{})
		p.done.Add(1)
		go p.wait(p.stopping)
	}
	return nil
}

// wait hears edges until it is stopped.
func (p *positioning) wait(stop chan struct{}) {
	defer p.done.Done()
	for {
		select {
		case <-stop:
			return
		default:
		}
		before := p.clk.Now()
		heard := p.pin.WaitForEdge(slice)
		now := p.clk.Now()
		switch {
		case heard:
			p.edge(now, bool(p.pin.Read()) != p.inverted)
		case now-before < blocked:
			time.Sleep(time.Millisecond) // a pin that does not wait
		}
	}
}

func (p *positioning) fill(now time.Duration, out *Sample) {
	if now < p.due {
		return
	}
	if share := p.read(now); !math.IsNaN(share) {
		p.due = now + positionPace
		out.Position = share
	}
}

func (p *positioning) stop() error {
	if p.stopping != nil {
		close(p.stopping)
		p.stopping = nil
		p.done.Wait()
	}
	return nil
}
