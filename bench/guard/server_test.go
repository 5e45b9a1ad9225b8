package guard

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
)

// contact is a pin that may fail, and notes when it moved.
type contact struct {
	gpio.PinIO
	name  string
	level gpio.Level
	fail  int
	moves int
}

func (c *contact) Name() string   { return c.name }
func (c *contact) String() string { return c.name }
func (c *contact) Out(l gpio.Level) error {
	if c.fail > 0 {
		c.fail--
		return errors.New("line is busy")
	}
	if l != c.level {
		c.moves++
	}
	c.level = l
	return nil
}

// table is a server on a clock that only the test moves.
type table struct {
	*server
	t             *testing.T
	clock         int64
	first, second *contact
	pulse         *contact
	said          []report
	n             uint64
}

func newTable(t *testing.T) *table {
	x := &table{t: t, clock: 1e12, first: &contact{name: "A", level: gpio.High}, second: &contact{name: "B", level: gpio.High}, pulse: &contact{name: "H"}}
	x.server = &server{c: Contacts{Switch: NewPins(x.first, x.second, nil), Heartbeat: x.pulse, Half: 10 * ms},
		now: func() int64 { return x.clock },
		send: func(r *report) {
			if r.kind != reportAlive {
				x.said = append(x.said, *r)
			}
		}}
	require.NoError(t, x.start())
	require.False(t, x.on(), "open from the start, whatever was before")
	return x
}

func (x *table) on() bool { return x.first.level == gpio.High && x.second.level == gpio.High }

// order sends one with the next number.
func (x *table) order(o order) bool {
	x.n++
	o.seq = x.n
	return x.take(o)
}

func (x *table) close(lease time.Duration) uint64 {
	x.order(order{kind: orderSet, path: First | Second, until: x.clock + int64(lease)})
	return x.n
}

func (x *table) renew(grant uint64, lease time.Duration) {
	x.order(order{kind: orderRenew, grant: grant, until: x.clock + int64(lease)})
}

// wait moves the clock as the loop would, from one due time to the next.
func (x *table) wait(d time.Duration) {
	for end := x.clock + int64(d); ; {
		next := x.tick()
		if next >= end {
			x.clock = end
			return
		}
		require.Greater(x.t, next, x.clock, "time goes on")
		x.clock = next
	}
}

func (x *table) last() report {
	require.NotEmpty(x.t, x.said)
	return x.said[len(x.said)-1]
}

func TestServerHoldsWhileRenewed(t *testing.T) {
	x := newTable(t)
	grant := x.close(100 * ms)
	assert.Equal(t, report{kind: reportDone, path: First | Second, seq: grant, at: x.clock}, x.last())
	for range 1000 {
		x.wait(ms)
		x.renew(grant, 100*ms)
		require.True(t, x.on())
	}
	assert.Equal(t, 2, x.first.moves, "one opening at the start, one closing")
	assert.InDelta(t, 100, x.pulse.moves, 2, "a change every 10 ms")
	x.order(order{kind: orderSet, path: NoPath})
	assert.False(t, x.on())
	was := x.pulse.moves
	x.wait(time.Second)
	assert.LessOrEqual(t, x.pulse.moves, was+1, "no pulses without a lease")
	assert.Equal(t, whyNot, x.latched, "an opening that was asked for is no reason")
	x.close(100 * ms)
	assert.True(t, x.on(), "and may be followed by a closing")
}

