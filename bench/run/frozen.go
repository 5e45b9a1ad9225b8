package run

import (
	"math"

	"dutybench/signal/stat"
)

// frozen finds a converter that gives one code for ever.
//
// Every converter has noise, and the noise does not go away when current flows:
// so how far the codes scatter with the supply off says how often a living
// converter can repeat itself. Codes of a value that lies in the middle between
// two decision levels, with normal noise of σ steps, repeat with a probability
// of at most erf(0.5/(σ·√2)); as often in a row as that makes one chance in
// 10¹², and twice over, the converter is taken for dead. Where the noise is too
// small against a step to be known, nothing is said.
type frozen struct {
	step float64
	// Codes with the supply off, counted from the first one.
	first float64
	count [2*codesAround + 1]int
	n     int

	sd float64 // of the noise, in the readings' own unit; NaN not known

	last float64
	same int // readings in a row that repeat the last
	most int // of these that may be; 0: not known
}

const (
	codesAround  = 12
	fewestCodes  = 64    // readings, to know the noise from
	leastNoise   = 0.3   // steps; below, a living converter repeats itself for long
	chanceFrozen = 1e-12 // that a living one repeats itself so often (chosen)
	leastRepeats = 50
)

// learn takes a reading with the supply off.
func (f *frozen) learn(x float64) {
	if !(f.step > 0) || math.IsNaN(x) || math.IsInf(x, 0) {
		return
	}
	if f.n == 0 {
		f.first = x
	}
	at := math.Round((x - f.first) / f.step)
	f.count[int(min(max(at, -codesAround), codesAround))+codesAround]++
	f.n++
}

// ready works out how often the converter may repeat itself, before the
// supply goes on.
func (f *frozen) ready() {
	f.last, f.same, f.most = math.NaN(), 0, 0
	σ := f.noise()
	f.sd = σ * f.step
	if !(σ >= leastNoise) {
		return
	}
	repeats := math.Erf(0.5 / (σ * math.Sqrt2))
	f.most = max(leastRepeats, int(math.Ceil(2*math.Log(chanceFrozen)/math.Log(repeats))))
}

// noise is the standard deviation before rounding, in steps: the distance of
// two decision levels over that of the normal quantiles of what lies below
// each. It takes two levels with readings on either side, so codes of three
// sorts; NaN otherwise.
func (f *frozen) noise() float64 {
	if f.n < fewestCodes {
		return math.NaN()
	}
	below, level, quantile := 0, math.NaN(), math.NaN()
	σ := math.NaN()
	for i, n := range f.count {
		below += n
		if below < 3 || f.n-below < 3 {
			continue
		}
		z := stat.Normal(float64(below) / float64(f.n))
		if math.IsNaN(level) {
			level, quantile = float64(i), z
		} else if z > quantile {
			σ = (float64(i) - level) / (z - quantile)
		}
	}
	return σ
}

// repeats says that a reading repeats the last ones once too often.
func (f *frozen) repeats(x float64) bool {
	if x != f.last {
		f.last, f.same = x, 0
		return false
	}
	f.same++
	return f.most > 0 && f.same >= f.most
}

// single says that it has only ever read one code.
func (f *frozen) single() bool {
	for _, n := range f.count {
		if n > 0 {
			return n == f.n && f.n >= fewestCodes
		}
	}
	return false
}
