package startup

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Words says what was measured in one clause, without a judgement: "3 start
// attempts of equal length (1.02 s), 1.5 s apart, current even over the
// commutation steps".
func (p Pattern) Words() string {
	if math.IsNaN(p.Run_s) {
		return "no run was commanded"
	}
	brief := p.Failed - p.Full
	n := p.N - brief // attempts in the full sense
	var parts []string
	if p.Resets > 0 {
		parts = append(parts, count(p.Resets, "wake-up")+" that came to nothing")
	}
	switch {
	case n == 0 && p.Resets == 0:
		return "no start attempt in " + seconds(p.Run_s) + " of command"
	case n == 0:
		return parts[0] + ", no start attempt in " + seconds(p.Run_s) + " of command"
	case p.Ran && n == 1:
		return strings.Join(append(parts, "1 start attempt, which ran"), " and ")
	case p.Ran:
		return strings.Join(append(parts, count(n, "start attempt")+", "+ordinal(n)+" ran"), " and ")
	}
	parts = append(parts, count(n, "start attempt")+p.lengthWords()+p.restWords())
	return strings.Join(parts, " and ") + p.Balance.words() + p.endWords(n)
}

func (p Pattern) lengthWords() string {
	switch {
	case math.IsNaN(p.Length_s):
		return ""
	case p.Equal:
		return " of equal length (" + seconds(p.Length_s) + ")"
	case p.LengthLow_s < p.LengthHigh_s:
		return " of unequal length (" + span(p.LengthLow_s, p.LengthHigh_s) + ")"
	}
	return " (" + seconds(p.Length_s) + ")"
}

func (p Pattern) restWords() string {
	if len(p.Rests_s) == 0 {
		return ""
	}
	low, high, sum := math.Inf(1), 0.0, 0.0
	for _, r := range p.Rests_s {
		low, high, sum = min(low, r), max(high, r), sum+r
	}
	switch {
	case p.Growing:
		return " with rests growing from " + span(p.Rests_s[0], p.Rests_s[len(p.Rests_s)-1])
	case p.LengthLow_s < p.LengthHigh_s && !p.Equal && p.PeriodEqual:
		return ", ending every " + seconds(p.Period_s)
	case p.RestsEqual || len(p.Rests_s) == 1:
		return ", " + seconds(sum/float64(len(p.Rests_s))) + " apart"
	}
	return ", " + span(low, high) + " apart"
}

// words about the current, after a comma; nothing when it was not measured.
func (b Balance) words() string {
	if math.IsNaN(b.Depth) {
		return ""
	}
	if b.Even() {
		return ", current even over the commutation steps"
	}
	how := fmt.Sprintf("down by %.0f %%", 100*b.Depth)
	if b.Depth >= goneDepth {
		how = "gone"
	}
	out := ", current " + how + " for " + fraction(b.Share) + " of the time"
	switch {
	case b.Repeat_Hz > 0:
		return out + fmt.Sprintf(", about %.0f times a second", b.Repeat_Hz)
	case b.Rhythm:
		return out + ", in a rhythm"
	}
	return out + ", in no rhythm"
}

func (p Pattern) endWords(n int) string {
	switch {
	case p.Cut && n == 1:
		return ", cut short by the end of the command"
	case p.Cut:
		return ", the last cut short by the end of the command"
	case p.Latched:
		return ", then none for " + seconds(p.Latched_s) + ": latched off"
	case p.Silent_s > 1.5*p.longestPause():
		return ", then none for " + seconds(p.Silent_s)
	}
	return ""
}

// longestPause is the longest that the unit let pass between attempts, or the
// length of a single one.
func (p Pattern) longestPause() float64 {
	pause := 0.0
	for _, r := range p.Rests_s {
		pause = max(pause, r)
	}
	if len(p.Rests_s) == 0 {
		pause = p.Length_s
	}
	return pause
}

func count(n int, what string) string {
	if n != 1 {
		what += "s"
	}
	return strconv.Itoa(n) + " " + what
}

func ordinal(n int) string {
	names := [...]string{"the first", "the second", "the third", "the fourth", "the fifth", "the sixth"}
	if n >= 1 && n <= len(names) {
		return names[n-1]
	}
	return "the last"
}

// fraction names a share where it lies near a plain one.
func fraction(share float64) string {
	for _, f := range []struct {
		share float64
		name  string
	}{{1. / 6, "a sixth"}, {1. / 4, "a quarter"}, {1. / 3, "a third"}, {1. / 2, "half"}, {2. / 3, "two thirds"}} {
		if math.Abs(share-f.share) <= 0.03 {
			return f.name
		}
	}
	return fmt.Sprintf("%.0f %%", 100*share)
}

// span is from one time to another.
func span(from_s, to_s float64) string { return seconds(from_s) + " to " + seconds(to_s) }

// seconds with two decimals below ten seconds, one below a hundred, zeros at
// the end left out.
func seconds(s float64) string {
	decimals := 2
	switch {
	case s >= 99.95:
		decimals = 0
	case s >= 9.995:
		decimals = 1
	case s < 0.0995:
		decimals = 3
	}
	text := strconv.FormatFloat(s, 'f', decimals, 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text + " s"
}
