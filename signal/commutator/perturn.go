package commutator

import (
	"errors"
	"fmt"
)

// Errors that say why there is no speed; each is wrapped with what to do.
var (
	// ErrNoRipple: no line stands out of the noise where the ripple can be.
	ErrNoRipple = errors.New("commutator: no ripple stands out of the noise")
	// ErrFolded: sampling may have folded the line, or it lies above 0.4 of the rate.
	ErrFolded = errors.New("commutator: the ripple may be folded by sampling")
	// ErrUnclear: more than one line can be the ripple.
	ErrUnclear = errors.New("commutator: more than one line can be the ripple")
	// ErrSamples: the block is too short, or its values are no numbers.
	ErrSamples = errors.New("commutator: the samples do not do")
)

// PerTurn is how many ripples of the supply current one turn has: the least
// common multiple of brushes and segments (Texas Instruments, data sheet of the
// DRV8215, section on the target speed). 0 when either is not known.
func PerTurn(brushes, segments int) int {
	if brushes < 1 || segments < 1 {
		return 0
	}
	a, b := brushes, segments
	for b != 0 {
		a, b = b, a%b
	}
	return brushes / a * segments
}

// Counted is the speed in rpm of so many ripples in a time, for a count by hand.
func Counted(ripples int, time_s float64, perTurn int) (float64, error) {
	if ripples < 1 || perTurn < 1 || !(time_s > 0) {
		return 0, fmt.Errorf("commutator: %d ripples in %g s at %d a turn give no speed: count at least one, in a time above zero", ripples, time_s, perTurn)
	}
	return 60 * float64(ripples) / (time_s * float64(perTurn)), nil
}
