package report

import (
	"fmt"
	"strings"

	"dutybench/bench/plot"
	"dutybench/bench/result"
	"dutybench/signal/trace"
)

// conformity is the statement of conformity (ISO/IEC 17025:2017, 7.8.6.2): the
// results that it is about, the limits that are met or not, and the rule.
func (c *content) conformity() []Block {
	r := c.r
	limits := "any limits, as the record names no profile"
	if r.Profile.Name != "" {
		limits = fmt.Sprintf("the limits of profile %s, revision %d", plot.Plain(r.Profile.Name), r.Profile.Revision)
	}
	if !c.judged {
		return []Block{Words{Text: "No statement of conformity is made: the test was not judged against " + limits + "."}}
	}
	var met, missed, open, without []string
	for _, f := range r.Findings {
		name := named(f.Name)
		switch {
		case f.Low == nil && f.High == nil || f.Result == result.NotMeasured:
			without = append(without, name)
		case f.Result == result.Passed:
			met = append(met, name)
		case f.Result == result.Failed:
			missed = append(missed, name)
		default:
			open = append(open, name)
		}
	}
	var s string
	switch {
	case r.Verdict == result.Pass:
		s = "The item conforms to " + limits + " in every result named below as within them."
	case r.Verdict == result.Fail && len(missed) > 0:
		s = "The item does not conform to " + limits + ": " + list(missed) + "."
	case r.Verdict == result.Fail:
		s = "The item is refused, though no single result lies outside " + limits + "; see the verdict."
		if r.Inspection != nil && r.Inspection.Effect != "" {
			s = "The item is refused by inspection: " + lower(sentence(r.Inspection.Effect))
		}
	default:
		s = "Whether the item conforms to " + limits + " cannot be stated."
	}
	out := []Block{
		Words{Text: s, Strong: true},
		Facts{told(Fact{"Within the limits", list(met)}, Fact{"Outside the limits", list(missed)}, Fact{"Undecided", list(open)},
			Fact{"Not part of the statement (not measured, or no limit)", list(without)}), 1},
	}
	rule := "not stated"
	if r.Risk != nil {
		rule = orNot(sentence(r.Risk.Rule), rule)
	}
	out = append(out, Facts{[]Fact{{"Decision rule", rule}}, 1})
	if risk := riskLines(r); len(risk) > 0 {
		out = append(out, Words{Text: "Risk of a wrong statement:"}, Bullets{risk})
	}
	return out
}

// deviations are what was added to, changed in or left out of the method.
func (c *content) deviations() []string {
	r := c.r
	var out []string
	if c.Record.Interrupted {
		out = append(out, "The test broke off: the program or its machine stopped.")
	}
	if c.Record.Cancelled {
		out = append(out, "The test was cancelled by a person or the system.")
	}
	if r.Ended != "" {
		out = append(out, "The test ended before its plan did: "+sentence(r.Ended))
	}
	if r.Early != "" {
		out = append(out, "Steps were left out as they were not expected to change the verdict: "+sentence(r.Early))
	}
	if c.in.Trace != nil {
		if n, ok := c.in.Trace.Number(trace.KeyLost); ok && n > 0 {
			out = append(out, plot.Short(n, 9)+" samples were lost.")
		}
	}
	var not []string
	for _, f := range r.Findings {
		if f.Result == result.NotMeasured {
			not = append(not, named(f.Name))
		}
	}
	if len(not) > 0 {
		out = append(out, "Not measured: "+list(not)+".")
	}
	if len(out) == 0 {
		out = append(out, "None is recorded.")
	}
	for _, w := range r.Warnings {
		out = append(out, strings.TrimSpace("Remark of the program: "+sentence(w)))
	}
	return out
}
