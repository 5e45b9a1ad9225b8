package learn

import (
	"fmt"
	"slices"
	"strings"

	"dutybench/profiles"
	"dutybench/signal/trace"
)

// told is what traces say of one circumstance: the distinct values, sorted,
// and how many traces have one.
type told struct {
	values []string
	traces int
}

func (t *told) add(value string) {
	if value = strings.TrimSpace(value); value == "" {
		return
	}
	t.traces++
	if i, known := slices.BinarySearch(t.values, value); !known {
		t.values = slices.Insert(t.values, i, value)
	}
}

// circumstances are where and when the units were measured, as far as their
// traces tell.
type circumstances struct {
	traces                     int
	days, fillings, parts, rig told
	gainU                      float64 // relative, standard, the largest told; 0 when none is
}

// look reads the circumstances of the units that are learned from.
func look(units []measured) (c circumstances) {
	for _, u := range units {
		for _, m := range u.m {
			c.traces++
			get := func(key string) string { s, _ := m.Trace.Get(key); return s }
			c.days.add(day(get(trace.KeyDate)))
			c.fillings.add(get(trace.KeyFilling))
			c.parts.add(get(trace.KeyPartRevision))
			c.rig.add(get(trace.KeyRig))
			// A profile holds no gain that is known worse than to a half.
			if g, ok := m.Trace.Number(trace.KeyCurrentGainU); ok && g > 0 {
				c.gainU = max(c.gainU, min(g, 0.5))
			}
		}
	}
	return c
}

// day is the day of a date with or without a time: what stands before the
// first word with a colon, or before the T of ISO 8601.
func day(date string) string {
	words := strings.Fields(date)
	if i := slices.IndexFunc(words, func(w string) bool { return strings.Contains(w, ":") }); i >= 0 {
		before, _, iso := strings.Cut(words[i], "T")
		words = words[:i]
		if iso {
			words = append(words, before)
		}
	}
	return strings.TrimRight(strings.Join(words, " "), ",;")
}

// fill writes them into a profile.
func (c circumstances) fill(l *profiles.Learned) {
	l.Rigs, l.GainU = c.rig.values, c.gainU
	l.Days, l.Fillings, l.PartRevisions = len(c.days.values), len(c.fillings.values), c.parts.values
}

// sentences say what the profile has seen one of only, what it has seen more
// of, and what the traces do not tell.
func (c circumstances) sentences(like *profiles.Profile, wet bool) []string {
	filling, again, many := "filling of the loop", "filling and bleeding it again", "fillings of the loop"
	if !wet {
		filling, again, many = "mounting", "mounting it again", "mountings"
	}
	var out, seen, silent []string
	for _, x := range []struct {
		told
		one, unseen  string // with the one value, and what such a profile has not seen
		many, silent string
	}{
		{c.days, "were measured on one day (%s)", "how units and bench differ from one day to the next is not in their spread", fmt.Sprintf("%d days", len(c.days.values)), "the day"},
		{c.fillings, "were measured in one " + filling + " (%s)", "what " + again + " changes is not in their spread", fmt.Sprintf("%d %s", len(c.fillings.values), many), "the " + filling},
		{c.parts, "are of one part revision (%s)", "of any other the profile says nothing", "part revisions " + list(c.parts.values), "the part revision"},
		{c.rig, "were measured on one rig (%s)", "how another rig reads the same unit is not in their spread", "rigs " + list(c.rig.values), "the rig"},
	} {
		switch len(x.values) {
		case 0:
			silent = append(silent, x.silent)
			continue
		case 1:
			who := "All units"
			if x.traces < c.traces {
				who = fmt.Sprintf("All units of which the traces say it (%d of %d traces)", x.traces, c.traces)
			}
			out = append(out, fmt.Sprintf("%s %s: %s.", who, fmt.Sprintf(x.one, x.values[0]), x.unseen))
		default:
			s := x.many
			if x.traces < c.traces {
				s += fmt.Sprintf(" (told by %d of %d traces)", x.traces, c.traces)
			}
			seen = append(seen, s)
		}
	}
	if len(seen) > 0 {
		out = append(out, "In their spread are "+list(seen)+".")
	}
	if len(silent) > 0 {
		out = append(out, "The traces do not say "+strings.Join(silent, ", ")+": the profile may have seen no more than one of each.")
	}
	if c.gainU > 0 {
		out = append(out, fmt.Sprintf("Their current readings have a gain that is known to %.2g %% (standard uncertainty); units measured on one rig share its error.", 100*c.gainU))
	}
	if like != nil && like.PartRevision != "" && len(c.parts.values) > 0 && !slices.Equal(c.parts.values, []string{like.PartRevision}) {
		out = append(out, fmt.Sprintf("Profile %s, whose command and limits were taken over, is for part revision %s, and the traces are of %s.", like.Name, like.PartRevision, list(c.parts.values)))
	}
	return out
}

// list joins words as a sentence does.
func list(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}
