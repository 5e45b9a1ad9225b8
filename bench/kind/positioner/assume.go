package positioner

import "dutybench/profiles"

// Assume takes the ends of the travel for what the lowest and the highest command
// ask for, where a profile is learned from traces alone.
func (s *Section) Assume(c profiles.Command) {
	s.At0, s.At100 = profiles.Percent(c.Stop_pct), profiles.Percent(c.Full_pct)
}
