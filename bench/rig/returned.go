package rig

import (
	"fmt"
	"sync"
	"time"

	"periph.io/x/conn/v3/gpio"

	"dutybench/bench/clock"
)

// returning is a board that tells of the edges of the return signal while its
// time is moved by others, as a simulated one does.
type returning interface {
	OnReturn(call func(at time.Duration, high bool))
}

// Returned collects the edges of the unit's return signal beside a test. It
// drives nothing and disturbs no sample: on a machine it waits on a goroutine
// of its own, and a simulated board tells of its edges.
type Returned struct {
	mu       sync.Mutex
	record   EdgeRecord
	clk      clock.Clock
	inverted bool // on its way from the plug to the pin
	stop     chan struct{}
	done     sync.WaitGroup
}

// OpenReturn takes the input of the return signal and begins to collect; nil
// where the rig has none.
func OpenReturn(b Board, d *Description) (*Returned, error) {
	if d.Return == nil {
		return nil, nil
	}
	r := &Returned{clk: b.Clock(), inverted: d.Return.ActiveLow, stop: make(chan struct{})}
	pin, err := OpenInput(b, d.Return, gpio.BothEdges)
	if err != nil {
		return nil, fmt.Errorf("rig %s: return signal: %w", d.Name, err)
	}
	level := bool(pin.Read())
	r.record = EdgeRecord{Start: r.clk.Now(), StartHigh: level != r.inverted, Resolution: edgeResolution}
	if told, ok := b.(returning); ok {
		told.OnReturn(r.add)
		return r, nil
	}
	r.done.Add(1)
	go r.wait(pin, level)
	return r, nil
}

// wait hears edges until it is stopped. Two of one level mean that one was
// lost; see Ear.Edges.
func (r *Returned) wait(pin gpio.PinIO, level bool) {
	defer r.done.Done()
	seen := level
	for {
		select {
		case <-r.stop:
			return
		default:
		}
		before := r.clk.Now()
		heard := pin.WaitForEdge(slice)
		now := r.clk.Now()
		if now-before >= blocked && level != seen {
			level = seen
			r.correct(level)
		}
		if heard {
			level = !level
			r.add(now, level)
			seen = bool(pin.Read())
		} else if now-before < blocked {
			time.Sleep(time.Millisecond) // a pin that does not wait
		}
	}
}

// correct sets the pin's level after the last edge.
func (r *Returned) correct(level bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if n := len(r.record.High); n > 0 {
		r.record.High[n-1] = level != r.inverted
	}
}

// add keeps an edge, with the pin's level after it.
func (r *Returned) add(at time.Duration, level bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.record.At) < mostHeard && at >= r.record.Start {
		r.record.At, r.record.High = append(r.record.At, at), append(r.record.High, level != r.inverted)
	}
}

// Heard is what came so far; it may be called at any time.
func (r *Returned) Heard() EdgeRecord {
	r.mu.Lock()
	defer r.mu.Unlock()
	out := r.record
	out.At, out.High = append([]time.Duration(nil), out.At...), append([]bool(nil), out.High...)
	out.End = r.clk.Now()
	if n := len(out.At); n > 0 {
		out.End = max(out.End, out.At[n-1])
	}
	return out
}

// Close stops collecting.
func (r *Returned) Close() error {
	select {
	case <-r.stop:
	default:
		close(r.stop)
	}
	r.done.Wait()
	return nil
}
