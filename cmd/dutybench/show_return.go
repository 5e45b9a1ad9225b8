package main

import "dutybench/profiles"

// showReturn says what a unit reports of itself.
func showReturn(line func(key, format string, args ...any), r profiles.Return) {
	if r.Wire == "" {
		return
	}
	if r.Wire == profiles.CommandWire {
		line("Return", "pull-downs of the command's wire; the unit's own word, which decides nothing")
	} else {
		line("Return", "on a wire of its own; the unit's own word, which decides nothing")
	}
	for _, c := range r.Codes {
		cause := ""
		if c.Cause != "" {
			cause = " (its maker names as cause: " + c.Cause + ")"
		}
		line("", "%s: %s%s", c, c.Meaning, cause)
	}
	for i, q := range r.SpeedByFrequency {
		if i > 0 {
			from := r.SpeedByFrequency[i-1]
			line("", "%g to %g Hz: speed %g to %g /min", from.X, q.X, from.Speed_per_min, q.Speed_per_min)
		}
	}
	for i, q := range r.SpeedByDuty {
		if i > 0 {
			from := r.SpeedByDuty[i-1]
			line("", "duty %g to %g %%: speed %g to %g /min", from.X, q.X, from.Speed_per_min, q.Speed_per_min)
		}
	}
}
