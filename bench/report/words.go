package report

import (
	"fmt"
	"math"
	"strings"

	"dutybench/bench/plot"
	"dutybench/bench/result"
)

// verdictWord is the verdict in one or two words.
func verdictWord(r result.Result) string {
	switch {
	case r.Error != "":
		return "Not judged"
	case r.Verdict == result.Pass && r.Risk != nil && r.Risk.Purpose == "return":
		return "No fault found"
	case r.Verdict == result.Pass:
		return "Pass"
	case r.Verdict == result.Fail:
		return "Fail"
	case r.Verdict == result.Undecided:
		return "Undecided"
	}
	return "Not judged"
}

// outcomeWord is a finding's result in words. What was not measured, or is no
// known outcome, is never shown as good.
func outcomeWord(o result.Outcome) string {
	switch o {
	case result.Passed:
		return "good"
	case result.Failed:
		return "fail"
	case result.Doubtful:
		return "undecided"
	}
	return "not measured"
}

// causeWord is a cause as a person would say it.
func causeWord(c result.Cause) string {
	switch c {
	case result.ControlBoard:
		return "control board"
	case result.Mechanical:
		return "mechanical"
	case result.Electrical:
		return "electrical (coil, winding or brushes)"
	case result.Hydraulic:
		return "hydraulic (air, valve, hose)"
	case result.Wiring:
		return "wiring on the bench's side"
	case result.Bench:
		return "the bench itself"
	}
	return plot.Plain(string(c))
}

// lead is the sentence that stands first.
func lead(r result.Result) string {
	if r.Error != "" {
		return sentence("not judged: " + r.Error)
	}
	if r.Sentence != "" {
		return sentence(r.Sentence)
	}
	unit := "The unit"
	if r.Unit != "" {
		unit = "Unit " + r.Unit
	}
	switch r.Verdict {
	case result.Pass:
		return unit + " is good in all that was measured."
	case result.Fail, result.Undecided:
		s := unit + " fails"
		if r.Verdict == result.Undecided {
			s = unit + " can be called neither good nor bad"
		}
		if len(r.Inseparable) > 1 {
			return s + "; what speaks here cannot tell apart " + list(causeWords(r.Inseparable)) + "."
		}
		if r.Cause != nil {
			return s + "; likeliest cause: " + causeWord(*r.Cause) + "."
		}
		return s + "."
	}
	return unit + " was not judged."
}

// causeLine is the likeliest cause with its probability; empty when the unit
// passed.
func causeLine(r result.Result) string {
	if r.Verdict == result.Pass || r.Error != "" {
		return ""
	}
	if len(r.Inseparable) > 1 {
		words := make([]string, len(r.Inseparable))
		for i, c := range r.Inseparable {
			words[i] = withProbability(r, c, " at ")
		}
		return strings.Join(words, " or ") + "; this test cannot tell which"
	}
	if r.Cause == nil {
		return "none stands out"
	}
	return withProbability(r, *r.Cause, ", ")
}

func withProbability(r result.Result, cause result.Cause, sep string) string {
	for _, c := range r.Causes {
		if c.Cause == cause {
			return causeWord(cause) + sep + percent(c.Probability)
		}
	}
	return causeWord(cause)
}

// separatedBy is the test that would tell apart what this one cannot.
func separatedBy(r result.Result) string {
	if r.Verdict == result.Pass || len(r.Inseparable) < 2 {
		return ""
	}
	return sentence(r.SeparatedBy)
}

// next is the next step, left out where the sentence already says it.
func next(r result.Result) string {
	if r.NextStep == "" || strings.Contains(r.Sentence, strings.TrimSuffix(r.NextStep, ".")) {
		return ""
	}
	return sentence(r.NextStep)
}

// said is the sentence that stands first, without what stands beside it: the
// verdict's word before it, and the next step after it.
func said(r result.Result) string {
	s, _ := parted(lead(r))
	if rest, ok := strings.CutPrefix(s, verdictWord(r)+": "); ok {
		return sentence(rest)
	}
	return s
}

// nextStep is what to do, always: the sentence's own, else the result's.
func nextStep(r result.Result) string {
	if _, next := parted(lead(r)); next != "" {
		return sentence(next)
	}
	return sentence(r.NextStep)
}

