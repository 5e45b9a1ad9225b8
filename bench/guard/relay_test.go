package guard

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
)

const pull = 50 * ms

func newRelayed(t *testing.T) *table {
	x := newTable(t)
	x.c.PullIn = pull
	return x
}

// The relay closes without a load: pulses first, the contacts after.
func TestContactsCloseAfterTheRelay(t *testing.T) {
	x := newRelayed(t)
	set := x.close(100 * ms)
	x.wait(pull - ms)
	assert.False(t, x.on(), "the relay bounces yet")
	assert.Zero(t, x.first.moves+x.second.moves-2, "no contact has moved since the start")
	assert.GreaterOrEqual(t, x.pulse.moves, 4, "a change every 10 ms from the start")
	assert.Empty(t, x.said, "nothing is carried out yet")
	x.wait(ms + 1)
	require.True(t, x.on())
	assert.Equal(t, reportDone, x.last().kind)
	assert.Equal(t, set, x.last().seq)
	// The lease begins with the closing, and ends as ever.
	x.wait(99 * ms)
	assert.True(t, x.on())
	x.wait(ms + 1)
	assert.False(t, x.on())
	assert.Equal(t, whySilence, x.latched)
}

// Contacts that change while pulses run need not wait.
func TestContactsChangeAtOnceWhileTheRelayIsIn(t *testing.T) {
	x := newRelayed(t)
	x.close(200 * ms)
	x.wait(pull + ms)
	x.order(order{kind: orderSet, path: First, until: x.clock + int64(100*ms)})
	assert.Equal(t, reportDone, x.last().kind)
	assert.Equal(t, First, x.last().path)
	// But open ones do: the pulses had stopped.
	x.order(order{kind: orderSet, path: NoPath})
	x.said = nil
	x.close(100 * ms)
	assert.Empty(t, x.said)
	assert.False(t, x.on())
}

// What opens while the relay pulls in leaves everything open for good.
func TestOpeningEndsTheWait(t *testing.T) {
	for name, do := range map[string]func(x *table){
		"an order":            func(x *table) { x.order(order{kind: orderSet, path: NoPath}) },
		"a refused order":     func(x *table) { x.order(order{kind: orderSet, path: PreCharge, until: x.clock + int64(ms)}) },
		"goodbye":             func(x *table) { x.order(order{kind: orderBye}) },
		"a signal":            func(x *table) { x.latch(whySignalled, "told to end") },
		"main gone":           func(x *table) { x.latch(whyPipe, "main is gone") },
		"frames out of order": func(x *table) { x.take(order{kind: orderRenew, seq: x.seq}) },
		"a heartbeat that fails": func(x *table) {
			x.pulse.fail = 1
			x.wait(15 * ms)
		},
	} {
		t.Run(name, func(t *testing.T) {
			x := newRelayed(t)
			x.close(100 * ms)
			x.wait(20 * ms)
			do(x)
			moved := x.first.moves
			pulses := x.pulse.moves
			x.wait(time.Second)
			assert.False(t, x.on())
			assert.Equal(t, moved, x.first.moves, "no contact closed, not even for a moment")
			assert.LessOrEqual(t, x.pulse.moves, pulses+1)
		})
	}
}

// A guard that was held up itself closes nothing on an old order.
func TestNothingClosesPastItsLease(t *testing.T) {
	x := newRelayed(t)
	x.close(100 * ms)
	x.wait(20 * ms)
	x.clock += int64(131 * ms) // past pull-in and lease
	x.tick()
	assert.False(t, x.on())
	assert.Equal(t, reportRefused, x.last().kind)
	assert.Equal(t, 2, x.first.moves+x.second.moves, "only the opening at the start")

	// Held up for less, it closes for what is left of the lease.
	x = newRelayed(t)
	x.close(100 * ms)
	x.wait(20 * ms)
	x.clock += int64(100 * ms)
	x.tick()
	require.True(t, x.on())
	x.wait(30*ms + 1)
	assert.False(t, x.on())
}

func TestBeatsGoOnWhileItWaits(t *testing.T) {
	x := newRelayed(t)
	x.c.PullIn = LongestPullIn
	beats := 0
	x.send = func(*report) { beats++ }
	x.close(100 * ms)
	x.wait(LongestPullIn - ms)
	assert.InDelta(t, float64(LongestPullIn/beat), beats, 1)
}

