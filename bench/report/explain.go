package report

import (
	"fmt"
	"math"
	"strings"

	"dutybench/bench/plot"
	"dutybench/bench/result"
)

// purposeWord is what a verdict is for, as a person would say it.
func purposeWord(p string) string {
	switch p {
	case "new-part":
		return "a new part, before it is fitted"
	case "core":
		return "a returned core, to be sorted"
	case "return":
		return "a return under warranty"
	}
	return plot.Plain(p)
}

// riskLines say how sure the verdict is, a sentence each.
func riskLines(r result.Result) []string {
	k := r.Risk
	if k == nil || r.Error != "" || r.Exit() == 5 {
		return nil
	}
	var out []string
	add := func(format string, a ...any) { out = append(out, fmt.Sprintf(format, a...)) }
	if k.Measurement != nil {
		word := "pass"
		if r.Verdict == result.Fail {
			word = "fail"
		}
		add("That errors of this measurement alone turned the %s: %s.", word, rare(*k.Measurement))
	}
	if k.Chance != nil && r.Verdict != result.Pass {
		if *k.Chance > 0.5 {
			add("Good units often lie as far out as this one.")
		} else {
			add("That a good unit lies as far out as this one: %s.", rare(*k.Chance))
		}
	}
	if k.Refusal > 0 {
		add("Of good units the whole test, all findings together, refuses %s on average over profiles.", rare(k.Refusal))
	}
	if len(k.Unseen) > 0 {
		add("From these sizes on nine of ten such units are refused, and smaller ones may pass: %s.", list(plainAll(k.Unseen)))
	}
	return out
}

// rare is a probability that may be very small, in words.
func rare(p float64) string {
	switch {
	case p <= 1e-6:
		return "under one in a million"
	case p < 0.001:
		return fmt.Sprintf("at most one in %.0f", twoDigits(1/p))
	}
	return "at most " + plot.Short(100*p, 2) + " %"
}

// twoDigits rounds to two significant digits.
func twoDigits(x float64) float64 {
	f := math.Pow(10, math.Floor(math.Log10(x))-1)
	return math.Round(x/f) * f
}

// explain writes the uncertainty budget of every finding: where each part
// comes from, how much of the variance it makes, and whether the limits
// contain it already.
func (t *text) explain(r result.Result) {
	if r.Risk != nil {
		t.blank()
		t.item("Rule", sentence(r.Risk.Rule))
		t.item("", "What the learned limits contain already is not guarded for again: those parts are marked with *.")
	}
	for _, f := range r.Findings {
		if f.Value == nil || len(f.Budget) == 0 {
			continue
		}
		t.blank()
		value, u := valueWords(f)
		line := named(f.Name) + " " + value
		if u != "" {
			line += fmt.Sprintf(" ± %s %s, k = %s for 95 %%", u, plot.Plain(f.Unit), plot.Short(f.K, 3))
		}
		if f.Low != nil || f.High != nil {
			line += "; good units " + limitWords(f.Low, f.High)
		}
		if f.Conformity != nil {
			line += "; lies within with " + percent(*f.Conformity)
		}
		for _, l := range wrap(t.sign(sentence(line)), t.width) {
			t.line(l)
		}
		var total float64
		for _, p := range f.Budget {
			total += p.U * p.U
		}
		for _, p := range f.Budget {
			mark := " "
			if p.Contained {
				mark = "*"
			}
			share := 0.0
			if total > 0 {
				share = 100 * p.U * p.U / total
			}
			s := fmt.Sprintf("  %s %-46s %10s %-3s %4.0f %%", mark, cutTo(plot.Plain(p.Source), 46), plot.Digits(p.U, 2), plot.Plain(f.Unit), share)
			if p.DoF > 0 {
				s += "  " + freedom(p.DoF) + " dof"
			}
			t.line(t.sign(s))
		}
		if f.Guard > 0 {
			t.line(t.sign(fmt.Sprintf("    guarded for: %s %s", plot.Digits(f.Guard, 2), plot.Plain(f.Unit))))
		}
	}
	t.blank()
	t.line("Each part is a standard uncertainty with its share of the variance; dof: degrees of freedom.")
}

func cutTo(s string, n int) string {
	r := []rune(s)
	if len(r) <= n {
		return s
	}
	return strings.TrimSpace(string(r[:n-2])) + ".."
}
