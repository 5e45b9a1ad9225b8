package stat

import "math"

// WholePercent is a share of 0 to 1 in whole per cent, for people. An end that
// is not reached is not rounded to 0 or 100. NaN gives 0.
func WholePercent(share float64) int {
	switch p := int(math.Round(100 * share)); {
	case math.IsNaN(share):
		return 0
	case p == 0 && share > 0:
		return 1
	case p == 100 && share < 1:
		return 99
	default:
		return p
	}
}
