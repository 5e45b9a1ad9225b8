package stranger

import (
	"math"
	"math/rand/v2"
	"sort"
)

// tickS is the step of the board and the rotor.
const tickS = 1e-3

// score is what the board did, one entry a tick; the sample layer plays it.
type score struct {
	amps, volts []float64 // supply current without fine detail; at the unit
	turns       []float64 // of the shaft, summed
	ripple, mod []float32 // relative, of commutation and once a turn
	try         []float32 // seconds into an attempt, negative outside
	hobble      []bool    // running on two phases
	peaks       []float64 // times of switching on
	trippedS    float64   // when the bench cut; 0 never
}

type state int

const (
	off state = iota
	booting
	idle
	trying
	resting
	latched
	running
)

// player runs one board through a plan.
type player struct {
	u   *Unit
	a   *ailment
	rng *rand.Rand

	st          state
	since       float64 // time of the last change of state
	wakeAt      float64
	tries       int
	left        int // attempts that will still fail
	blips       int
	restS       float64
	w, v, vSlow float64
	w0, w0Duty  float64 // settled speed and the duty, supply it was solved for
	w0V, w0Warm float64
	w0Power     float64
	starving    bool // in the supply's limit
	drops       []float64
	dropEnd     float64
	overS       float64
	unrest      float64 // water's, about 1 SD
	bubble      float64
	warm        float64
}

func (u *Unit) play(a *ailment, sourceOhm float64, rng *rand.Rand) *score {
	m := &u.Model
	total := length(m.Plan)
	n := int(math.Ceil(total/tickS)) + 2
	sc := &score{
		amps: make([]float64, n), volts: make([]float64, n), turns: make([]float64, n),
		ripple: make([]float32, n), mod: make([]float32, n), try: make([]float32, n), hobble: make([]bool, n),
	}
	p := &player{u: u, a: a, rng: rng, left: a.stuckTries, blips: a.blips, w0Duty: -1}
	p.drops = dropTimes(m.Plan, a.drops, rng)
	r := sourceOhm + a.lineOhm
	limit := m.SourceLimitA
	if a.sourceA > 0 {
		limit = a.sourceA
	}
	step, stepEnd := 0, m.Plan[0].LengthS
	turns, wasOn := 0.0, false
	for i := range n {
		t := float64(i) * tickS
		for t >= stepEnd && step < len(m.Plan)-1 {
			step++
			stepEnd += m.Plan[step].LengthS
		}
		on := m.Plan[step].Supply && sc.trippedS == 0
		if on && !wasOn {
			p.v, p.vSlow = m.NominalV, m.NominalV
			sc.peaks = append(sc.peaks, t)
		}
		wasOn = on
		if i%50 == 0 {
			p.warm = 1 - math.Exp(-math.Pow(t/m.WarmS, m.WarmExponent))
		}
		p.unrest += -p.unrest*tickS/0.15 + rng.NormFloat64()*0.1155 // sqrt(2·tick/0.15 s)
		if a.bubbles > 0 {
			p.bubble += -p.bubble*tickS/0.08 + rng.NormFloat64()*0.1581
		}

		duty := m.Plan[step].DutyPct
		if a.heard >= 0 {
			duty = a.heard
		}
		p.move(t, on, duty)
		amps := p.supply(on, t, duty, r, limit)
		turns += p.w / (2 * math.Pi) * tickS

		sc.amps[i], sc.volts[i], sc.turns[i] = amps, p.v, turns
		sc.try[i] = -1
		switch p.st {
		case trying:
			sc.try[i] = float32(t - p.since)
		case running:
			p.detail(sc, i)
		}
		if m.TripS > 0 && on {
			rated := m.RatedW / m.NominalV
			if amps > 0.95*m.SourceLimitA || amps > 2.5*rated+1 || amps > 1.2*rated && p.v < 4 {
				if p.overS += tickS; p.overS > m.TripS {
					sc.trippedS = t
				}
			} else {
				p.overS = 0
			}
		}
	}
	return sc
}

