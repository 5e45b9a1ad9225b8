package report

import (
	"fmt"
	"slices"
	"strings"

	"dutybench/bench/plot"
	"dutybench/bench/result"
)

// findingRows is the findings in words, and what the signs in them mean.
func findingRows(fs []result.Finding) (rows []findingRow, words string) {
	k, sameK := usualK(fs)
	for _, f := range fs {
		value, u := valueWords(f)
		row := findingRow{
			Name: named(f.Name), Value: value, U: u, Unit: plot.Plain(f.Unit),
			Limits: limitWords(f.Low, f.High), Result: outcomeWord(f.Result), Tone: toneOf(f.Result),
		}
		if f.Result == result.Passed && f.Low == nil && f.High == nil {
			row.Result, row.Tone = "no limit", "open"
		}
		if value == plot.None {
			row.Unit = ""
			if f.Low == nil && f.High == nil {
				row.Limits = plot.None
			}
		}
		var notes []string
		if f.Note != "" {
			notes = append(notes, sentence(f.Note))
		}
		if f.Spread != nil && value != plot.None {
			notes = append(notes, plot.Digits(*f.Spread, 2)+" standard deviations off good units.")
		}
		if u != "" && f.K != 0 && plot.Short(f.K, 3) != plot.Short(k, 3) {
			notes = append(notes, "k = "+plot.Short(f.K, 3)+".")
		}
		row.Note = strings.Join(notes, " ")
		rows = append(rows, row)
	}
	if k != 0 {
		words = "± is the expanded uncertainty"
		words += ", k = " + plot.Short(k, 3)
		if !sameK {
			words += " where no other is given"
		}
		words += "."
	}
	return rows, words
}

// usualK is the coverage factor that most findings have, and whether all do.
func usualK(fs []result.Finding) (k float64, all bool) {
	seen, most := map[string]int{}, 0
	for _, f := range fs {
		if f.Uncertainty == nil || f.K == 0 {
			continue
		}
		s := plot.Short(f.K, 3)
		if seen[s]++; seen[s] > most {
			most, k = seen[s], f.K
		}
	}
	return k, len(seen) < 2
}

func toneOf(o result.Outcome) string {
	switch o {
	case result.Passed:
		return "good"
	case result.Failed:
		return "bad"
	}
	return "open"
}

func budgets(fs []result.Finding) []budget {
	var out []budget
	for _, f := range fs {
		if len(f.Budget) == 0 {
			continue
		}
		b := budget{Name: named(f.Name)}
		for _, p := range f.Budget {
			v := partWords(p.U, f.Unit)
			if p.DoF > 0 {
				v += ", " + freedom(p.DoF) + " degrees of freedom"
			}
			if p.Contained {
				v += ", in the limits already"
			}
			b.Parts = append(b.Parts, Fact{plot.Plain(p.Source), v})
		}
		out = append(out, b)
	}
	return out
}

// causeRows is the causes that count, likeliest first as they come, what
// speaks for or against all of them alike, and the rest in one line.
func causeRows(cs []result.CauseProbability) (rows []causeRow, common []string, rare string) {
	var few []string
	for _, c := range cs {
		if c.Probability < 0.01 && len(c.For) == 0 {
			few = append(few, causeWord(c.Cause))
			continue
		}
		rows = append(rows, causeRow{causeWord(c.Cause), percent(c.Probability), plainAll(c.For), plainAll(c.Against)})
	}
	if len(few) > 0 {
		rare = fmt.Sprintf("Under 1 %% each, with nothing that speaks for them: %s.", list(few))
		if len(few) == 1 {
			rare = fmt.Sprintf("Under 1 %%, with nothing that speaks for it: %s.", few[0])
		}
	}
	if len(rows) > 1 {
		alike := func(words string, of func(*causeRow) *[]string) {
			if s := shared(rows, of); len(s) > 0 {
				common = append(common, words+": "+strings.Join(s, "; ")+".")
			}
		}
		alike("Speaks for each of these causes", func(r *causeRow) *[]string { return &r.For })
		alike("Speaks against each of these causes", func(r *causeRow) *[]string { return &r.Against })
	}
	return rows, common, rare
}

// shared takes out of the rows what stands in all of them.
func shared(rows []causeRow, of func(*causeRow) *[]string) []string {
	var common []string
	for _, s := range *of(&rows[0]) {
		in := func(r causeRow) bool { return slices.Contains(*of(&r), s) }
		if !slices.Contains(common, s) && !slices.ContainsFunc(rows, func(r causeRow) bool { return !in(r) }) {
			common = append(common, s)
		}
	}
	for i := range rows {
		list := of(&rows[i])
		*list = slices.DeleteFunc(slices.Clone(*list), func(s string) bool { return slices.Contains(common, s) })
		if len(common) > 0 && len(*list) == 0 {
			*list = []string{"nothing else"}
		}
	}
	return common
}

func plainAll(in []string) []string {
	out := make([]string, len(in))
	for i, s := range in {
		out[i] = plot.Plain(s)
	}
	return out
}

// named is a finding's name for a person: words, without the joints that
// scripts need.
func named(name string) string { return strings.ReplaceAll(plot.Plain(name), "_", " ") }

// unmeasured puts findings that were not measured for one and the same reason into
// a line each, and gives the others: those measured before those that were not.
func unmeasured(fs []result.Finding) (rest []result.Finding, lines []string) {
	names := map[string][]string{}
	why := func(f result.Finding) string {
		if f.Value == nil && f.Result == result.NotMeasured {
			return f.Note
		}
		return ""
	}
	for _, f := range fs {
		names[why(f)] = append(names[why(f)], named(f.Name))
	}
	var alone []result.Finding
	for _, f := range fs {
		switch w := why(f); {
		case w == "" && f.Result != result.NotMeasured:
			rest = append(rest, f)
		case w == "" || len(names[w]) == 1:
			alone = append(alone, f)
		case names[w][0] == named(f.Name):
			lines = append(lines, sentence("not measured: "+strings.Join(names[w], ", ")+": "+lower(sentence(w))))
		}
	}
	return append(rest, alone...), lines
}
