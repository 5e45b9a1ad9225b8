package report

import (
	"fmt"

	"dutybench/bench/plot"
)

const nextKey = "Next step"

// verdict is the sentence with verdict and cause, and what to do.
func (c *content) verdict() Verdict {
	r := c.r
	until := "Nothing that was measured could be kept."
	if t := c.in.Trace; t != nil && t.Len() > 0 {
		until = fmt.Sprintf("What was measured until %s s is kept.", plot.Short(t.Time()[t.Len()-1], 4))
	}
	unit := "the unit"
	if r.Unit != "" {
		unit = "unit " + plot.Plain(r.Unit)
	}
	switch {
	case c.Record.Interrupted, c.Record.Cancelled:
		v := Verdict{Word: "Interrupted", Tone: "open",
			Sentence: fmt.Sprintf("The test of %s was interrupted: the program or its machine stopped before the test ended. %s", unit, until)}
		if !c.Record.Interrupted {
			v.Word, v.Sentence = "Cancelled", fmt.Sprintf("The test of %s was cancelled by a person or the system before it ended. %s", unit, until)
		}
		if c.judged {
			v.Sentence += " Of that it was said: " + said(r)
			v.Acts = told(Fact{nextKey, nextStep(r)})
		} else {
			v.Sentence += " It was not judged, so it says neither good nor bad."
			v.Acts = []Fact{{nextKey, "Test the unit again."}}
		}
		return v
	case r.Error != "":
		return Verdict{Word: "Not judged", Tone: "open", Sentence: lead(r),
			Acts: []Fact{{nextKey, orNot(sentence(r.NextStep), "Mend what is named here, then test the unit again.")}}}
	case !c.judged:
		return Verdict{Word: "Not judged", Tone: "open",
			Sentence: fmt.Sprintf("The test of %s was not judged, so it says neither good nor bad. %s", unit, until),
			Acts:     []Fact{{nextKey, "Test the unit again."}}}
	}
	return Verdict{Word: verdictWord(r), Tone: tone(r), Sentence: said(r),
		Acts: told(Fact{"Cause (opinion)", causeLine(r)}, Fact{nextKey, nextStep(r)})}
}

func (c *content) cautions() []string {
	out := cautions(c.in)
	if c.Record.ClockDoubt != "" {
		out = append(out, sentence("the date of the test is in doubt: "+c.Record.ClockDoubt))
	}
	return append(out, c.broken...)
}
