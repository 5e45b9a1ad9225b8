package guard

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"

	"dutybench/bench/clock"
)

// bare is a clock that only a test moves.
type bare struct{ now time.Duration }

func (c *bare) Now() time.Duration    { return c.now }
func (c *bare) Sleep(d time.Duration) { c.now += max(d, 0) }

// alarmed is a clock that calls back while it moves.
type alarmed struct {
	bare
	due []due
}

type due struct {
	at time.Duration
	f  func()
}

func (c *alarmed) At(t time.Duration, f func()) func() {
	c.due = append(c.due, due{t, f})
	return func() {}
}

func (c *alarmed) Sleep(d time.Duration) {
	end := c.now + d
	for {
		next := -1
		for i, a := range c.due {
			if a.at <= end && (next < 0 || a.at < c.due[next].at) {
				next = i
			}
		}
		if next < 0 {
			break
		}
		a := c.due[next]
		c.due = append(c.due[:next], c.due[next+1:]...)
		c.now = max(c.now, a.at)
		a.f()
	}
	c.now = end
}

// pin notes when the switch opened, and may fail.
type pin struct {
	gpio.PinIO
	L      gpio.Level
	clock  clock.Clock
	fail   int // how many of the next writes fail
	opened time.Duration
	log    *[]string
	hook   func()
}

func (p *pin) Out(l gpio.Level) error {
	if p.fail > 0 {
		p.fail--
		return errors.New("bus gone")
	}
	if p.hook != nil {
		p.hook()
	}
	if l == gpio.Low && p.L == gpio.High {
		p.opened = p.clock.Now()
	}
	if p.log != nil {
		*p.log = append(*p.log, "switch "+l.String())
	}
	p.L = l
	return nil
}

func (p *pin) Read() gpio.Level { panic("the switch's pin is never read back") }

func newGuard(t *testing.T, c clock.Clock) (*Guard, *pin) {
	t.Helper()
	p := &pin{clock: c}
	p.L = gpio.High // as an earlier program left it
	g, err := New(NewPins(p, nil, nil), c, nil, limits())
	require.NoError(t, err)
	require.Equal(t, gpio.Low, p.L, "off from the start")
	return g, p
}

func TestLeaseIsKeptByHolding(t *testing.T) {
	c := &alarmed{}
	g, p := newGuard(t, c)
	require.NoError(t, g.Close())
	for range 1000 {
		c.Sleep(ms)
		require.Nil(t, g.Hold(steady(c.Now())))
		require.Equal(t, gpio.High, p.L)
	}
	assert.Len(t, c.due, 1, "one alarm pending")
	require.NoError(t, g.Open())
	assert.Equal(t, gpio.Low, p.L)
	c.Sleep(time.Second)
	assert.Nil(t, g.Check(), "a lease that ends with the supply off is no trip")
}

func TestSupplyGoesOffWhenNobodyRenews(t *testing.T) {
	for name, silent := range map[string]func(c *alarmed, g *Guard){
		"nobody holds": func(c *alarmed, _ *Guard) { c.Sleep(time.Minute) },
		"no current": func(c *alarmed, g *Guard) {
			for range 60 {
				c.Sleep(10 * ms)
				g.Hold(Sample{At: c.Now(), Current_A: math.NaN()})
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			c := &alarmed{}
			g, p := newGuard(t, c)
			require.NoError(t, g.Close())
			c.Sleep(40 * ms)
			require.Nil(t, g.Hold(steady(40*ms)))
			silent(c, g)
			assert.Equal(t, 140*ms, p.opened, "one silence after the last sample")
			assert.Equal(t, gpio.Low, p.L)
			trip := g.Hold(steady(c.Now()))
			require.NotNil(t, trip)
			assert.Equal(t, Silence, trip.Rule)
			assert.Equal(t, 140*ms, trip.Off)
			assert.ErrorIs(t, g.Close(), ErrTripped)
			assert.Equal(t, gpio.Low, p.L)
		})
	}
}

func TestLeaseWithoutAlarmIsFoundByTheNextSample(t *testing.T) {
	c := &bare{}
	g, p := newGuard(t, c)
	require.NoError(t, g.Close())
	c.Sleep(time.Second)
	trip := g.Hold(steady(c.Now()))
	require.NotNil(t, trip)
	assert.Equal(t, Silence, trip.Rule)
	assert.Equal(t, 100*ms, trip.Met)
	assert.Equal(t, gpio.Low, p.L)
}

func TestRealClockCutsBesideAHungReader(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := clock.NewReal()
		g, p := newGuard(t, c)
		require.NoError(t, g.Close())
		for range 300 {
			time.Sleep(ms)
			require.Nil(t, g.Hold(steady(c.Now())))
		}
		time.Sleep(time.Minute) // the reader hangs
		synctest.Wait()
		assert.Equal(t, 400*ms, p.opened)
		require.NotNil(t, g.Check())
		assert.Equal(t, 400*ms, g.Tripped().Off)
	})
}

func TestRenewNeverReachesFurtherThanOneSilence(t *testing.T) {
	c := &alarmed{}
	g, p := newGuard(t, c)
	require.NoError(t, g.Close())
	g.Renew(time.Hour)
	c.Sleep(time.Minute)
	assert.Equal(t, 100*ms, p.opened)
}

