package spectrum

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"dutybench/signal/stat"
)

// ErrAliased means that a line may have been folded down by sampling, so that
// its true frequency cannot be known.
var ErrAliased = errors.New("spectrum: the line may be folded by sampling, its true frequency cannot be known")

// Candidates are the true frequencies, up to highest_Hz, that all appear at
// f_Hz when sampled at rate_Hz: n·rate ± f, rising.
func Candidates(f_Hz, rate_Hz, highest_Hz float64) []float64 {
	if !(rate_Hz > 0) || !(f_Hz >= 0) || !finite(highest_Hz) || !finite(f_Hz) {
		return nil
	}
	f := Apparent(f_Hz, rate_Hz)
	const most = 10_000
	var out []float64
	for n := 0; len(out) < most; n++ {
		base := float64(n) * rate_Hz
		if base-f > highest_Hz {
			break
		}
		if n > 0 {
			out = append(out, base-f)
		}
		if base+f <= highest_Hz {
			out = append(out, base+f)
		}
	}
	return slices.Compact(out)
}

// Apparent is where a frequency appears after sampling at rate_Hz, 0 to half
// the rate.
func Apparent(f_Hz, rate_Hz float64) float64 {
	f := math.Mod(math.Abs(f_Hz), rate_Hz)
	return min(f, rate_Hz-f)
}

// Resolve is the true frequency of a line that appears at f_Hz, when only one
// can be: highest_Hz is the highest frequency that can reach the samples,
// which is where the anti-alias filter has cut off, or the fastest that the
// source can be, whichever is lower; 0 or +Inf when neither is known.
// ErrAliased, with the first candidates, when there is more than one.
func Resolve(f_Hz, rate_Hz, highest_Hz float64) (float64, error) {
	if !(rate_Hz > 0) || !finite(rate_Hz) || !(f_Hz >= 0 && f_Hz <= rate_Hz/2) {
		return 0, fmt.Errorf("spectrum: a line cannot appear at %g Hz when sampled at %g Hz; give it as found, up to half the rate", f_Hz, rate_Hz)
	}
	known := highest_Hz > 0 && finite(highest_Hz)
	up := 2 * rate_Hz
	if known {
		up = highest_Hz
	}
	c := Candidates(f_Hz, rate_Hz, up)
	switch {
	case !known:
		return 0, fmt.Errorf("%w: at %g Hz a line of %.4g Hz may be any of %.4g; sample with an anti-alias filter or state the highest frequency", ErrAliased, rate_Hz, f_Hz, c)
	case len(c) == 0:
		return 0, fmt.Errorf("%w: %.4g Hz is above the highest frequency of %.4g Hz and no other fits; check that frequency and the sampling rate", ErrAliased, f_Hz, highest_Hz)
	case len(c) > 1:
		return 0, fmt.Errorf("%w: at %g Hz a line of %.4g Hz may be any of %.4g; sample faster than %.4g Hz", ErrAliased, rate_Hz, f_Hz, c[:min(4, len(c))], 2*highest_Hz)
	}
	return c[0], nil
}

// SixStep is how many ripples of the supply current a six-step drive makes in
// one turn of the shaft: one a commutation, six an electrical turn.
func SixStep(polePairs int) int { return 6 * polePairs }

// usable is the share of the rate up to which a line gives a speed: nearer
// half the rate, filters and folding leave too little of it.
const usable = 0.4

// Speed is the shaft's speed in rpm from a line that comes perTurn times a
// turn (SixStep for ripple, the pole pairs for a phase voltage): 60·f/perTurn.
// highest_Hz as in Resolve. ErrAliased when the line is not the only one that
// fits, or lies above 0.4 of the rate.
func Speed(l Line, perTurn int, rate_Hz, highest_Hz float64) (stat.Quantity, error) {
	if perTurn < 1 {
		return stat.Quantity{}, fmt.Errorf("spectrum: %d lines a turn cannot be; state the pole pairs", perTurn)
	}
	f, err := Resolve(l.Frequency_Hz, rate_Hz, highest_Hz)
	if err != nil {
		return stat.Quantity{}, err
	}
	if f > usable*rate_Hz {
		return stat.Quantity{}, fmt.Errorf("%w: %.4g Hz is above 0.4 of the rate of %g Hz; sample faster than %.4g Hz", ErrAliased, f, rate_Hz, f/usable)
	}
	k := 60 / float64(perTurn)
	return stat.Quantity{Value: k * f}.With("line frequency", k*l.U_Hz, 0), nil
}
