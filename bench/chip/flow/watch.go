package flow

import (
	"fmt"
	"sync"
	"time"

	"periph.io/x/conn/v3/gpio"

	"dutybench/bench/clock"
)

// wait is the longest wait for one edge. A wait without end is not asked for:
// on lines of the kernel's character device it returns at once.
const wait = 100 * time.Millisecond

// Watch feeds a meter from a pin, on a goroutine of its own.
type Watch struct {
	pin  gpio.PinIn
	once sync.Once
	stop chan struct{}
	done chan struct{}
}

// Watch makes the pin an input and feeds the meter with its edges: rising or
// falling ones, whichever the meter pulls. The clock must be one that
// goroutines may share, as clock.Real, and the pin be used by nobody else.
func (m *Meter) Watch(pin gpio.PinIn, pull gpio.Pull, edge gpio.Edge, clk clock.Clock) (*Watch, error) {
	if edge != gpio.RisingEdge && edge != gpio.FallingEdge {
		return nil, fmt.Errorf("flow: pin %s: edges %v: one of each pulse counts, so choose rising or falling", pin, edge)
	}
	if err := pin.In(pull, edge); err != nil {
		return nil, fmt.Errorf("flow: pin %s: %w: check that it can see edges, and that no other program holds it", pin, err)
	}
	w := &Watch{pin: pin, stop: make(chan struct{}), done: make(chan struct{})}
	go w.run(m, clk)
	return w, nil
}

func (w *Watch) run(m *Meter, clk clock.Clock) {
	defer close(w.done)
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		begun := time.Now()
		seen := w.pin.WaitForEdge(wait)
		at := clk.Now()
		select {
		case <-w.stop:
			return
		default:
		}
		if seen {
			m.Edge(at)
			continue
		}
		// A pin that gives up early would keep a processor busy.
		if rest := wait/2 - time.Since(begun); rest > 0 {
			timer.Reset(rest)
			select {
			case <-w.stop:
				return
			case <-timer.C:
			}
		}
	}
}

// Stop ends the watch and waits until it has ended, for half a second at
// most. An error says that the pin still has not come back.
func (w *Watch) Stop() error {
	w.once.Do(func() { close(w.stop) })
	const most = 5 * wait
	timer := time.NewTimer(most)
	defer timer.Stop()
	select {
	case <-w.done:
		return nil
	case <-timer.C:
		return fmt.Errorf("flow: pin %s: its wait for an edge has not ended after %v: end the program", w.pin, most)
	}
}
