package lot

import (
	"fmt"
	"slices"
	"strings"
)

// circumstances gathers under what the lot was tested, and what is odd in it.
func (s *Summary) circumstances(tests []*Test) {
	doubtful, unread, simulated, revisions := 0, 0, 0, map[string]bool{}
	for i, t := range tests {
		if i == 0 {
			s.From = t.When
		}
		s.To = t.When
		if t.Rig.Simulated || t.Rig.Name == "sim" { // so called before records said so
			simulated++
			s.Simulated = true
		}
		s.Rigs = once(s.Rigs, t.Rig.Name)
		s.Operators = once(s.Operators, t.At.Operator)
		if t.Profile.Name != "" {
			s.Profiles = once(s.Profiles, fmt.Sprintf("%s, revision %d", t.Profile.Name, t.Profile.Revision))
			revisions[t.Profile.SHA256] = true
		}
		switch w, _ := t.Weight(); w {
		case Broken:
			s.Broken++
		case OfBench:
			s.Bench++
		}
		if t.ClockDoubt != "" {
			doubtful++
		}
		if t.Unread != "" {
			unread++
		}
	}
	s.Profiles, s.Rigs, s.Operators = list(s.Profiles), list(s.Rigs), list(s.Operators)
	note := func(format string, args ...any) { s.Notes = append(s.Notes, fmt.Sprintf(format, args...)) }
	switch {
	case s.Simulated && simulated == s.Records:
		note("Simulated: no real unit was on the bench.")
	case s.Simulated:
		note("%d of %d tests are simulated, and the others are not: the sums mean nothing.", simulated, s.Records)
	}
	if len(revisions) > 1 {
		note("The lot was judged against %d profiles: %s. Judge its records again with one of them before the sums are compared with others.", len(revisions), strings.Join(s.Profiles, "; "))
	}
	if unread > 0 {
		note("%d of %d records cannot be read back and count for nothing: run records verify.", unread, s.Records)
	}
	if doubtful > 0 {
		note("Of %d of %d records the clock may have been wrong, so that times are doubtful.", doubtful, s.Records)
	}
	if n := len(s.Open); n > 0 {
		note("%d of %d units are still to be tested, and stand in no rate.", n, s.Units)
	}
}

// once appends what is not there yet; empty texts are left out.
func once(list []string, s string) []string {
	if s == "" || slices.Contains(list, s) {
		return list
	}
	return append(list, s)
}

func list(s []string) []string {
	if s == nil {
		return []string{}
	}
	return s
}
