package sim

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"periph.io/x/conn/v3/gpio"
)

// ListenPin is the input that listens on a signal wire, behind a comparator of
// high impedance. It hears the wire of Options.Signal, else the bench's own
// line. Edges wait for the program in a queue of 16, as the kernel's do
// (Linux, gpiolib-cdev, from memory), and the oldest is dropped when it is
// full.
type ListenPin struct {
	Pin
	rand  *rand.Rand
	heard time.Duration // edges up to then were handed out
}

const (
	listenQueue = 16
	// The comparator's threshold: between 1 V, which an input takes as low, and
	// 4 V, the least high level (VDMA sheet 24224).
	threshold_V = 2.5
	// What it takes until a waiting program runs, at least, and what comes on
	// top on average; and to fetch an edge that waits already. All chosen: on
	// small boards tens of microseconds (common practice, no source).
	wakeUp      = 20 * time.Microsecond
	wakeUpMore  = 5 * time.Microsecond
	fetchWaking = 5 * time.Microsecond
)

func newListen(w *World, seed uint64) *ListenPin {
	p := &ListenPin{Pin: Pin{name: "LISTEN", number: 5, w: w}, rand: rand.New(rand.NewPCG(seed, 0x6c697374656e))}
	p.input = func() gpio.Level { return gpio.Level(p.high(w.now)) }
	return p
}

// In begins anew: what waits in the queue is forgotten.
func (p *ListenPin) In(pull gpio.Pull, edge gpio.Edge) error {
	p.heard = p.w.now
	return p.Pin.In(pull, edge)
}

// Out and PWM are refused: this input has nothing that could drive a wire.
func (p *ListenPin) Out(gpio.Level) error { return fmt.Errorf("sim: pin %s is an input only", p.name) }

// WaitForEdge hands out the next edge, at its time or later.
func (p *ListenPin) WaitForEdge(timeout time.Duration) bool {
	w := p.w
	if timeout < 0 || p.edge == gpio.NoEdge {
		return false
	}
	end := w.now + timeout
	// Of those that wait, the last ones are left.
	waiting := 0
	for at := p.heard; ; waiting++ {
		next, ok := p.next(at, w.now)
		if !ok {
			break
		}
		at = next
	}
	for ; waiting > listenQueue; waiting-- {
		p.heard, _ = p.next(p.heard, w.now)
	}
	at, ok := p.next(p.heard, end)
	if !ok {
		w.advance(end)
		return false
	}
	p.heard = at
	if at <= w.now {
		w.advance(w.now + fetchWaking)
	} else {
		w.advance(at + wakeUp + time.Duration(p.rand.ExpFloat64()*float64(wakeUpMore)))
	}
	return true
}

// high is the comparator's output at a time.
func (p *ListenPin) high(t time.Duration) bool {
	if s := p.w.signal; s != nil {
		return s.at(t) > threshold_V
	}
	s := &p.w.wire
	switch s.line.State {
	case LineLow:
		return false
	case LinePWM:
		phase := (t - s.since).Seconds() * s.line.Frequency_Hz
		return phase-math.Floor(phase) < s.line.High && s.line.High_V > threshold_V
	}
	return s.line.High_V > threshold_V
}

// next is the first edge after a time, up to another.
func (p *ListenPin) next(after, until time.Duration) (time.Duration, bool) {
	if s := p.w.signal; s != nil {
		return s.edge(after, until)
	}
	s := &p.w.wire
	if s.line.State != LinePWM || s.line.High_V <= threshold_V {
		return 0, false
	}
	period := 1e9 / s.line.Frequency_Hz
	from := max(after, s.since)
	whole := math.Floor(float64(from-s.since) / period)
	for k := whole; k < whole+3; k++ {
		for _, part := range []float64{0, s.line.High} {
			at := s.since + time.Duration(math.Ceil((k+part)*period))
			if at > after && at > s.since {
				return at, at <= until
			}
		}
	}
	return 0, false
}
