package outsider

import (
	"math"
	"math/cmplx"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"

	"dutybench/signal/trace"
)

// lookSeed is the set of models that the faults are looked at on.
const lookSeed = 1

// look is a faulty trace beside a good one of the same model.
type look struct {
	t          *testing.T
	m          Model
	u          *state
	tr         *trace.Trace
	amps, good []float64
	volts      []float64
	ragged     []float64
	n          int // steps of the sweep up
}

func (l look) full() int           { return 2 + l.n }
func (l look) ratio(j int) float64 { return l.amps[j] / l.good[j] }
func (l look) never()              { assert.Equal(l.t, 0, l.u.begun, "no attempt") }
func (l look) charge() float64 {
	c, on := l.tr.Current(), int(l.u.onAt*rate)-2
	sum := 0.0
	for _, x := range c[on : on+100] {
		sum += x / rate
	}
	return sum
}

// bursts are the stretches of at least 0.1 s in which the current, smoothed
// over 20 ms, lies above a level; lengths in s.
func (l look) bursts(level float64, until float64) (lengths []float64) {
	c := l.tr.Current()
	from := -1
	for i := 40; i < len(c) && l.tr.Time()[i] < until; i += 20 {
		above := mean(c[i-40:i]) > level
		if above && from < 0 {
			from = i
		}
		if !above && from >= 0 {
			if s := float64(i-from) / rate; s >= 0.1 {
				lengths = append(lengths, s)
			}
			from = -1
		}
	}
	return lengths
}

func TestSignatures(t *testing.T) {
	checks := map[string]func(look){
		"dead-board": func(l look) {
			l.never()
			assert.Greater(l.t, l.charge(), 0.5*l.u.board.farad*l.u.bench.nominalV*min(1, l.u.bench.rangeA/200))
			assert.InDelta(l.t, 0, l.amps[1], 0.004)
		},
		"dead-board-open": func(l look) {
			l.never()
			assert.InDelta(l.t, 0, l.charge(), 1e-3)
			assert.InDelta(l.t, l.u.bench.nominalV, l.volts[1], 0.1)
		},
		"dead-board-resting": func(l look) {
			l.never()
			assert.Greater(l.t, l.amps[1], 0.003)
			assert.InDelta(l.t, l.amps[0], l.amps[1], 0.003, "never awake")
		},
		"never-starts": func(l look) {
			l.never()
			assert.Greater(l.t, l.amps[1], l.amps[0]+0.02, "awake")
		},
		"open-phase": func(l look) {
			assert.Greater(l.t, l.u.begun, 2)
			// Gaps: within an attempt the current is back at the quiet one.
			c := l.tr.Current()[:20000]
			assert.Greater(l.t, crossings(c, l.u.board.awakeA+0.4*(slices.Max(c[4000:])-l.u.board.awakeA)), 20)
		},
		"deaf-full": func(l look) {
			for j := 1; j < len(l.amps)-1; j++ {
				assert.InEpsilon(l.t, l.good[l.full()], l.amps[j], 0.2)
			}
		},
		"deaf-off": func(l look) {
			l.never()
			assert.InEpsilon(l.t, l.amps[0], l.amps[l.full()], 0.3)
		},
		"power-limit": func(l look) {
			assert.Less(l.t, l.ratio(l.full()), 0.7)
			assert.InDelta(l.t, 1, l.ratio(2), 0.2, "unchanged below the limit")
			assert.InDelta(l.t, l.u.bench.nominalV, l.volts[l.full()], 0.8, "the supply holds")
		},
		"drop-outs": func(l look) {
			assert.Greater(l.t, l.u.begun, 3)
		},
		"input-short": func(l look) {
			assert.Greater(l.t, l.amps[0], 2*l.good[l.full()])
			assert.Less(l.t, l.volts[0], 3.0)
		},
		"late-start": func(l look) {
			assert.Equal(l.t, 1, l.u.begun)
			assert.Less(l.t, l.ratio(1), 0.95)
			assert.InDelta(l.t, 1, l.ratio(l.full()), 0.2)
		},
		"seized": func(l look) {
			assert.Greater(l.t, l.u.begun, 2)
			level := l.u.board.awakeA + 0.5*l.u.board.startA*l.u.board.startA*l.u.motor.ohm/l.u.nominal
			b := l.bursts(level, 40)
			if assert.Greater(l.t, len(b), 2) {
				assert.InDelta(l.t, slices.Min(b), slices.Max(b), 0.03, "equal lengths")
				assert.InDelta(l.t, l.u.board.align+l.u.board.ramp, b[0], 0.1)
			}
		},
		"binding": func(l look) {
			assert.Greater(l.t, l.ratio(2), 1.3)
			assert.Greater(l.t, l.ratio(2), l.ratio(l.full()), "most at low speed, in proportion")
		},
		"rub": func(l look) {
			assert.Greater(l.t, l.ratio(2), 1.05)
			shaft := l.turning(2)
			assert.Greater(l.t, shaft, 3*l.twin().turning(2), "once a turn")
		},
		"sticky-start": func(l look) {
			assert.Greater(l.t, l.u.begun, 2)
			assert.InDelta(l.t, 1, l.ratio(l.full()), 0.2, "then it runs")
		},
		"dry-loop": func(l look) {
			assert.Less(l.t, l.ratio(l.full()), 0.75)
			assert.Greater(l.t, l.ratio(2), l.ratio(l.full()), "most at high speed")
			assert.Greater(l.t, slices.Max(l.ragged[2+l.n/2:3+l.n])/l.good[l.full()], 0.05, "ragged")
		},
		"impeller-lost": func(l look) {
			assert.Less(l.t, l.ratio(l.full()), 0.5)
			assert.Less(l.t, l.ragged[l.full()]/l.amps[l.full()], 0.05, "quiet")
		},
		"blocked-outlet": func(l look) {
			assert.Less(l.t, l.ratio(l.full()), 0.85)
			assert.Greater(l.t, l.ratio(l.full()), 0.4)
		},
		"line-resistance": func(l look) {
			drop := l.u.bench.nominalV - l.volts[l.full()]
			assert.Greater(l.t, drop, 1.5)
			j := 2 + l.n/2
			assert.InEpsilon(l.t, drop/l.amps[l.full()], (l.u.bench.nominalV-l.volts[j])/l.amps[j], 0.1, "in proportion")
		},
		"supply-limit": func(l look) {
			assert.LessOrEqual(l.t, l.amps[l.full()], 1.02*l.u.bench.limitA)
			assert.Less(l.t, l.volts[l.full()], 0.9*l.u.bench.nominalV)
			assert.InDelta(l.t, l.u.bench.nominalV, l.volts[2], 0.2, "the supply holds below")
		},
		"unplugged": func(l look) {
			l.never()
			assert.InDelta(l.t, 0, l.charge(), 1e-3)
		},
	}
	models, goods := Models(lookSeed), goodOnes()
	for i, f := range Faults() {
		check := checks[f.Name]
		if !assert.NotNil(t, check, f.Name) {
			continue
		}
		m := models[i%len(models)]
		t.Run(f.Name+"/"+m.Name(), func(t *testing.T) {
			u := m.draw(seeded(uint64(i)))
			f.apply(&m, u, 0.85, seeded(uint64(i)))
			tr := u.record(seeded(uint64(i)))
			_, amps, volts, ragged := settled(tr)
			check(look{t, m, u, tr, amps, goods[m.Name()].amps, volts, ragged, len(m.bench.up)})
		})
	}
}

