package solenoid

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/sim"
	"dutybench/signal/coil"
	"dutybench/signal/stat"
)

// studied is how many units of each size a study draws.
func studied() int {
	switch os.Getenv("DUTYBENCH_CAMPAIGN") {
	case "full":
		return 200
	case "sample":
		return 40
	}
	return 3
}

const (
	fine     = 5 * us
	rate_Hz  = 20e3
	before_s = 10e-3
)

// shot is one edge as a converter of 20 kHz sees it, and what the plunger did.
type shot struct {
	s             coil.Samples
	switched_s    float64 // by the bench's clock, within a sample
	edge_s, end_s float64 // truly; end since the edge, NaN where it did not come
	settled_A     float64
}

// shots switches a unit on and off n times; sd is the noise as a share of the
// settled current.
func shots(u *Unit, r *rand.Rand, n int, off bool, db float64) (out []shot) {
	on, free := closed(u.p), sim.Circuit{Closed: true, OneWay: true, EMF_V: -0.7, Ohm: 0.02}
	var tail float64
	run := func(s *shot, c sim.Circuit, from, span float64, at func() bool) {
		k := len(s.s.Time_s)
		last := 0.0
		for t := from; t < from+span; t += fine.Seconds() {
			last, _ = u.Step(fine, c)
			for ; float64(k)/rate_Hz < t+fine.Seconds(); k++ {
				s.s.Time_s, s.s.Current_A = append(s.s.Time_s, float64(k)/rate_Hz), append(s.s.Current_A, last)
			}
			if at() && math.IsNaN(s.end_s) {
				s.end_s = t + fine.Seconds() - s.edge_s
			}
		}
		tail = last
	}
	never := func() bool { return false }
	for range n {
		var rise, fall shot
		for k, s := range []*shot{&rise, &fall} {
			s.edge_s = before_s + r.Float64()/rate_Hz
			s.switched_s = math.Floor(s.edge_s*rate_Hz) / rate_Hz
			s.end_s = math.NaN()
			first, then, there := free, on, u.p.Stroke_m
			if k == 1 {
				first, then, there = on, free, 0
			}
			run(s, first, 0, s.edge_s, never)
			started := u.travel_m
			run(s, then, s.edge_s, 0.25, func() bool { return u.travel_m == there && started != there })
			s.settled_A = tail
		}
		sd := rise.settled_A * math.Pow(10, -db/20)
		s := rise
		if off {
			s = fall
		}
		for k := range s.s.Current_A {
			s.s.Current_A[k] += sd * r.NormFloat64()
		}
		out = append(out, s)
	}
	return out
}

// met is what a study found of one way of reading.
type met struct {
	ms, inU []float64 // error of the end, and over its uncertainty
	unseen  int
}

func (m *met) add(e *coil.Edge, err error, truth_s float64) {
	if err != nil || e.Motion.Found != coil.Moved {
		m.unseen++
		return
	}
	off := math.Abs(e.Onset_s.Value + e.Motion.End_s.Value - truth_s)
	m.ms, m.inU = append(m.ms, 1e3*off), append(m.inU, off/e.Motion.End_s.U())
}

// TestStudyMotion holds the end of the plunger's motion, read from its current at
// 20 kHz in white noise, against where the plunger was: one edge by itself, and
// five that were averaged; and counts motions of plungers that are stuck. db is
// the noise below the settled current. A return makes a bump where hardly any
// current is left, and a conical pole no kink at all: in noise of 30 dB they are
// not seen, and said to be not.
func TestStudyMotion(t *testing.T) {
	for _, c := range []struct {
		size string
		off  bool
		db   float64
		seen bool
	}{
		{OnOff12, false, 30, true}, {OnOff24, false, 30, true}, {Proportional12, false, 30, false},
		{OnOff12, true, 30, false}, {OnOff12, true, 60, true}, {OnOff24, true, 60, true},
	} {
		read, what := coil.Rise, "on"
		if c.off {
			read, what = coil.Fall, "off"
		}
		both := func(list []shot, one, five *met) {
			var all []coil.Samples
			var at []float64
			truth := 0.0
			for _, s := range list {
				e, err := read(s.s, coil.Known{Switched: true, Switched_s: s.switched_s})
				one.add(e, err, s.edge_s+s.end_s)
				all, at = append(all, s.s), append(at, s.switched_s)
				truth += (s.edge_s - s.switched_s + s.end_s) / float64(len(list))
			}
			e, err := read(coil.Average(all, at), coil.Known{Switched: true})
			five.add(e, err, truth)
		}
		var one, five, stuck met
		edges := 0
		n := studied()
		if !c.seen || c.off {
			n = min(n, 40) // these only say what is not seen
		}
		for k := range n {
			r := rand.New(rand.NewPCG(uint64(k), 77))
			p, err := Draw(c.size, r)
			require.NoError(t, err)
			both(shots(unit(t, p, "", 0), r, 5, c.off, c.db), &one, &five)
			// A plunger that latches moves in the first pulse yet.
			fault := []string{stuckClosed, stuckOpen}[k%2]
			both(shots(unit(t, p, fault, 1), r, 6, c.off, c.db)[1:], &stuck, &stuck)
			edges += 6
		}
		t.Logf("%s, switching %s, %g dB, %d units:\n  one pulse: error %s; not seen %d; error/u %s\n  five together: error %s; not seen %d; error/u %s\n  stuck: %d motions in %d", c.size, what, c.db, n,
			told(one.ms), one.unseen, told(one.inU), told(five.ms), five.unseen, told(five.inU), len(stuck.ms), edges)
		assert.LessOrEqual(t, len(stuck.ms), edges/1000)
		if c.seen && !c.off {
			assert.Greater(t, near(five.ms), 0.95)
			assert.Greater(t, near(one.ms), 0.85)
		}
	}
}

// near is the share within 0.3.
func near(xs []float64) float64 {
	k := 0
	for _, x := range xs {
		if x <= 0.3 {
			k++
		}
	}
	return float64(k) / float64(max(1, len(xs)))
}

// told is median, 95 % and worst, and the share within 0.3 with its interval.
func told(xs []float64) string {
	if len(xs) == 0 {
		return "-"
	}
	xs = slices.Sorted(slices.Values(xs))
	share := near(xs)
	low, high := stat.ClopperPearson(int(share*float64(len(xs))+0.5), len(xs), 0.95)
	at := func(p float64) float64 { return xs[int(p*float64(len(xs)-1))] }
	return fmt.Sprintf("median %.3f, 95 %% %.3f, worst %.3f, within 0.3: %.3f (%.3f to %.3f)", at(.5), at(.95), at(1), share, low, high)
}
