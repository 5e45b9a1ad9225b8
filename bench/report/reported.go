package report

import (
	"fmt"

	"dutybench/bench/result"
)

// mostReports is how many things that a unit said of itself are shown; the
// JSON has all of them.
const mostReports = 8

// unknownLine is all that the table does not know, of which there are several.
func unknownLine(list []result.UnitReport, n int) string {
	var first, last result.UnitReport
	for _, r := range list {
		if !r.Unknown {
			continue
		}
		if first == (result.UnitReport{}) {
			first = r
		}
		last = r
	}
	return fmt.Sprintf("%d times the unit reports something that its table does not know, first at %.2f s and last until %.2f s.", n, first.From, last.To)
}

// reportedLines are what the unit said of itself, as its own word.
func reportedLines(list []result.UnitReport) []string {
	var out []string
	unknown := 0
	for _, r := range list {
		if r.Unknown {
			unknown++
		}
	}
	told := false // of what the table does not know, in one line
	for _, r := range list {
		if r.Unknown && told {
			continue
		}
		if len(out) == mostReports {
			out = append(out, "It said more; the JSON has all of it.")
			break
		}
		s := r.Sentence
		if r.Unknown && unknown > 1 {
			s, told = unknownLine(list, unknown), true
		}
		if r.Cause != "" {
			s += " Its maker's table names as cause: " + r.Cause + "."
		}
		out = append(out, s)
	}
	if len(out) > 0 {
		out = append(out, "That is the unit's own word, no measurement: it decided nothing.")
	}
	return out
}
