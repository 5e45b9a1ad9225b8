package flow

import (
	"math"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const k = 450 // pulses a litre

func meter(t testing.TB, o Options) *Meter {
	t.Helper()
	if o.Pulses_per_l == 0 {
		o.Pulses_per_l = k
	}
	m, err := New(o)
	require.NoError(t, err)
	return m
}

// period of a flow in l/min.
func period(flow float64) time.Duration { return time.Duration(60e9 / (flow * k)) }

// feed gives n edges of a flow from a time, and returns that of the last.
func feed(m *Meter, at time.Duration, flow float64, n int) time.Duration {
	for range n {
		at += period(flow)
		m.Edge(at)
	}
	return at
}

// TestSteady: 450 pulses a litre at 2 l/min are 15 pulses a second; the flow
// comes from their times, not from how many fit into a second.
func TestSteady(t *testing.T) {
	for _, flow := range []float64{0.01, 0.1, 2, 2.03, 20, 60} {
		m := meter(t, Options{})
		at := feed(m, 0, flow, 200)
		r := m.Read(at)
		assert.InEpsilon(t, flow, r.Flow_l_per_min, 1e-6)
		assert.Equal(t, at, r.Edge)
		assert.Equal(t, Counts{Pulses: 200}, r.Counts)
		r = m.Read(at + period(flow))
		assert.InEpsilon(t, flow, r.Flow_l_per_min, 1e-6, "until the next edge is late")
	}
}

func TestBeforeTheFirstEdges(t *testing.T) {
	m := meter(t, Options{})
	assert.True(t, math.IsNaN(m.Read(time.Second).Flow_l_per_min), "not known yet")
	r := m.Read(10 * time.Second)
	assert.Zero(t, r.Flow_l_per_min)
	assert.InEpsilon(t, 60.0/k/10/math.Sqrt(3), r.Uncertainty, 1e-9, "less than a pulse in ten seconds")
	m.Edge(11 * time.Second)
	assert.True(t, math.IsNaN(m.Read(12*time.Second).Flow_l_per_min), "one edge is no flow")
	assert.Zero(t, m.Read(14*time.Second).Flow_l_per_min)
	m.Edge(15 * time.Second)
	assert.InEpsilon(t, 60.0/k/4, m.Read(15*time.Second).Flow_l_per_min, 1e-9)
}

// TestStops: the reading falls with what could still flow unseen, and is zero
// after four periods.
func TestStops(t *testing.T) {
	const flow = 5.0
	p := period(flow)
	m := meter(t, Options{})
	at := feed(m, 0, flow, 50)
	for _, c := range []struct{ late, want float64 }{{0, 5}, {1, 5}, {2, 2.5}, {3, 5.0 / 3}, {3.99, 5 / 3.99}, {4.01, 0}, {1000, 0}} {
		r := m.Read(at + time.Duration(c.late*float64(p)))
		assert.InDelta(t, c.want, r.Flow_l_per_min, 1e-6, "%g periods late", c.late)
		if c.late > 1 {
			// The truth lies between zero and a pulse in the time, or is what it was.
			assert.Greater(t, r.Uncertainty, 0.0)
			assert.LessOrEqual(t, r.Flow_l_per_min-2*r.Uncertainty, 5/c.late)
		}
	}
	// It starts again within two edges, without the gap in it.
	at += time.Minute
	at = feed(m, at, 10, 1)
	assert.Less(t, m.Read(at).Flow_l_per_min, 0.01)
	at = feed(m, at, 10, 1)
	assert.InEpsilon(t, 10, m.Read(at).Flow_l_per_min, 1e-6)
}

func TestLostPulses(t *testing.T) {
	for lost := 1; lost <= mostLost; lost++ {
		m := meter(t, Options{})
		at := feed(m, 0, 20, 20)
		at += time.Duration(lost) * period(20)
		at = feed(m, at, 20, 20)
		r := m.Read(at)
		assert.InEpsilon(t, 20, r.Flow_l_per_min, 1e-6, "%d lost", lost)
		assert.Equal(t, Counts{Pulses: 40, Missed: uint64(lost)}, r.Counts)
		assert.Less(t, r.Uncertainty, 1e-3)
	}
	// One in ten.
	m := meter(t, Options{})
	for i := range 2000 {
		if i%10 != 5 {
			m.Edge(time.Duration(i+1) * period(20))
		}
	}
	r := m.Read(2000 * period(20))
	assert.InEpsilon(t, 20, r.Flow_l_per_min, 1e-6)
	assert.EqualValues(t, 200, r.Missed)
}

// A flow that falls or rises is none of lost or extra pulses.
func TestChangesAreNoLosses(t *testing.T) {
	for _, c := range []struct{ from, to float64 }{{20, 10}, {10, 20}, {20, 5}, {5, 20}, {3, 2.9}} {
		m := meter(t, Options{})
		at := feed(m, 0, c.from, 30)
		at = feed(m, at, c.to, 400)
		r := m.Read(at)
		assert.InEpsilon(t, c.to, r.Flow_l_per_min, 1e-6, "%v", c)
		assert.Equal(t, Counts{Pulses: 430}, r.Counts, "%v", c)
	}
}

func TestBounces(t *testing.T) {
	m := meter(t, Options{Highest_l_per_min: 30})
	var at time.Duration
	for range 100 {
		at += period(20)
		m.Edge(at)
		m.Edge(at + 100*time.Microsecond)
		m.Edge(at + time.Millisecond)
	}
	r := m.Read(at)
	assert.InEpsilon(t, 20, r.Flow_l_per_min, 1e-6)
	assert.Equal(t, Counts{Pulses: 100, Bounced: 200}, r.Counts)
	// The highest flow itself is no bounce, nor is half as much again.
	m = meter(t, Options{Highest_l_per_min: 30})
	r = m.Read(feed(m, 0, 45, 100))
	assert.Equal(t, Counts{Pulses: 100}, r.Counts)
}

// An edge between two pulses is taken out again.
func TestExtraEdges(t *testing.T) {
	for _, share := range []float64{0.05, 0.3, 0.5, 0.9} {
		m := meter(t, Options{})
		for i := range 200 {
			at := time.Duration(i+1) * period(8)
			m.Edge(at)
			if i%20 == 10 {
				m.Edge(at + time.Duration(share*float64(period(8))))
			}
		}
		r := m.Read(200 * period(8))
		assert.InEpsilon(t, 8, r.Flow_l_per_min, 1e-6, "at %g of a period", share)
		assert.Equal(t, Counts{Pulses: 200, Extra: 10}, r.Counts, "at %g of a period", share)
		assert.Less(t, r.Uncertainty, 1e-4, "the right one was taken out")
	}
}

func TestTimesThatRunBack(t *testing.T) {
	m := meter(t, Options{})
	at := feed(m, 0, 10, 30)
	m.Edge(at)
	m.Edge(at - time.Second)
	m.Edge(-1)
	r := m.Read(at)
	assert.InEpsilon(t, 10, r.Flow_l_per_min, 1e-6)
	assert.Equal(t, Counts{Pulses: 30, Refused: 3}, r.Counts)
	assert.InEpsilon(t, 10, m.Read(0).Flow_l_per_min, 1e-6, "a time before the last edge")
}

// TestUncertainty: jittered times of an uneven wheel; the stated 95 %
// intervals hold the flow at least as often.
func TestUncertainty(t *testing.T) {
	const seed = 4
	rng := rand.New(rand.NewPCG(seed, 4))
	for _, c := range []struct {
		flow, tolerance, uneven float64
		jitter                  time.Duration
	}{{20, 0, 0, time.Millisecond}, {2, 0, 0, 3 * time.Millisecond}, {8, 0.03, 0, 0}, {8, 0, 0.1, 0}, {30, 0.02, 0.05, 300 * time.Microsecond}, {0.5, 0, 0, time.Millisecond}} {
		hits, n := 0, 400
		for range n {
			m := meter(t, Options{Tolerance: c.tolerance, Jitter: c.jitter})
			real_ := k * (1 + c.tolerance*(2*rng.Float64()-1))
			p := 60 / (c.flow * real_)
			var last time.Duration
			for i := range 120 {
				at := (float64(i) + c.uneven*math.Sin(2*math.Pi*float64(i)/6)/2) * p
				last = time.Duration(at*1e9 + rng.NormFloat64()*float64(c.jitter))
				m.Edge(last + time.Second)
			}
			r := m.Read(last + time.Second)
			if math.Abs(r.Flow_l_per_min-c.flow) <= 1.96*r.Uncertainty {
				hits++
			}
			require.Less(t, r.Uncertainty, 0.12*c.flow)
		}
		assert.Greater(t, float64(hits)/float64(n), 0.92, "seed %d: %+v", seed, c)
	}
}

func TestNewRefuses(t *testing.T) {
	for _, o := range []Options{
		{}, {Pulses_per_l: -1}, {Pulses_per_l: math.NaN()}, {Pulses_per_l: math.Inf(1)}, {Pulses_per_l: k, Tolerance: 1}, {Pulses_per_l: k, Tolerance: math.NaN()},
		{Pulses_per_l: k, Highest_l_per_min: -1}, {Pulses_per_l: k, Jitter: -1},
	} {
		_, err := New(o)
		assert.Error(t, err, "%+v", o)
	}
}

func TestNoAllocations(t *testing.T) {
	m := meter(t, Options{})
	var at time.Duration
	var r Reading
	assert.Zero(t, testing.AllocsPerRun(200, func() {
		at += 5 * time.Millisecond
		m.Edge(at)
		r = m.Read(at)
	}))
	assert.NotZero(t, r.Pulses)
}

func TestManyReaders(t *testing.T) {
	m := meter(t, Options{})
	var wg sync.WaitGroup
	for range 3 {
		wg.Go(func() {
			for range 2000 {
				if r := m.Read(time.Hour); !(r.Flow_l_per_min >= 0 || math.IsNaN(r.Flow_l_per_min)) {
					panic(r)
				}
			}
		})
	}
	feed(m, 0, 20, 5000)
	wg.Wait()
	assert.EqualValues(t, 5000, m.Read(time.Hour).Pulses)
}

// FuzzMeter: any times give a flow that can be.
func FuzzMeter(f *testing.F) {
	f.Add([]byte{10, 10, 10, 20, 10, 10, 5, 5, 10, 10}, uint16(20))
	f.Add([]byte{0, 0, 255, 0, 1}, uint16(0))
	f.Fuzz(func(t *testing.T, gaps []byte, later uint16) {
		m := meter(t, Options{Highest_l_per_min: 50, Jitter: time.Millisecond, Tolerance: 0.05})
		var at, shortest time.Duration
		shortest = time.Hour
		for _, g := range gaps {
			step := time.Duration(int8(g)) * time.Millisecond
			if step > 0 {
				shortest = min(shortest, step)
			}
			at += step
			m.Edge(at)
		}
		r := m.Read(at + time.Duration(later)*time.Millisecond)
		if math.IsNaN(r.Flow_l_per_min) {
			return
		}
		if !(r.Flow_l_per_min >= 0 && r.Uncertainty >= 0) || math.IsInf(r.Flow_l_per_min, 0) || math.IsInf(r.Uncertainty, 0) {
			t.Fatalf("%v gave %+v", gaps, r)
		}
		if got := r.Pulses + r.Extra + r.Bounced + r.Refused; got != uint64(len(gaps)) {
			t.Fatalf("%d edges, %d counted: %+v", len(gaps), got, r)
		}
		if r.Flow_l_per_min > 100.1 {
			t.Fatalf("%v gave %g l/min, above twice the highest", gaps, r.Flow_l_per_min)
		}
	})
}

func BenchmarkEdgeAndRead(b *testing.B) {
	m := meter(b, Options{})
	var at time.Duration
	for b.Loop() {
		at += 5 * time.Millisecond
		m.Edge(at)
		m.Read(at)
	}
}
