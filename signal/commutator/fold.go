package commutator

import (
	"fmt"
	"math"

	"dutybench/signal/spectrum"
)

// A true line moves in proportion to the speed. Folded once, at rate − f, it
// moves the other way and by (rate − f)/f as much, 1.5 times at least where it
// appears below 0.4 of the rate; folded twice, at rate + f, the right way and 3.5
// times as much at least. Between, halfway in ratio:
const (
	leastMoved = 0.4
	mostMoved  = 1.85
)

// unfold is the true frequency of a line as it appears, when only one can be.
func (o Options) unfold(f_Hz, rate_Hz float64) (float64, error) {
	if f_Hz > usable*rate_Hz {
		return 0, fmt.Errorf("%w: %.4g Hz is above 0.4 of the rate of %.4g Hz: sample faster", ErrFolded, f_Hz, rate_Hz)
	}
	highest := math.Inf(1)
	if o.Fastest_rpm > 0 {
		highest = o.Fastest_rpm / 60 * float64(o.PerTurn)
	}
	if o.Highest_Hz > 0 {
		highest = min(highest, o.Highest_Hz)
	}
	if rate_Hz-f_Hz > highest {
		return f_Hz, nil // whatever would fold onto it is beyond reach
	}
	seen := o.Moved != 0 && !math.IsNaN(o.Moved)
	if seen && o.Moved >= leastMoved && o.Moved <= mostMoved {
		return f_Hz, nil
	}
	if !seen && o.Expected_rpm > 0 && o.Within > 1 {
		// One estimate that leaves no room for any fold is as good.
		can := 0
		for _, c := range spectrum.Candidates(f_Hz, rate_Hz, 2*o.Within*o.Expected_rpm/60*float64(o.PerTurn)) {
			if o.fits(c) {
				can++
			}
		}
		if can == 1 && o.fits(f_Hz) {
			return f_Hz, nil
		}
	}
	if seen {
		return 0, fmt.Errorf("%w: the line at %.4g Hz moves %.2g times as the speed does: sample faster", ErrFolded, f_Hz, o.Moved)
	}
	return 0, fmt.Errorf("%w: at %.4g Hz sampling, a line at %.4g Hz may as well be at %.4g Hz: sample faster, or state the speed without load in the profile", ErrFolded, rate_Hz, f_Hz, rate_Hz-f_Hz)
}

// Follow is how a line moves with the speed, from readings of its apparent
// frequency and of what is in proportion to the speed, such as the back-EMF: the
// relative change of the one over that of the other, with its standard
// uncertainty. NaN when the speed moved too little to say.
func Follow(speed, apparent_Hz, u_Hz []float64) (ratio, u float64) {
	n := min(len(speed), len(apparent_Hz), len(u_Hz))
	var ms, mf float64
	for i := range n {
		ms, mf = ms+speed[i]/float64(n), mf+apparent_Hz[i]/float64(n)
	}
	var sxx, sxy, un float64
	for i := range n {
		ds, df := speed[i]/ms-1, apparent_Hz[i]/mf-1
		sxx, sxy = sxx+ds*ds, sxy+ds*df
		un = max(un, u_Hz[i]/mf)
	}
	if n < 2 || !(sxx > 0) || math.IsInf(ms, 0) || math.IsInf(mf, 0) {
		return math.NaN(), math.NaN()
	}
	ratio, u = sxy/sxx, un/math.Sqrt(sxx)
	if !(3*u < 0.5) { // cannot tell 1 from the nearest fold
		return math.NaN(), u
	}
	return ratio, u
}
