package wire

import (
	"math"
	"math/rand/v2"
	"slices"
	"sort"
)

// wave is what is truly on a wire: levels with times, free of any input.
type wave struct {
	at    []float64 // changes
	high  []bool    // level after each
	start bool
	end   float64
}

// add lets the wire stay at a level for so long.
func (w *wave) add(high bool, length float64) {
	if w.end == 0 && len(w.at) == 0 {
		w.start = high
	} else if w.level() != high {
		w.at, w.high = append(w.at, w.end), append(w.high, high)
	}
	w.end += length
}

func (w *wave) level() bool {
	if n := len(w.high); n > 0 {
		return w.high[n-1]
	}
	return w.start
}

// levelAt is the level at a time.
func (w *wave) levelAt(t float64) bool {
	i := sort.SearchFloat64s(w.at, math.Nextafter(t, math.Inf(1)))
	if i == 0 {
		return w.start
	}
	return w.high[i-1]
}

// window cuts a stretch out.
func (w *wave) window(from, to float64) Edges {
	e := Edges{Start_s: from, End_s: to, StartHigh: w.levelAt(from)}
	for i, t := range w.at {
		if t > from && t < to {
			e.At_s, e.High = append(e.At_s, t), append(e.High, w.high[i])
		}
	}
	return e
}

// stamped rounds the times down to a clock's steps and delays rising edges.
func stamped(e Edges, step, skew float64) Edges {
	e.Resolution_s, e.Skew_s = step, max(e.Skew_s, math.Abs(skew))
	e.At_s = slices.Clone(e.At_s)
	for i := range e.At_s {
		t := e.At_s[i]
		if e.High[i] {
			t += skew
		}
		if step > 0 {
			t = math.Floor(t/step) * step
		}
		e.At_s[i] = t
	}
	for i := range e.At_s { // a skew may not turn the order round
		e.At_s[i] = max(e.At_s[i], e.Start_s)
		if i > 0 {
			e.At_s[i] = max(e.At_s[i], e.At_s[i-1])
		}
		e.End_s = max(e.End_s, e.At_s[i])
	}
	return e
}

// pwmSpec says how a PWM is drawn.
type pwmSpec struct {
	f, duty         float64 // Hz, share
	edgeJitter      float64 // of each edge, in periods
	walk            float64 // of each period's length, in periods: adds up
	dropOut, glitch float64 // chances in a period
}

func (p pwmSpec) wave(rng *rand.Rand, length float64) *wave {
	w := &wave{}
	T := 1 / p.f
	t := T * (0.1 + 0.9*rng.Float64())
	w.add(false, t/2)
	for t < length {
		period := T * (1 + p.walk*rng.NormFloat64())
		rise, fall := t+p.edgeJitter*T*rng.NormFloat64(), t+p.duty*period+p.edgeJitter*T*rng.NormFloat64()
		t += period
		switch {
		case rng.Float64() < p.dropOut:
		case rise <= w.end || fall <= rise || fall >= t:
		default:
			w.add(false, rise-w.end)
			w.add(true, fall-rise)
			if rng.Float64() < p.glitch { // a short pulse the other way
				at, long := rng.Float64(), (0.005+0.02*rng.Float64())*T
				if gap := t - fall - long; gap > 2*long {
					w.add(false, at*(gap-long)+long/2)
					w.add(true, long)
				}
			}
		}
		if t > w.end {
			w.add(false, 0)
		}
	}
	if w.end < length {
		w.add(w.level(), length-w.end)
	}
	return w
}

// serial is random bytes: a start bit, eight bits from the lowest up, a stop
// bit, with pauses between.
func serial(rng *rand.Rand, baud, pauseChance, length float64) *wave {
	w := &wave{}
	bit := 1 / baud
	w.add(true, bit*(1+20*rng.Float64()))
	for w.end < length {
		b := rng.Uint32()
		w.add(false, bit)
		for i := range 8 {
			w.add(b>>i&1 == 1, bit)
		}
		w.add(true, bit)
		if rng.Float64() < pauseChance {
			w.add(true, bit*rng.ExpFloat64()*30)
		}
	}
	return w
}

// framed is frames as ISO 17987 describes them: a break of 13 bits, 0x55, an
// identifier and up to nine bytes, in slots.
func framed(rng *rand.Rand, baud, length float64) *wave {
	w := &wave{}
	bit := 1 / baud
	w.add(true, bit*(1+50*rng.Float64()))
	char := func(b uint32) {
		w.add(false, bit)
		for i := range 8 {
			w.add(b>>i&1 == 1, bit)
		}
		w.add(true, bit*(1+float64(rng.IntN(3))))
	}
	for w.end < length {
		w.add(false, 13*bit)
		w.add(true, bit)
		char(0x55)
		for range 2 + rng.IntN(8) {
			char(rng.Uint32() & 0xff)
		}
		w.add(true, bit*float64(5+rng.IntN(100)))
	}
	return w
}

// stuffed is frames of random bits with a bit of the other level after five
// equal ones, as ISO 11898-1 asks for; high is recessive.
func stuffed(rng *rand.Rand, rate, length float64) *wave {
	w := &wave{}
	bit := 1 / rate
	w.add(true, bit*(1+50*rng.Float64()))
	for w.end < length {
		last, run := false, 1
		put := func(b bool) {
			w.add(b, bit)
			if b == last {
				run++
			} else {
				last, run = b, 1
			}
			if run == 5 {
				last, run = !last, 1
				w.add(last, bit)
			}
		}
		w.add(false, bit)
		for range 34 + 8*rng.IntN(9) {
			put(rng.IntN(2) == 1)
		}
		w.add(true, bit*float64(11+rng.IntN(200)))
	}
	return w
}

// input turns a wave into samples of a voltage.
type input struct {
	low, high, noise float64 // V
	step             float64 // V
	interval         float64 // s
	uneven           float64 // share of the interval, either way
	filter           float64 // s, of first order
}

func (in input) levels(rng *rand.Rand, w *wave) *Levels {
	l := &Levels{Step_V: in.step, Filter_s: in.filter}
	v := func(high bool) float64 {
		if high {
			return in.high
		}
		return in.low
	}
	y := v(w.start)
	at, i, level := 0.0, 0, w.start
	for t := 0.0; t <= w.end; t += in.interval * (1 + in.uneven*(2*rng.Float64()-1)) {
		for i < len(w.at) && w.at[i] <= t {
			if in.filter > 0 {
				y += (v(level) - y) * -math.Expm1(-(w.at[i]-at)/in.filter)
				at = w.at[i]
			}
			level = w.high[i]
			i++
		}
		if in.filter > 0 {
			y += (v(level) - y) * -math.Expm1(-(t-at)/in.filter)
			at = t
		} else {
			y = v(level)
		}
		x := y + in.noise*rng.NormFloat64()
		if in.step > 0 {
			x = math.Round(x/in.step) * in.step
		}
		l.At_s, l.V = append(l.At_s, t), append(l.V, x)
	}
	return l
}

func between(rng *rand.Rand, a, b float64) float64 { return a + (b-a)*rng.Float64() }

// logBetween is drawn evenly over the logarithm.
func logBetween(rng *rand.Rand, a, b float64) float64 { return a * math.Pow(b/a, rng.Float64()) }