func TestServerOpensByItself(t *testing.T) {
	for name, c := range map[string]struct {
		do   func(x *table, grant uint64)
		why  why
		text string
	}{
		"silence": {func(x *table, _ uint64) { x.wait(101 * ms) }, whySilence, "has not renewed"},
		"a renewal of an older grant": {func(x *table, grant uint64) {
			for range 200 {
				x.wait(ms)
				x.renew(grant-1, 100*ms)
			}
		}, whySilence, "has not renewed"},
		"a frame that lay in the pipe": {func(x *table, grant uint64) {
			until := x.clock + int64(150*ms)
			x.clock += int64(time.Second) // the guard was stopped meanwhile
			x.order(order{kind: orderRenew, grant: grant, until: until})
			x.tick()
		}, whySilence, "has not renewed"},
		"an order twice":         {func(x *table, _ uint64) { x.take(order{kind: orderRenew, seq: x.seq}) }, whyBadFrame, "out of order"},
		"a heartbeat that fails": {func(x *table, _ uint64) { x.pulse.fail = 1; x.wait(20 * ms) }, whyContacts, "heartbeat H"},
	} {
		t.Run(name, func(t *testing.T) {
			x := newTable(t)
			x.close(100 * ms)
			x.order(order{kind: orderSet, path: NoPath})
			grant := x.close(100 * ms)
			x.wait(ms)
			require.True(t, x.on())
			c.do(x, grant)
			assert.False(t, x.on())
			assert.Equal(t, gpio.Low, x.pulse.level)
			assert.Equal(t, reportOpened, x.last().kind)
			assert.Equal(t, c.why, x.last().why)
			assert.Contains(t, x.last().text, c.text)

			x.close(100 * ms)
			assert.False(t, x.on(), "what has opened by itself stays open")
			assert.Equal(t, reportRefused, x.last().kind)
			x.order(order{kind: orderSet, path: NoPath})
			assert.Equal(t, reportDone, x.last().kind, "to open is never refused")
			x.renew(x.n, 100*ms)
			assert.False(t, x.on())
		})
	}
}

func TestServerRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		o    order
		text string
	}{
		"an order that is too old": {order{kind: orderSet, path: First, until: -int64(ms)}, "1 ms too old"},
		"too long a lease":         {order{kind: orderSet, path: First, until: int64(time.Second)}, "longer than 500ms"},
		"no such contact":          {order{kind: orderSet, path: PreCharge, until: int64(ms)}, "no pre-charge contact"},
	} {
		t.Run(name, func(t *testing.T) {
			x := newTable(t)
			x.close(100 * ms)
			c.o.until += x.clock
			x.order(c.o)
			assert.Equal(t, reportRefused, x.last().kind)
			assert.Contains(t, x.last().text, c.text)
			assert.False(t, x.on(), "what is refused leaves everything open")
		})
	}
}

func TestServerLeaseIsCapped(t *testing.T) {
	x := newTable(t)
	grant := x.close(100 * ms)
	x.renew(grant, time.Hour)
	x.wait(LongestLease - ms)
	assert.True(t, x.on())
	x.wait(2 * ms)
	assert.False(t, x.on())
}

func TestServerRenewalNeverShortens(t *testing.T) {
	x := newTable(t)
	grant := x.close(100 * ms)
	x.renew(grant, ms)
	x.wait(99 * ms)
	assert.True(t, x.on())
}

func TestServerOnAContactThatSticks(t *testing.T) {
	x := newTable(t)
	x.close(100 * ms)
	x.second.fail = 7
	x.wait(102 * ms)
	assert.Equal(t, gpio.Low, x.first.level, "the other one opens all the same")
	assert.Equal(t, gpio.High, x.second.level)
	assert.Contains(t, x.last().text, "by hand")
	x.wait(2 * beat)
	assert.Equal(t, gpio.Low, x.second.level, "it is tried again")

	x = newTable(t)
	x.second.fail = 100
	x.order(order{kind: orderSet, path: NoPath})
	assert.Equal(t, reportRefused, x.last().kind)
	assert.Contains(t, x.last().text, "line is busy")
}

func TestServerClosesNoContactAlone(t *testing.T) {
	x := newTable(t)
	x.n++
	x.second.fail = 1
	x.take(order{kind: orderSet, path: First | Second, seq: x.n, until: x.clock + int64(100*ms)})
	assert.Equal(t, reportRefused, x.last().kind)
	assert.Equal(t, gpio.Low, x.first.level)
	assert.Equal(t, gpio.Low, x.second.level)
}

func TestServerSaysGoodbyeOpen(t *testing.T) {
	x := newTable(t)
	x.close(100 * ms)
	assert.False(t, x.order(order{kind: orderBye}))
	assert.False(t, x.on())
	assert.Equal(t, reportDone, x.last().kind)
}

// TestServerDoesNotAllocate: no garbage, no collector, while all is well.
func TestServerDoesNotAllocate(t *testing.T) {
	x := newTable(t)
	x.send = func(*report) {}
	grant := x.close(100 * ms)
	assert.Zero(t, testing.AllocsPerRun(1000, func() {
		x.clock += int64(5 * ms)
		x.tick()
		x.renew(grant, 100*ms)
	}))
	assert.True(t, x.on())
}
