package wire

import (
	"math"
	"slices"
)

// What makes pulses a bus.
const (
	fewestPulses = 20  // chosen: of either sort together
	longestRun   = 16  // bits; longer ones are pauses. LIN's break has 13 or more (ISO 17987, from memory)
	onLattice    = 0.5 // mean cosine; edges that scatter by 0.19 of a bit each way still reach it
	surelyBits   = 5.0 // and standard deviations above chance
	bitSteps     = 3   // a bit must be so many steps of the timing
)

// bits is what the pulses say about a common bit time.
type bits struct {
	found   bool
	bit_s   float64
	blurred bool // the shortest pulses are as short as the timing's steps
}

// quantum looks for a bit time of which all pulses are multiples, by the
// cosine quantogram (D. G. Kendall, Hunting quanta, Phil. Trans. R. Soc. A 276
// (1974) 231): the mean of cos 2πL/q over lengths L, which is near 1 where all
// are multiples of q, and scatters by 1/√(2N) around 0 by chance. Lengths are
// taken between edges of one sort, so that a comparator's skew drops out.
func quantum(c chain) bits {
	var b bits
	highs, lows := c.pulses(true), c.pulses(false)
	if len(highs)+len(lows) < fewestPulses || len(highs) == 0 || len(lows) == 0 {
		return b
	}
	short := (tenth(highs) + tenth(lows)) / 2 // skew adds to one and takes from the other
	if !(short > 1e-9) || short < bitSteps*c.resolution {
		b.blurred = true
		return b
	}
	var lengths []float64
	for _, rising := range []bool{true, false} {
		for _, y := range c.cycles(rising) {
			if y.length() <= longestRun*short {
				lengths = append(lengths, y.length())
			}
		}
	}
	if len(lengths) < fewestPulses/2 {
		return b
	}
	// A few hundred lengths, spread over all, tell as much as thousands.
	few := lengths[:0:0]
	for i := 0; i < len(lengths); i += 1 + len(lengths)/400 {
		few = append(few, lengths[i])
	}
	best := -1.0
	look := func(from, to, step float64) {
		for q := from; q <= to; q += step {
			if v := quantogram(few, q); v > best {
				best, b.bit_s = v, q
			}
		}
	}
	look(0.8*short, 1.2*short, short/80)
	look(b.bit_s-short/80, b.bit_s+short/80, short/400)
	lengths = few
	// Cycles overlap, one of each sort: half of them are independent.
	chance := 1 / math.Sqrt(float64(len(lengths)))
	b.found = best >= onLattice && best >= surelyBits*chance && varied(highs, b.bit_s) && varied(lows, b.bit_s)
	return b
}

func quantogram(lengths []float64, q float64) float64 {
	sum := 0.0
	for _, l := range lengths {
		sum += math.Cos(2 * math.Pi * l / q)
	}
	return sum / float64(len(lengths))
}

// tenth is the length that a tenth of the pulses stay below.
func tenth(xs []float64) float64 {
	s := slices.Sorted(slices.Values(xs))
	return s[len(s)/10]
}

// varied says that pulses of one level have at least two lengths in bits, with
// a tenth of them or more not of the commonest. A PWM with drop-outs has one
// level at which all pulses are alike.
func varied(xs []float64, bit_s float64) bool {
	counts := map[int]int{}
	for _, x := range xs {
		counts[int(math.Round(min(x/bit_s, 2*longestRun)))]++
	}
	most := 0
	for _, n := range counts {
		most = max(most, n)
	}
	return float64(len(xs)-most) >= 0.1*float64(len(xs))
}
