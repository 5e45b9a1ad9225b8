package lot

import (
	"fmt"
	"strings"

	"dutybench/bench/plot"
)

// What text and page say alike.

const intervalWords = "In brackets after a share: its 95 % interval (Clopper and Pearson), for cores like these. " +
	"“Too few” where it is wider than 50 points: read nothing into such a share. " +
	"“Apart” where chance alone would set any group of its table so far from the rest in under one of twenty lots (Fisher's exact test, all groups counted)."

func (s *Summary) when() string {
	if s.Records == 0 {
		return "no records"
	}
	const day, clock = "2006-01-02", "15:04"
	from, to := s.From.Local(), s.To.Local()
	w := from.Format(day+" "+clock) + " to " + to.Format(day+" "+clock)
	if from.Format(day) == to.Format(day) {
		w = from.Format(day+" "+clock) + " to " + to.Format(clock)
	}
	return fmt.Sprintf("%s: %s, %s", w, count(s.Units, "unit"), count(s.Records, "record"))
}

func (s *Summary) yieldWords() string {
	if s.Decided == 0 {
		return "no unit is sorted yet."
	}
	w := fmt.Sprintf("%d of %d units that are sorted are good as they are: %s.", s.Yield.Count, s.Yield.Of, s.Yield.Words())
	if s.Yield.TooFew {
		w += " Too few to say what cores like these yield."
	}
	return w
}

func (s *Summary) ruleWords() string {
	return fmt.Sprintf("good: every test that counts passed; failed: every one failed; doubtful: %s, or one passed and another failed, or undecided after it was decided. "+
		"Tests that broke off, and those that the bench itself kept from deciding, do not count. "+
		"Doubtful as well: passed, and stopped when two findings lay out already, or failed outside the lot within a week of it.", times(s.Tries, "undecided"))
}

func (s *Summary) wellWords() string {
	if len(s.Well) == 0 {
		return "no check of the bench itself is known for this time; whether it drifted is not said here."
	}
	return strings.Join(plainAll(s.Well), " ")
}

func (s *Summary) uncounted() string {
	var parts []string
	if s.Broken > 0 {
		parts = append(parts, count(s.Broken, "test")+" that broke off or cannot be read")
	}
	if s.Bench > 0 {
		parts = append(parts, count(s.Bench, "test")+" that the bench itself kept from deciding")
	}
	return strings.Join(parts, ", and ") + "."
}

func (x *Group) word() string {
	if x.Value == "" {
		return "not told"
	}
	return plot.Plain(x.Value)
}

// note says how far a group's rate may be read.
func (x *Group) note() string {
	switch {
	case x.Apart:
		return "apart"
	case x.Rate.TooFew:
		return "too few"
	}
	return ""
}

// rows are the times in words.
func (t *Times) rows() [][2]string {
	out := [][2]string{
		{"a test", t.Test.Words()},
		{"a unit, all its tests", t.Unit.Words()},
		{"from test to test", t.Cycle.Words()},
		{"of that, handling", t.Handling.Words()},
	}
	if m := t.Cycle.Median; m != nil && *m > 0 && t.Handling.N > 0 { // a simulated rig's time is another
		out = append(out, [2]string{"tests an hour", plot.Short(3600 / *m, 2)})
	}
	if t.Breaks > 0 {
		out = append(out, [2]string{"breaks above 30 min", fmt.Sprint(t.Breaks)})
	}
	return out
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
