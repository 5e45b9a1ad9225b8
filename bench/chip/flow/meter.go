package flow

import (
	"fmt"
	"math"
	"sync"
	"time"
)

// Options describe a meter.
type Options struct {
	Pulses_per_l float64
	// Tolerance of Pulses_per_l, relative, at most.
	Tolerance float64
	// Highest_l_per_min is the most that the meter, or the loop, can show. Edges
	// that come faster than twice that are bounces; 0: none are.
	Highest_l_per_min float64
	// Jitter is the standard uncertainty of an edge's time: DefaultJitter for
	// a program that is woken by edges, 0 for exact ones.
	Jitter time.Duration
}

// DefaultJitter is what a woken program's times are worth; chosen, as boards
// wake it some 0.05 to 1 ms late.
const DefaultJitter = 300 * time.Microsecond

// Chosen, see the package's comment.
const (
	window   = time.Second     // a reading's edges
	patience = 4               // periods without an edge until the flow is zero
	quiet    = 2 * time.Second // without any edge ever: then the flow is zero
	uneven   = 0.25            // by how much a period may differ from the next
	mostLost = 8               // pulses in a gap that are put right
	unknown  = 0.1             // relative scatter of a period, while there are too few to tell
)

// Reading is the flow at a time.
type Reading struct {
	Flow_l_per_min float64       // NaN before the meter can know
	Uncertainty    float64       // standard uncertainty in l/min
	Edge           time.Duration // time of the last edge; 0 before any
	Counts
}

// Counts are what has come in so far.
type Counts struct {
	Pulses  uint64 // edges that count
	Missed  uint64 // pulses that were lost, and put right
	Extra   uint64 // edges between pulses that were none, and taken out
	Bounced uint64 // edges too soon after another
	Refused uint64 // edges with a time not after the last one's
}

// edge is one that counts, with the pulses since the one before it.
type edge struct {
	at     time.Duration
	pulses int64
}

// Meter turns edge times into a flow. It may be fed by one goroutine and read
// by others.
type Meter struct {
	perPulse float64 // litres
	constant float64 // relative standard uncertainty
	jitter   float64 // s
	soonest  time.Duration

	mu    sync.Mutex
	edges [64]edge // the newest at n-1, as a ring
	n     int64    // edges ever kept in the ring
	Counts
}

// New checks the description of a meter. Its time begins at zero.
func New(o Options) (*Meter, error) {
	switch {
	case !(o.Pulses_per_l > 0 && o.Pulses_per_l < 1e9):
		return nil, fmt.Errorf("flow: meter of %g pulses a litre: take the number from its data sheet", o.Pulses_per_l)
	case !(o.Tolerance >= 0 && o.Tolerance < 1):
		return nil, fmt.Errorf("flow: tolerance of %g: give a relative one, such as 0.05 for 5 %%", o.Tolerance)
	case !(o.Highest_l_per_min >= 0 && o.Highest_l_per_min < 1e6):
		return nil, fmt.Errorf("flow: highest flow of %g l/min: give what the meter can show", o.Highest_l_per_min)
	case o.Jitter < 0:
		return nil, fmt.Errorf("flow: jitter of %v: it cannot be below zero", o.Jitter)
	}
	m := &Meter{perPulse: 1 / o.Pulses_per_l, constant: o.Tolerance / math.Sqrt(3), jitter: o.Jitter.Seconds()}
	if o.Highest_l_per_min > 0 {
		m.soonest = time.Duration(60e9 / (o.Highest_l_per_min * o.Pulses_per_l) / 2)
	}
	return m, nil
}

// back is the i-th edge before the newest, 0 for itself.
func (m *Meter) back(i int) *edge { return &m.edges[(m.n-1-int64(i))%int64(len(m.edges))] }

// kept is how many edges the ring holds: one less than it has room for, as one
// may have been taken back.
func (m *Meter) kept() int { return int(min(m.n, int64(len(m.edges)-1))) }

// Edge takes the time of one edge, in order.
func (m *Meter) Edge(at time.Duration) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.n > 0 {
		switch since := at - m.back(0).at; {
		case since <= 0:
			m.Refused++
			return
		case since < m.soonest:
			m.Bounced++
			return
		}
	}
	m.n++
	*m.back(0) = edge{at: at, pulses: 1}
	m.Pulses++
	m.mend()
}

