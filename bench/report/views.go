package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"dutybench/bench/plot"
	"dutybench/bench/result"
)

// mostViews is how many views a report draws; more would be no kind's of ours.
const mostViews = 6

// views are the pictures that a result has beside its curve, as far as there is
// anything in them.
func views(r result.Result) []result.View {
	var out []result.View
	for _, v := range r.Views {
		v.Lines = slices.DeleteFunc(slices.Clone(v.Lines), func(l result.ViewLine) bool { return len(drawn(l)) == 0 })
		if len(v.Lines) > 0 && len(out) < mostViews {
			out = append(out, v)
		}
	}
	return out
}

// drawn are the places of a line's points that are numbers.
func drawn(l result.ViewLine) (at []int) {
	for i := range min(len(l.X), len(l.Y)) {
		if isNumber(l.X[i]) && isNumber(l.Y[i]) {
			at = append(at, i)
		}
	}
	return at
}

func isNumber(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// limit is what good units do at a point; NaN where nothing says it.
func limit(of []float64, i int) float64 {
	if i < len(of) && isNumber(of[i]) {
		return of[i]
	}
	return math.NaN()
}

// viewTitle is a view's heading.
func viewTitle(v result.View) string {
	if s := strings.TrimSpace(plot.Plain(v.Title)); s != "" {
		return s
	}
	return orNot(named(v.Name), "A picture")
}

// nought is 0 for what is nothing beside the largest of its line, such as the rest
// of a rounding.
func nought(x, largest float64) float64 {
	if math.Abs(x) < 1e-6*largest {
		return 0
	}
	return x
}

// largest is the largest amount of a line's points along one axis.
func largest(of []float64, at []int) (most float64) {
	for _, i := range at {
		most = max(most, math.Abs(of[i]))
	}
	return most
}

// quantity is a number with its axis's unit.
func quantity(x, largest float64, a result.Axis) string {
	s := plot.Short(nought(x, largest), 3)
	if a.Unit != "" {
		s += "\u00a0" + plot.Plain(a.Unit)
	}
	return s
}

// viewWords says what a view shows to who does not see it: the range of each
// line, where it leaves what good units do, and what its marks are.
func viewWords(v result.View) string {
	var out []string
	for _, l := range v.Lines {
		at := drawn(l)
		low, high := at[0], at[0]
		mostX, mostY := largest(l.X, at), largest(l.Y, at)
		for _, i := range at {
			if l.Y[i] < l.Y[low] {
				low = i
			}
			if l.Y[i] > l.Y[high] {
				high = i
			}
		}
		from, to := min(low, high), max(low, high) // in the order in which they came
		s := fmt.Sprintf("%s from %s at %s to %s at %s", orNot(named(l.Name), plot.Plain(v.Y.Label)),
			quantity(l.Y[from], mostY, v.Y), quantity(l.X[from], mostX, v.X), quantity(l.Y[to], mostY, v.Y), quantity(l.X[to], mostX, v.X))
		if words := viewBand(l, at, v.X); words != "" {
			s += ", " + words
		}
		out = append(out, sentence(s))
	}
	var marks []string
	for _, m := range v.Marks {
		if isNumber(m.X) && strings.TrimSpace(m.Label) != "" {
			marks = append(marks, plot.Plain(m.Label)+" at "+quantity(m.X, 0, v.X))
		}
	}
	if len(marks) > 0 {
		out = append(out, sentence("marked: "+strings.Join(marks, "; ")))
	}
	return strings.Join(out, " ")
}

// viewBand says how a line lies in what good units do; empty where nothing says
// what that is.
func viewBand(l result.ViewLine, at []int, x result.Axis) string {
	held, off := 0, 0
	from, to := math.Inf(1), math.Inf(-1)
	for _, i := range at {
		low, high := limit(l.Low, i), limit(l.High, i)
		if math.IsNaN(low) && math.IsNaN(high) {
			continue
		}
		held++
		if l.Y[i] < low || l.Y[i] > high {
			off++
			from, to = min(from, l.X[i]), max(to, l.X[i])
		}
	}
	switch {
	case held == 0:
		return ""
	case off == 0:
		return "everywhere within what good units do"
	case from == to:
		return "outside what good units do at " + quantity(from, 0, x)
	}
	return fmt.Sprintf("outside what good units do at %d of %d points between %s and %s", off, held, quantity(from, 0, x), quantity(to, 0, x))
}

// viewRows is how many points of a line a table lists.
const viewRows = 9

// viewTable has the points of a view in numbers, as many as a reader can take in.
func viewTable(v result.View) Table {
	axis := func(a result.Axis) string {
		s := plot.Plain(a.Label)
		if a.Unit != "" {
			s += ", " + plot.Plain(a.Unit)
		}
		return s
	}
	t := Table{Heads: []string{"Line", axis(v.X), axis(v.Y), "Good units", "Result"}, Shares: []float64{28, 18, 18, 22, 14}, Result: 4}
	for _, l := range v.Lines {
		at := drawn(l)
		mostX, mostY := largest(l.X, at), largest(l.Y, at)
		for k := range min(len(at), viewRows) {
			i := at[k]
			if n := len(at); n > viewRows {
				i = at[k*(n-1)/(viewRows-1)]
			}
			low, high := limit(l.Low, i), limit(l.High, i)
			row := Row{Cells: []string{named(l.Name), plot.Short(nought(l.X[i], mostX), 4), plot.Short(nought(l.Y[i], mostY), 4), limitWords(&low, &high), "inside"}}
			switch {
			case math.IsNaN(low) && math.IsNaN(high):
				row.Cells[4], row.Tone = "no limit", "open"
			case l.Y[i] < low || l.Y[i] > high:
				row.Cells[4], row.Tone = "outside", "bad"
			}
			t.Rows = append(t.Rows, row)
		}
	}
	return t
}

// viewRemark says what the signs in a view mean.
func viewRemark(v result.View) string {
	if slices.ContainsFunc(v.Lines, func(l result.ViewLine) bool { return len(l.Low) > 0 || len(l.High) > 0 }) {
		return " The shaded band is what good units do."
	}
	return ""
}

// curved says that there is a curve to draw: current at more than one duty, held
// against good units, or all that there is to see.
func curved(r result.Result) bool {
	return swept(r) && (len(views(r)) == 0 || slices.ContainsFunc(r.Curve, func(p result.Point) bool { return p.Low != nil || p.High != nil }))
}

// swept says that more than one duty was held.
func swept(r result.Result) bool {
	return slices.ContainsFunc(r.Curve, func(p result.Point) bool { return p.Duty != r.Curve[0].Duty })
}

// held says what was drawn at the duty that was held, where there is no curve to
// draw; empty where the views tell what there is to tell.
func held(r result.Result) string {
	switch {
	case len(views(r)) > 0 && (len(r.Curve) == 0 || swept(r)):
		return ""
	case len(r.Curve) == 0:
		return curveWords(r.Curve)
	}
	var out []string
	for _, p := range r.Curve {
		value, u := plot.WithUncertainty(p.Current, p.Uncertainty)
		if u != "" {
			value += " ±\u00a0" + u
		}
		s := fmt.Sprintf("%s\u00a0A at a duty of %s\u00a0%%", value, plot.Short(p.Duty, 4))
		if p.Low != nil || p.High != nil {
			s += ", where good units have " + limitWords(p.Low, p.High) + "\u00a0A"
		}
		out = append(out, s)
	}
	const most = 6 // one duty is held a few times at most
	if n := len(out) - most; n > 0 {
		out = append(out[:most], fmt.Sprintf("%d more", n))
	}
	return sentence("the settled current was " + strings.Join(out, "; "))
}

// started says that there is anything to tell of a start: a board was seen to
// make one, or the result has no other picture of what the unit did.
func started(r result.Result) bool { return len(r.Startup.Attempts) > 0 || len(views(r)) == 0 }

// viewsFirst says that a unit without a board that starts it shows more in its
// kind's own pictures than in its current at each duty.
func viewsFirst(r result.Result) bool { return !started(r) }