// Contacts without pulses stay closed for the time that was asked for, under
// the lease, so that the relay can be seen to fall.
func TestStillHeartbeat(t *testing.T) {
	x := newRelayed(t)
	grant := x.close(100 * ms)
	x.wait(pull + ms)
	x.renew(grant, 100*ms)
	x.order(order{kind: orderStill, until: x.clock + int64(300*ms)})
	require.Equal(t, reportDone, x.last().kind)
	was := x.pulse.moves
	for range 299 {
		x.wait(ms)
		x.renew(grant, 100*ms)
		require.True(t, x.on())
	}
	assert.Equal(t, was, x.pulse.moves, "no pulse")
	x.wait(2 * ms)
	assert.False(t, x.on(), "then it opens")
	assert.Equal(t, whyNot, x.latched)
	// And the next closing waits for the relay.
	x.said = nil
	x.close(100 * ms)
	assert.Empty(t, x.said)
	x.wait(pull + ms)
	assert.True(t, x.on())

	// The lease ends it sooner.
	x.order(order{kind: orderStill, until: x.clock + int64(time.Second)})
	x.wait(100 * ms)
	assert.False(t, x.on())
	assert.Equal(t, whySilence, x.latched)
}

func TestStillIsRefused(t *testing.T) {
	for name, c := range map[string]struct {
		long time.Duration
		do   func(x *table)
		text string
	}{
		"open":     {100 * ms, func(x *table) { x.order(order{kind: orderSet, path: NoPath}) }, "no contact is closed"},
		"too long": {LongestStill + ms, func(*table) {}, "stops for up to 1.2s"},
		"too old":  {-ms, func(*table) {}, "not for -1 ms"},
		"no relay": {100 * ms, func(x *table) { x.c.Heartbeat = nil }, "no heartbeat"},
	} {
		t.Run(name, func(t *testing.T) {
			x := newRelayed(t)
			x.close(100 * ms)
			x.wait(pull + ms)
			c.do(x)
			x.order(order{kind: orderStill, until: x.clock + int64(c.long)})
			assert.Equal(t, reportRefused, x.last().kind)
			assert.Contains(t, x.last().text, c.text)
		})
	}
}

// slow is a switch behind a relay: a Set that closes takes as long as the relay.
type slow struct {
	*Pins
	c     interface{ Sleep(time.Duration) }
	takes time.Duration
}

func (s slow) PullIn() time.Duration { return s.takes }
func (s slow) Set(p Path, lease time.Duration) error {
	if p != NoPath {
		s.c.Sleep(s.takes)
	}
	return s.Pins.Set(p, lease)
}

// unknowing is a slow switch that does not say so.
type unknowing struct{ Switch }

// The time that a slow switch takes is not taken from the lease.
func TestSlowSwitchDoesNotEatTheLease(t *testing.T) {
	c := &alarmed{}
	p := &pin{clock: c}
	l := limits()
	takes := l.Silence / 2
	g, err := New(unknowing{slow{NewPins(p, nil, nil), c, takes}}, c, nil, l)
	require.NoError(t, err)
	require.NoError(t, g.Close())
	c.Sleep(l.Silence - ms)
	require.Nil(t, g.Check())
	require.Equal(t, gpio.High, p.L)
	c.Sleep(2 * ms)
	assert.Equal(t, takes+l.Silence, p.opened)
}

// The time that a relay takes is not taken from the lease.
func TestLeaseBeginsWhenTheContactsClose(t *testing.T) {
	for _, takes := range []time.Duration{50 * ms, LongestPullIn} {
		c := &alarmed{}
		p := &pin{clock: c}
		l := limits()
		g, err := New(slow{NewPins(p, nil, nil), c, takes}, c, nil, l)
		require.NoError(t, err)
		require.NoError(t, g.Close())
		require.Equal(t, takes, c.now)
		c.Sleep(l.Silence - ms)
		require.Nil(t, g.Check())
		require.Equal(t, gpio.High, p.L, "closed for the whole lease")
		c.Sleep(2 * ms)
		assert.Equal(t, gpio.Low, p.L)
		assert.Equal(t, takes+l.Silence, p.opened)
		assert.Equal(t, Silence, g.Check().Rule)
	}
}
