package learn

import (
	"fmt"
	"math"

	"dutybench/profiles"
	"dutybench/signal/stat"
)

// A unit that lies this many robust standard deviations (1.4826 × the median
// deviation) from the median of the others is no good unit of the same type;
// more for fewer units, whose median deviation is itself uncertain. Of normal
// good units alone, and without the floors below, one lies beyond in 1.4 % of
// quantities for five units, 0.1 % for ten, 0.01 % for twenty (400,000 draws
// each); whoever is left out is named.
func strange(n int) float64 { return 8 + 40/float64(n) }

// The least spread that a quantity is taken to have here, relative: units of
// one type differ by per cents, and only what stands clear of that is strange.
const leastShare = 0.02

// Times of a start do not spread like currents: a rotor that catches at the
// second turn instead of the first takes half as long again, and is as good.
const leastTime = 0.25

func leastOf(unit string) float64 {
	if unit == "s" {
		return leastTime
	}
	return leastShare
}

// leaveOut drops units that do not belong, worst first, and says why.
func leaveOut(units []measured, grid []float64) (good []measured, why []string) {
	good = units
	for len(good) > 3 {
		worst, at, reason := 0.0, -1, ""
		check := func(name, unit string, get func(measured) (float64, bool)) {
			var xs []float64
			var of []int
			for i, u := range good {
				if x, ok := get(u); ok && !math.IsNaN(x) {
					xs, of = append(xs, x), append(of, i)
				}
			}
			if len(xs) < 4 {
				return
			}
			med := stat.Median(xs)
			sd := max(stat.RobustSD(xs), leastOf(unit)*math.Abs(med), floor(unit, med))
			for j, x := range xs {
				if z := math.Abs(x-med) / sd; z > worst {
					worst, at = z, of[j]
					reason = fmt.Sprintf("%s of unit %s is %.4g %s, and half of the others lie within %.2g of %.4g", name, good[of[j]].unit, x, unit, stat.MAD(xs), med)
				}
			}
		}
		for i, d := range grid {
			check(fmt.Sprintf("current at %g %% duty", d), "A", func(u measured) (float64, bool) { return u.up[i], true })
		}
		for _, v := range everything(goodUnits(good)) {
			check(v.Name, v.Unit, func(u measured) (float64, bool) { return profiles.GoodUnit{Values: u.values}.Get(v.Name) })
		}
		if at < 0 || worst < strange(len(good)) {
			break
		}
		why = append(why, reason+"; left out")
		next := make([]measured, 0, len(good)-1)
		next = append(next, good[:at]...)
		good = append(next, good[at+1:]...)
	}
	return good, why
}

// floor is the least spread of a quantity in its own unit: what no bench
// repeats better, so that a quantity that is near zero in all units does not
// make one strange. size is that of the quantity.
func floor(unit string, size float64) float64 {
	switch unit {
	case "A":
		return 0.002
	case "s":
		// Times of a switched coil are shorter than this themselves.
		if least := math.Abs(size); least < 0.05 {
			return leastTime * least
		}
		return 0.05
	case "%":
		return 0.5
	case "": // a count
		return 0.1
	case "ohm":
		return 0.005
	case "V":
		return 0.05
	case "C":
		return 0.002
	}
	return 0
}