// dropTimes spreads n drop-outs over the time of the plan in which the unit
// should run.
func dropTimes(plan []Step, n int, rng *rand.Rand) []float64 {
	if n == 0 {
		return nil
	}
	first, last, t := math.Inf(1), 0.0, 0.0
	for _, s := range plan {
		if s.Supply && s.DutyPct > 16 {
			first = math.Min(first, t)
			last = t + s.LengthS
		}
		t += s.LengthS
	}
	first += 3
	out := make([]float64, n)
	for i := range out {
		out[i] = first + (last-first)*rng.Float64()
	}
	sort.Float64s(out)
	return out
}

func (p *player) enter(st state, t float64) { p.st, p.since = st, t }

// move lets the board's state follow supply, duty and time.
func (p *player) move(t float64, on bool, duty float64) {
	m, a := &p.u.Model, p.a
	if !on {
		if p.st != off {
			p.enter(off, t)
			p.tries = 0
		}
		return
	}
	if a.dead {
		p.enter(idle, t)
		return
	}
	for len(p.drops) > 0 && t >= p.drops[0] {
		p.drops = p.drops[1:]
		if p.st == running {
			p.dropEnd = t + 0.02*math.Pow(20, p.rng.Float64())
		}
	}
	stop := duty < m.StopDuty
	age := t - p.since
	switch p.st {
	case off:
		p.enter(booting, t)
	case booting:
		if p.v < m.ResetV {
			p.since = t
		} else if age >= p.u.bootS {
			p.enter(idle, t)
			p.wakeAt = 0
		}
	case idle:
		if duty < m.StartDuty {
			p.wakeAt = 0
			return
		}
		if p.wakeAt == 0 {
			p.wakeAt = t + p.u.wakeS
		}
		if t < p.wakeAt || a.neverStarts {
			return
		}
		if p.blips > 0 {
			p.blips--
			p.wakeAt = t + a.blipS
			return
		}
		p.enter(trying, t)
		p.tries++
		p.w = 0
	case trying:
		long := (m.AlignS + m.ForcedS) * p.u.timeGain
		if p.left > 0 {
			long += m.StallS * p.u.timeGain
		}
		switch {
		case stop:
			p.enter(idle, t)
		case age >= long && p.left > 0:
			if p.left < forever {
				p.left--
			}
			p.fail(t)
		case age >= long:
			p.enter(running, t)
			p.w = 0.18 * p.u.w0
			p.w0Duty = -1
			p.starving = false
		}
	case resting:
		if stop {
			p.tries = 0
			p.enter(idle, t)
		} else if age >= p.restS {
			p.enter(trying, t)
			p.tries++
		}
	case latched:
		if stop && !m.LatchHolds {
			p.tries = 0
			p.enter(idle, t)
		}
	case running:
		if stop {
			p.enter(idle, t)
			p.wakeAt = 0
		} else if p.w < 0.03*p.u.w0 {
			p.fail(t)
		} else if age > 2 {
			p.tries = 0
		}
		if t < p.dropEnd && !a.dropRelocks {
			p.enter(booting, p.dropEnd)
		}
	}
}

func (p *player) fail(t float64) {
	m := &p.u.Model
	if m.LatchAfter > 0 && p.tries >= m.LatchAfter {
		p.enter(latched, t)
		return
	}
	p.restS = m.RestS * p.u.timeGain * math.Pow(m.RestGrowth, float64(p.tries-1))
	p.enter(resting, t)
}

// detail notes ripple and modulation of a running tick.
func (p *player) detail(sc *score, i int) {
	m := &p.u.Model
	shaft := p.w / (2 * math.Pi)
	f := 6 * float64(m.PolePairs) * shaft
	fade := 1 / math.Sqrt(1+f*f/(m.RippleCornerHz*m.RippleCornerHz))
	mod := p.u.imbalance + p.a.rub
	if m.Averages {
		fade *= sinc(f / m.RateHz)
		mod *= sinc(shaft / m.RateHz)
	}
	sc.ripple[i] = float32(p.u.ripple * fade)
	sc.mod[i] = float32(mod)
	sc.hobble[i] = p.a.openPhase > 0
}

func sinc(x float64) float64 {
	x *= math.Pi
	if x < 1e-6 {
		return 1
	}
	return math.Sin(x) / x
}
