package lot

import (
	"strings"

	"dutybench/bench/plot"
	"dutybench/bench/result"
)

// CauseWord is a cause as a person would say it.
func CauseWord(c result.Cause) string {
	switch c {
	case result.ControlBoard:
		return "control board"
	case result.Bench:
		return "the bench itself"
	}
	return plot.Plain(string(c))
}

// CausesWord is what a failed unit named.
func CausesWord(cs []result.Cause) string {
	if len(cs) == 0 {
		return "no cause stands out"
	}
	var s []string
	for _, c := range cs {
		s = append(s, CauseWord(c))
	}
	return strings.Join(s, " or ")
}

// Words are a unit's verdict in one line for the person at the bench.
func (u *Unit) Words() string {
	var s string
	switch u.Verdict {
	case result.Pass:
		s = "good in all that was measured"
	case result.Fail:
		s = "failed: " + CausesWord(u.Causes)
	default:
		s = "undecided"
		if u.Counted == 0 {
			s = "not tested yet"
		}
	}
	if len(u.Why) > 0 {
		s += "; " + plot.Plain(strings.Join(u.Why, "; "))
	}
	return s
}