// goodOne is the settled currents and voltages of a good unit.
type goodOne struct{ amps, volts []float64 }

var goodOnes = sync.OnceValue(func() map[string]goodOne {
	goods := map[string]goodOne{}
	for i, m := range Models(lookSeed) {
		_, amps, volts, _ := settled(m.Good(seeded(uint64(i))))
		goods[m.Name()] = goodOne{amps, volts}
	}
	return goods
})

// twin is a good unit of the same model.
func (l look) twin() look {
	u := l.m.draw(seeded(77))
	l.tr, l.u = u.record(seeded(77)), u
	return l
}

// turning is the largest amplitude in A of the current between a quarter and
// one of the full shaft frequency, in the settled part of step j.
func (l look) turning(j int) (largest float64) {
	d, c := l.tr.Duty(), l.tr.Current()
	at := l.m.bench.up[j-2]
	end := slices.Index(d, 100)
	for i := end; i > 0; i-- {
		if d[i] == at && d[i-1] == at {
			end = i
			break
		}
	}
	x := c[end-1000 : end]
	center := mean(x)
	for f := 0.2; f < 1; f += 0.005 {
		w := f * l.u.motor.full / rate
		sum := complex(0, 0)
		for i, v := range x {
			sum += complex(v-center, 0) * cmplx.Rect(0.5*(1-math.Cos(2*math.Pi*float64(i)/1000)), w*float64(i))
		}
		largest = max(largest, 4*cmplx.Abs(sum)/1000)
	}
	return largest
}

func crossings(x []float64, level float64) (n int) {
	for i := 1; i < len(x); i++ {
		if (x[i-1] < level) != (x[i] < level) {
			n++
		}
	}
	return n
}

// What is called gross departs by far from a good one: in a settled current,
// in the supply, or in its start.
func TestGrossIsStark(t *testing.T) {
	models, goods := Models(lookSeed), goodOnes()
	for i, f := range Faults() {
		if !f.Gross {
			continue
		}
		m := models[(i+1)%len(models)]
		u := m.draw(seeded(uint64(i)))
		f.apply(&m, u, 0.7, seeded(uint64(i)))
		_, amps, volts, _ := settled(u.record(seeded(uint64(i))))
		good, supply := goods[m.Name()].amps, goods[m.Name()].volts
		most := 0.0
		for j := 1; j < len(amps)-1; j++ {
			most = max(most, math.Abs(amps[j]/good[j]-1), math.Abs(volts[j]/supply[j]-1))
		}
		assert.True(t, most > 0.2 || u.begun != 1 || u.ill.wakeGap > 0, "%s on %s: %.0f %%", f.Name, m.Name(), 100*most)
	}
}
