package lot

import (
	"math"
	"time"
)

// Break is the time between two records above which somebody was away, and
// the pause is left out of the handling (chosen).
const Break = 30 * time.Minute

// Times is what a unit takes of the bench and of the day.
type Times struct {
	Test Spread `json:"test"` // one test's trace
	// Unit is all tests of a unit together.
	Unit Spread `json:"unit"`
	// Cycle is from the record of one test to that of the next on the same
	// bench, without breaks.
	Cycle Spread `json:"cycle"`
	// Handling is the cycle without the second one's trace: off the bench, onto
	// the bench, scanned, questions answered. None where traces are simulated.
	Handling Spread `json:"handling"`
	Breaks   int    `json:"breaks"`
	// Tests in order, for the figure.
	Points []TimePoint `json:"-"`
}

// TimePoint is one test in the order of the day; NaN where a time is not known.
type TimePoint struct {
	Unit             int // number of the unit on the bench, from 1
	Test_s, Handling float64
}

// timesOf is what the tests of a lot took.
func timesOf(tests []Test, units []Unit) Times {
	var test, cycle, handling, whole []float64
	number := map[string]int{}
	for i := range units {
		sum := 0.0
		for _, t := range units[i].Tests {
			sum += t.Length_s
		}
		whole = append(whole, sum)
		number[Key(units[i].Serial)] = i + 1
	}
	out := Times{}
	last := map[string]time.Time{} // by bench
	for _, t := range order(pointers(tests)) {
		p := TimePoint{Unit: number[Key(t.At.Unit)], Test_s: t.Length_s, Handling: math.NaN()}
		if w, _ := t.Weight(); w != Broken { // one that broke off says nothing of how long tests take
			test = append(test, t.Length_s)
		}
		before, ok := last[t.ID.Bench]
		last[t.ID.Bench] = t.When
		if ok {
			switch d := t.When.Sub(before); {
			case d < 0 || t.ClockDoubt != "": // not known
			case d > Break+seconds(t.Length_s):
				out.Breaks++
			default:
				cycle = append(cycle, d.Seconds())
				if rest := d.Seconds() - t.Length_s; rest >= 0 {
					p.Handling = rest
					handling = append(handling, rest)
				}
			}
		}
		out.Points = append(out.Points, p)
	}
	out.Test, out.Unit, out.Cycle, out.Handling = newSpread(test), newSpread(whole), newSpread(cycle), newSpread(handling)
	return out
}

// seconds is a time that may not be known; then it is none.
func seconds(s float64) time.Duration {
	if !(s > 0 && s < 1e6) {
		return 0
	}
	return time.Duration(s * float64(time.Second))
}
