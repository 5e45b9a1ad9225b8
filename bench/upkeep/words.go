package upkeep

import (
	"fmt"
	"math"
	"strings"

	"dutybench/bench/plot"
)

// named is a finding's name as words.
func named(finding string) string { return plot.Plain(strings.ReplaceAll(finding, "_", " ")) }

// inUnit is a number with so many digits and its unit.
func inUnit(x float64, digits int, unit string) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return plot.None
	}
	if s := plot.Short(x, digits); unit == "" {
		return s
	} else {
		return s + " " + plot.Plain(unit)
	}
}

// percent of a share.
func percent(x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return plot.None
	}
	return plot.Short(100*x, 3) + " %"
}

// number for JSON: nil where there is none.
func number(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

// count is a number of things.
func count(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %ss", n, one)
}
