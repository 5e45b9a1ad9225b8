package rig

import (
	"math"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"

	"dutybench/bench/clock"
)

// playing is a pin with a PWM, on a board that does not tell of edges: waiting
// for one moves the time to it. Each seventh edge is lost.
type playing struct {
	gpio.PinIO
	Board
	now          atomic.Int64
	high, period time.Duration
	loses        bool
	level        gpio.Level
	edges        atomic.Int64
}

func (p *playing) String() string                 { return "RETURN" }
func (p *playing) Clock() clock.Clock             { return p }
func (p *playing) Pin(string) (gpio.PinIO, error) { return p, nil }
func (p *playing) In(gpio.Pull, gpio.Edge) error  { return nil }
func (p *playing) Read() gpio.Level               { return p.level }
func (p *playing) Now() time.Duration             { return time.Duration(p.now.Load()) }
func (p *playing) Sleep(time.Duration)            {}
func (p *playing) turn() {
	if p.level = !p.level; p.level == gpio.Low {
		p.now.Add(int64(p.high))
	} else {
		p.now.Add(int64(p.period - p.high))
	}
}

func (p *playing) WaitForEdge(time.Duration) bool {
	p.turn()
	if p.edges.Add(1)%7 == 0 && p.loses {
		p.turn()
	}
	return true
}

// On a machine a goroutine waits for the edges; a lost one spoils its period and
// no other.
func TestPositionWaitsForEdges(t *testing.T) {
	for _, c := range []struct {
		activeLow, loses bool
		want             float64
	}{{false, false, 30}, {true, false, 70}, {false, true, 30}, {true, true, 70}} {
		pin := &playing{high: 3 * time.Millisecond, period: 10 * time.Millisecond, loses: c.loses}
		p, err := openPositioning(pin, &Input{Pin: "RETURN", ActiveLow: c.activeLow, Pull: "up"})
		require.NoError(t, err)
		for range 2 { // it can be started again
			require.NoError(t, p.start(0))
			for begun := pin.edges.Load(); pin.edges.Load() < begun+1000; {
				time.Sleep(10 * time.Microsecond)
			}
			require.NoError(t, p.stop())
			s := Sample{Position: math.NaN()}
			p.fill(pin.Now(), &s)
			assert.InDelta(t, c.want, s.Position, 1e-9, "%+v", c)
		}
		require.NoError(t, p.stop(), "twice")
	}
}