// parted is a sentence before and after the word that leads to the next step.
func parted(s string) (before, next string) {
	const word = " Next: "
	if i := strings.LastIndex(s, word); i > 0 {
		return s[:i], s[i+len(word):]
	}
	return s, ""
}

func causeWords(cs []result.Cause) []string {
	out := make([]string, len(cs))
	for i, c := range cs {
		out[i] = causeWord(c)
	}
	return out
}

// list joins words with commas and a last "and".
func list(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}

// sentence makes a text start with a capital and end with a full stop.
func sentence(s string) string {
	s = strings.TrimSpace(plot.Plain(s))
	if s == "" {
		return ""
	}
	r := []rune(s)
	if second := len(r) < 2 || r[1] < 'A' || r[1] > 'Z'; second {
		s = strings.ToUpper(string(r[0])) + string(r[1:])
	}
	if !strings.ContainsAny(s[len(s)-1:], ".!?") {
		s += "."
	}
	return s
}

// percent never rounds up to certainty nor down to nothing.
func percent(p float64) string {
	switch {
	case math.IsNaN(p) || p < 0 || p > 1:
		return plot.None
	case p == 0:
		return "0 %"
	case p < 0.01:
		return "under 1 %"
	case p > 0.99 && p < 1:
		return "over 99 %"
	}
	return plot.Fixed(p*100, 0) + " %"
}

// valueWords is a finding's value, and its uncertainty where it has one.
func valueWords(f result.Finding) (value, uncertainty string) {
	if f.Value == nil || f.Result == result.NotMeasured {
		return plot.None, ""
	}
	u := math.NaN()
	if f.Uncertainty != nil {
		u = *f.Uncertainty
	}
	return plot.WithUncertainty(*f.Value, u)
}

// limitWords is what a good unit measures.
func limitWords(low, high *float64) string {
	has := func(p *float64) bool { return p != nil && !math.IsNaN(*p) && !math.IsInf(*p, 0) }
	switch {
	case has(low) && has(high):
		if *low == *high {
			return "exactly " + plot.Short(*low, 3)
		}
		return plot.Short(*low, 3) + " to " + plot.Short(*high, 3)
	case has(low):
		return "at least " + plot.Short(*low, 3)
	case has(high):
		return "at most " + plot.Short(*high, 3)
	}
	return "no limit"
}

// attemptsLine is the start-up in one sentence.
func attemptsLine(s result.Startup) string {
	var b strings.Builder
	switch n := len(s.Attempts); n {
	case 0:
		b.WriteString("no attempt to start was seen")
	case 1:
		a := s.Attempts[0]
		fmt.Fprintf(&b, "one attempt, at %s s, %s s long, mean %s A, peak %s A",
			plot.Fixed(a.Start, 2), plot.Short(a.Length, 2), plot.Short(a.Mean, 3), plot.Short(a.Peak, 3))
	default:
		var length, mean span
		peak := math.NaN()
		for _, a := range s.Attempts {
			length.add(a.Length)
			mean.add(a.Mean)
			if !(peak >= a.Peak) {
				peak = a.Peak
			}
		}
		fmt.Fprintf(&b, "%d attempts, the first at %s s; each %s s long, mean %s A, highest peak %s A",
			n, plot.Fixed(s.Attempts[0].Start, 2), length.words(2), mean.words(3), plot.Short(peak, 3))
	}
	switch {
	case s.Settled != nil:
		fmt.Fprintf(&b, "; current settled from %s s on", plot.Fixed(*s.Settled, 2))
	case len(s.Attempts) > 0:
		b.WriteString("; the current never settled")
	}
	return sentence(b.String())
}

// span is a lowest and highest value as words.
type span struct {
	low, high float64
	any       bool
}

func (r *span) add(v float64) {
	if !r.any {
		r.low, r.high, r.any = v, v, true
		return
	}
	r.low, r.high = min(r.low, v), max(r.high, v)
}

func (r span) words(digits int) string {
	a, b := plot.Short(r.low, digits), plot.Short(r.high, digits)
	if a == b {
		return a
	}
	return a + " to " + b
}
