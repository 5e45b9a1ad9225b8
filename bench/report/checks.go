package report

import (
	"fmt"
	"math"
	"strings"

	"dutybench/bench/plot"
	"dutybench/bench/result"
	"dutybench/profiles"
)

// checkRow is one check of the bench, in words.
type checkRow struct{ Name, Value, Limits, State, Tone, Sentence string }

// checkRows are the checks before the test, for the page.
func checkRows(cs []result.Check) []checkRow {
	var out []checkRow
	for _, c := range cs {
		r := checkRow{Name: named(c.Name), Value: checkValue(c), State: stateWord(c.State), Sentence: sentence(c.Sentence)}
		if c.Low != nil || c.High != nil {
			r.Limits = strings.TrimSpace(limitWords(c.Low, c.High) + " " + plot.Plain(c.Unit))
		}
		switch c.State {
		case result.CheckOK:
		case result.CheckFailed:
			r.Tone = "bad"
		default:
			r.Tone = "open"
		}
		out = append(out, r)
	}
	return out
}

// stateWord is a check's state in words. What is no known state is never shown
// as good.
func stateWord(s result.CheckState) string {
	switch s {
	case result.CheckOK:
		return "ok"
	case result.CheckNotice:
		return "attention"
	case result.CheckFailed:
		return "failed"
	}
	return "not measured"
}

func checkValue(c result.Check) string {
	if c.Value == nil {
		return plot.None
	}
	v := plot.Short(*c.Value, 3)
	if math.Abs(*c.Value) < 1 && (c.Unit == "V" || c.Unit == "A") {
		// What lies below a thousandth is the converter's.
		if v = plot.Fixed(*c.Value, 3); strings.Contains(v, ".") {
			v = strings.TrimSuffix(strings.TrimRight(v, "0"), ".")
		}
	}
	return strings.TrimSpace(v + " " + plot.Plain(c.Unit))
}

// checkLines are the checks for a terminal: those that are well on one line,
// the others each with its sentence.
func checkLines(cs []result.Check) []string {
	var well, out, open []string
	for _, c := range cs {
		switch c.State {
		case result.CheckOK:
			s := named(c.Name)
			if c.Value != nil {
				s += " " + checkValue(c)
			}
			well = append(well, s)
		case result.CheckNotice, result.CheckFailed:
			s := fmt.Sprintf("%s %s", named(c.Name), stateWord(c.State))
			if c.Value != nil {
				s += " (" + checkValue(c) + ")"
			}
			out = append(out, s+": "+sentence(c.Sentence))
		default:
			open = append(open, named(c.Name))
		}
	}
	if len(well) > 0 {
		out = append([]string{"ok: " + strings.Join(well, ", ") + "."}, out...)
	}
	if len(open) > 0 {
		out = append(out, "not measured: "+strings.Join(open, ", ")+".")
	}
	return out
}

// inspectionLines are what the person saw, on one line, and what that did to
// the verdict; nothing when nobody was asked.
func inspectionLines(i *result.Inspection) []string {
	if i == nil {
		return nil
	}
	not := i.NotInspected()
	var seen []string
	for _, p := range result.InspectionPoints() {
		if word := i.Found(p.Name); word != "" {
			seen = append(seen, p.Name+" "+plot.Plain(word))
		}
	}
	var out []string
	if len(seen) > 0 {
		out = append(out, "By the operator's eye and hand: "+strings.Join(seen, ", ")+".")
	}
	if len(not) > 0 {
		out = append(out, notInspectedWords(not))
	}
	if i.Effect != "" {
		out = append(out, sentence(i.Effect))
	}
	return out
}

// notInspected names what the person was asked for and did not look at; empty
// when there is nothing, or nobody was asked.
func notInspected(r result.Result) string {
	if r.Inspection == nil {
		return ""
	}
	not := r.Inspection.NotInspected()
	if len(not) == 0 {
		return ""
	}
	return notInspectedWords(not)
}

func notInspectedWords(points []string) string { return "Not inspected: " + list(points) + "." }

// plugRows are a connector's cavities by row and column, in words.
func plugRows(c profiles.Connector) [][]string {
	var out [][]string
	for _, row := range c.Grid() {
		cells := make([]string, len(row))
		for i, v := range row {
			if v == nil {
				continue
			}
			cells[i] = plot.Plain(v.Label) + ": " + plot.Plain(v.Function)
			if v.Wire_mm2 > 0 {
				cells[i] += fmt.Sprintf(", %g mm²", v.Wire_mm2)
			}
			if v.Colour != "" {
				cells[i] += ", " + plot.Plain(v.Colour)
			}
		}
		out = append(out, cells)
	}
	return out
}
