package calibrate

import (
	"fmt"
	"io"
	"math"
	"strings"
)

// WriteText tells a line in at most 80 characters a line: gain and offset, a
// table of the points with a plot of their residuals, and the remarks. unit is
// "A" or "V"; ascii leaves out signs that old terminals lack.
func (l *Line) WriteText(w io.Writer, unit string, ascii bool) error {
	var b strings.Builder
	g, o := l.Gain, l.Offset
	fmt.Fprintf(&b, "gain    %.6f ± %.6f  (%.3f %%, k = %.2f)\n", g.Value, g.Half, 100*g.Half/math.Abs(g.Value), g.K)
	fmt.Fprintf(&b, "offset  %+.3f ± %.3f m%s  (k = %.2f)\n", 1e3*o.Value, 1e3*o.Half, unit, o.K)
	b.WriteString("both of 95 %; from:\n")
	for _, e := range []struct {
		name string
		e    Estimate
		f    float64
		unit string
	}{{"gain", g, 100 / math.Abs(g.Value), "%"}, {"offset", o, 1e3, "m" + unit}} {
		for _, c := range e.e.Budget {
			fmt.Fprintf(&b, "  %-6s  %-22s %8.4f %s\n", e.name, c.Source, c.U*e.f, e.unit)
		}
	}
	most := 0.0
	for i, r := range l.Residuals {
		most = max(most, math.Abs(r), 2*l.Own[i])
	}
	const half = 10
	fmt.Fprintf(&b, "\n%5s %11s %11s %11s %9s  %*s\n", "point", "reference "+unit, "reading "+unit, "corrected", "off m"+unit, 2*half, fmt.Sprintf("%.2g", 1e3*most))
	for i, p := range l.Points {
		name := fmt.Sprint(i + 1)
		if p.Zero {
			name = "zero"
		}
		bar := []byte(strings.Repeat(" ", 2*half+1))
		bar[half] = '|'
		if most > 0 {
			bar[half+int(math.Round(half*l.Residuals[i]/most))] = '*'
		}
		fmt.Fprintf(&b, "%5s %11.5f %11.5f %11.5f %+9.2f  %s\n", name, p.Reference, p.Reading, l.Value(p.Reading), 1e3*l.Residuals[i], strings.TrimRight(string(bar), " "))
	}
	fmt.Fprintf(&b, "\nThe points scatter by %.3g m%s about the line, %.2g times what noise and digits\nexplain.", 1e3*l.ResidualSD, unit, l.Excess)
	if l.apart() {
		fmt.Fprintf(&b, " Seen from the zero, the reference shows %+.2g m%s too much.", 1e3*l.ReferenceOffset, unit)
	}
	b.WriteByte('\n')
	for _, r := range l.Remarks() {
		what := "Remark"
		if r.Refuses {
			what = "NOT FIT"
		}
		fmt.Fprintf(&b, "%s: %s %s\n", what, r.Text, r.Next)
	}
	text := b.String()
	if ascii {
		text = strings.NewReplacer("±", "+-", "°", " deg ", "·", "*").Replace(text)
	}
	_, err := io.WriteString(w, text)
	return err
}