func TestOffFirstThenIdle(t *testing.T) {
	c := &bare{}
	var log []string
	p := &pin{clock: c, log: &log}
	g, err := New(NewPins(p, nil, nil), c, func() error { log = append(log, "idle"); return errors.New("stuck") }, limits())
	require.NoError(t, err)
	require.NoError(t, g.Close())
	c.Sleep(ms)
	trip := g.Hold(Sample{At: ms, Stop: true})
	require.NotNil(t, trip)
	assert.Equal(t, []string{"switch Low", "switch High", "switch Low", "idle"}, log)
	assert.Contains(t, trip.Reason, "could not be made idle (stuck)")
	assert.Same(t, trip, g.Trip(&Trip{Rule: Cancelled}), "the first trip stays")
}

func TestSwitchThatFails(t *testing.T) {
	c := &bare{}
	g, p := newGuard(t, c)
	require.NoError(t, g.Close())
	p.fail = 2
	require.NoError(t, g.Open(), "the third try counts")

	require.NoError(t, g.Close())
	p.fail = 3
	err := g.Open()
	require.ErrorContains(t, err, "switch the supply off by hand")
	assert.True(t, g.On())
	p.fail = 3
	trip := g.Trip(&Trip{Rule: Cancelled, Next: "Run again."})
	assert.Contains(t, trip.Next, "by hand")
	assert.True(t, g.On())
	g.Trip(trip) // tried again
	assert.False(t, g.On())

	g, p = newGuard(t, c)
	p.fail = 1
	require.ErrorContains(t, g.Close(), "does not close")
	assert.False(t, g.On())

	_, err = New(NewPins(&pin{clock: c, fail: 3}, nil, nil), c, nil, limits())
	assert.Error(t, err)
	_, err = New(nil, c, nil, limits())
	assert.Error(t, err)
	_, err = New(NewPins(p, nil, nil), c, nil, Limits{})
	assert.Error(t, err)
}

func TestLeaseThatRunsOutWhileClosing(t *testing.T) {
	c := &alarmed{}
	g, p := newGuard(t, c)
	p.hook = func() {
		p.hook = nil
		c.Sleep(time.Second) // a write that takes too long
	}
	err := g.Close()
	require.ErrorIs(t, err, ErrTripped)
	assert.Equal(t, gpio.Low, p.L)
}

func TestHoldDoesNotAllocate(t *testing.T) {
	c := &bare{}
	g, _ := newGuard(t, c)
	require.NoError(t, g.Close())
	assert.Zero(t, testing.AllocsPerRun(1000, func() {
		c.now += ms
		g.Hold(steady(c.now))
	}))
}

// elsewhere is a switch that another process holds, until it does not.
type elsewhere struct {
	*Pins
	err error
}

func (e *elsewhere) Renew(time.Duration) error { return e.err }

func TestSwitchThatNobodyHoldsIsATrip(t *testing.T) {
	for name, c := range map[string]struct {
		err    error
		rule   Rule
		reason string
	}{
		"gone":        {errors.New("guard: it has ended"), Lost, "Nobody holds the supply switch closed any more: guard: it has ended."},
		"busy":        {busy{errors.New("guard: it says nothing for 150ms")}, Lost, "it says nothing for 150ms"},
		"told to end": {fmt.Errorf("%w: interrupt", ErrSignalled), Cancelled, "cancelled"},
	} {
		t.Run(name, func(t *testing.T) {
			clk := &bare{}
			p := &pin{clock: clk}
			sw := &elsewhere{Pins: NewPins(p, nil, nil)}
			g, err := New(sw, clk, nil, limits())
			require.NoError(t, err)
			require.NoError(t, g.Close())
			clk.Sleep(50 * ms)
			require.Nil(t, g.Hold(steady(50*ms)))
			sw.err = c.err
			clk.Sleep(50 * ms)
			trip := g.Hold(steady(100 * ms))
			require.NotNil(t, trip)
			assert.Equal(t, c.rule, trip.Rule)
			assert.Contains(t, trip.Reason, c.reason)
			assert.Equal(t, 100*ms, trip.Off)
			assert.Equal(t, name == "busy", strings.Contains(trip.Next, "too busy: end other programs"), trip.Next)
			assert.Equal(t, gpio.Low, p.L)
			assert.ErrorIs(t, g.Close(), ErrTripped)
		})
	}
}

// refusing is a switch that does not close.
type refusing struct {
	*Pins
	err error
}

func (r *refusing) Set(p Path, lease time.Duration) error {
	if p != NoPath {
		return r.err
	}
	return r.Pins.Set(p, lease)
}

// A switch that does not close because the computer was busy has sound pins.
func TestBusyIsNotThePins(t *testing.T) {
	for _, c := range []struct {
		err  error
		pins bool
	}{{errors.New("no such line"), true}, {busy{errors.New("it says nothing for 150ms")}, false}} {
		g, err := New(&refusing{NewPins(&pin{clock: &bare{}}, nil, nil), c.err}, &bare{}, nil, limits())
		require.NoError(t, err)
		err = g.Close()
		require.ErrorIs(t, err, c.err)
		assert.Equal(t, c.pins, strings.Contains(err.Error(), "check the rig's pins"), err.Error())
		assert.Equal(t, !c.pins, errors.Is(err, ErrLate))
	}
}