// mend looks back from a new edge at the ones before it, and puts right what
// keeps time only with an edge more or fewer.
func (m *Meter) mend() {
	period := func(i int) float64 { return float64(m.back(i).at - m.back(i+1).at) } // before the i-th edge back
	single := func(i int) bool { return m.back(i).pulses == 1 }
	like := func(a, b float64) bool { return math.Abs(a-b) <= uneven*min(a, b) }

	// Period, gap, period: pulses were lost in the gap.
	if m.kept() >= 4 && single(0) && single(1) && single(2) && like(period(0), period(2)) {
		whole := (period(0) + period(2)) / 2
		lost := math.Round(period(1)/whole) - 1
		if lost >= 1 && lost <= mostLost && math.Abs(period(1)-(lost+1)*whole) <= uneven*whole {
			m.back(1).pulses += int64(lost)
			m.Missed += uint64(lost)
			return
		}
	}
	// Period, two parts of one, period: an edge too many. It is the one in
	// whose place the parts make a whole period best, so one more is waited for.
	if m.kept() >= 6 && single(0) && single(1) && single(2) && single(3) && single(4) && like(period(1), period(4)) {
		whole := (period(1) + period(4)) / 2
		off := math.Abs(period(2) + period(3) - whole)
		if off <= uneven*whole && off <= math.Abs(period(1)+period(2)-whole) {
			for i := 3; i > 0; i-- {
				*m.back(i) = *m.back(i - 1)
			}
			m.n--
			m.Pulses--
			m.Extra++
		}
	}
}

// Read is the flow at a time, which is that of the newest edge or later.
func (m *Meter) Read(now time.Duration) Reading {
	m.mu.Lock()
	defer m.mu.Unlock()
	r := Reading{Flow_l_per_min: math.NaN(), Uncertainty: math.NaN(), Counts: m.Counts}
	if m.n == 0 {
		if now > quiet {
			r.Flow_l_per_min, r.Uncertainty = 0, m.unseen(now)
		}
		return r
	}
	r.Edge = m.back(0).at
	late := max(now-r.Edge, 0)
	if m.kept() == 1 {
		if late > quiet {
			r.Flow_l_per_min, r.Uncertainty = 0, m.unseen(late)
		}
		return r
	}
	last := (r.Edge - m.back(1).at) / time.Duration(m.back(0).pulses)
	if late > patience*last {
		r.Flow_l_per_min, r.Uncertainty = 0, m.unseen(late)
		return r
	}
	rate, relative := m.rate()
	flow := rate
	if late > last {
		flow = min(rate, 1/late.Seconds())
	}
	const perMinute = 60
	r.Flow_l_per_min = flow * m.perPulse * perMinute
	r.Uncertainty = math.Hypot(flow*relative, (rate-flow)/math.Sqrt(3)) * m.perPulse * perMinute
	return r
}

// unseen is the standard uncertainty of a flow of zero: anything up to a pulse
// in the time may have flowed, taken as uniform.
func (m *Meter) unseen(since time.Duration) float64 {
	return 60 * m.perPulse / since.Seconds() / math.Sqrt(3)
}

// rate is pulses a second over the window, and its relative standard
// uncertainty.
func (m *Meter) rate() (perSecond, relative float64) {
	newest := m.back(0).at
	var pulses int64
	var squares, periods float64
	from := newest
	for i := 0; i+1 < m.kept(); i++ {
		begun := m.back(i + 1).at
		if i > 0 && newest-begun > window {
			break
		}
		n := m.back(i).pulses
		p := (m.back(i).at - begun).Seconds() / float64(n)
		pulses += n
		periods++
		squares += float64(n) * p * p
		from = begun
	}
	span := (newest - from).Seconds()
	mean := span / float64(pulses)
	scatter := unknown / math.Sqrt(periods)
	if periods >= 3 {
		variance := max(squares/float64(pulses)-mean*mean, 0) * periods / (periods - 1)
		scatter = math.Sqrt(variance/periods) / mean
	}
	jitter := math.Sqrt2 * m.jitter / span
	return float64(pulses) / span, math.Sqrt(scatter*scatter + jitter*jitter + m.constant*m.constant)
}
