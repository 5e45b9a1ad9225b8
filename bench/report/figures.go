package report

import (
	"cmp"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"

	"dutybench/bench/plot"
	"dutybench/bench/result"
	"dutybench/signal/trace"
)

// heldFor lets the charging peak of an input capacitor, which lasts under a
// millisecond, run off the top of a drawing (common practice; attempts last
// a tenth of a second and more).
const heldFor = 0.02

// drawing is one figure in two shapes, for a wide and for a narrow page.
type drawing struct{ Wide, Narrow template.HTML }

func draw(g plot.Figure, id string, height float64) (drawing, error) {
	var wide, narrow strings.Builder
	if err := plot.SVG(&wide, g, 760, height, id+"-w"); err != nil {
		return drawing{}, err
	}
	if err := plot.SVG(&narrow, g, 360, math.Round(height*0.95), id+"-n"); err != nil {
		return drawing{}, err
	}
	// The figure's own words are escaped by plot.
	return drawing{template.HTML(wide.String()), template.HTML(narrow.String())}, nil
}

// look is how one direction of the sweep is drawn.
type look struct {
	direction string
	shape     plot.Shape
	color     plot.Color
	dash      []float64
}

func looks() []look {
	return []look{
		{"up", plot.Standing, plot.First, nil},
		{"down", plot.OnTip, plot.Second, []float64{4, 3}},
	}
}

// curveFigure is the plateaus over duty inside the band of good units, and
// below it how far each lies off the band's middle, in percent of that: what
// is small at low duty shows there.
func curveFigure(r result.Result) plot.Figure {
	g := plot.Figure{
		Title: "Current over duty",
		Desc:  curveWords(r.Curve),
		X:     plot.Axis{Label: "duty", Unit: "%"},
		Panels: []plot.Panel{{
			Y:     plot.Axis{Label: "current", Unit: "A", Zero: true},
			Marks: curveMarks(r.Curve, true),
			Share: 1.7,
		}},
	}
	if off := offMiddle(r.Curve); len(off) > 0 {
		g.Panels = append(g.Panels, plot.Panel{
			Y:     plot.Axis{Label: "off the band’s middle", Unit: "%", Zero: true},
			Marks: curveMarks(off, false),
		})
	}
	if len(r.Curve) > 0 {
		low, high := r.Curve[0].Duty, r.Curve[0].Duty
		for _, p := range r.Curve {
			low, high = min(low, p.Duty), max(high, p.Duty)
		}
		pad := max((high-low)*0.025, 0.5)
		g.X.Range = &plot.Range{Low: low - pad, High: high + pad}
	}
	return g
}

// curveMarks is the bands of both directions and the points above them.
func curveMarks(curve []result.Point, named bool) []plot.Mark {
	var bands, points []plot.Mark
	for _, k := range looks() {
		pts := plot.Points{Shape: k.shape, Color: k.color}
		if named {
			pts.Name = k.direction
		}
		var band plot.Band
		limits := false
		for _, p := range sweep(curve, k.direction) {
			pts.X, pts.Y, pts.U = append(pts.X, p.Duty), append(pts.Y, p.Current), append(pts.U, p.Uncertainty)
			pts.Boxed = append(pts.Boxed, outside(p))
			lo, hi := orNaN(p.Low), orNaN(p.High)
			limits = limits || !math.IsNaN(lo) || !math.IsNaN(hi)
			band.X, band.Low, band.High = append(band.X, p.Duty), append(band.Low, lo), append(band.High, hi)
		}
		if limits {
			if named && len(bands) == 0 {
				band.Name = "good units"
			}
			bands = append(bands, band)
		}
		points = append(points, plot.Line{X: pts.X, Y: pts.Y, Stroke: plot.Stroke{Color: k.color, Width: 1, Dash: k.dash}}, pts)
	}
	return append(bands, points...)
}

// offMiddle is the curve in percent off the middle of its band; only points
// with a band on both sides.
func offMiddle(curve []result.Point) []result.Point {
	var out []result.Point
	for _, p := range curve {
		if p.Low == nil || p.High == nil {
			continue
		}
		mid := (*p.Low + *p.High) / 2
		if !(mid > 0) || math.IsInf(mid, 0) {
			continue
		}
		low, high := (*p.Low/mid-1)*100, (*p.High/mid-1)*100
		p.Current, p.Uncertainty = (p.Current/mid-1)*100, p.Uncertainty/mid*100
		p.Low, p.High = &low, &high
		out = append(out, p)
	}
	return out
}

// sweep is the points of one direction, duty rising.
func sweep(curve []result.Point, direction string) []result.Point {
	var out []result.Point
	for _, p := range curve {
		if p.Direction == direction {
			out = append(out, p)
		}
	}
	slices.SortStableFunc(out, func(a, b result.Point) int { return cmp.Compare(a.Duty, b.Duty) })
	return out
}

func outside(p result.Point) bool {
	return p.Low != nil && p.Current < *p.Low || p.High != nil && p.Current > *p.High
}

// curveWords says which points lie outside the band.
func curveWords(curve []result.Point) string {
	if len(curve) == 0 {
		return "No point of the curve was measured."
	}
	var out []string
	judged, off := 0, 0
	for _, direction := range []string{"up", "down"} {
		// Neighbours on the same side are told in one go.
		var from, to float64
		side := ""
		tell := func() {
			if side == "" {
				return
			}
			duty := plot.Short(from, 3)
			if to != from {
				duty += " to " + plot.Short(to, 3)
			}
			out = append(out, fmt.Sprintf("%s at %s %% %s", direction, duty, side))
		}
		for _, p := range sweep(curve, direction) {
			if p.Low == nil && p.High == nil {
				continue
			}
			judged++
			now := ""
			if outside(p) {
				off++
				now = "above"
				if p.Low != nil && p.Current < *p.Low {
					now = "below"
				}
			}
			if now != side {
				tell()
				from, side = p.Duty, now
			}
			to = p.Duty
		}
		tell()
	}
	switch {
	case judged == 0:
		return "The profile holds no band for these points."
	case off == 0:
		return fmt.Sprintf("All %d points that have a band lie inside it.", judged)
	case judged == 1:
		return fmt.Sprintf("The one point that has a band lies outside it: %s.", list(out))
	}
	return fmt.Sprintf("%d of %d points lie outside the band: %s.", off, judged, list(out))
}

// expected is the highest current that the band of good units reaches, 0
// when there is none: a dead unit's trace is drawn on a live unit's scale.
func expected(curve []result.Point) float64 {
	var top float64
	for _, p := range curve {
		if p.High != nil && *p.High > top && !math.IsInf(*p.High, 0) {
			top = *p.High
		}
	}
	return top
}

// startWindow is the stretch of the trace that shows the start-up.
func startWindow(in Input) (from, to float64, commanded float64, ok bool) {
	tr := in.Trace
	if tr == nil || tr.Len() == 0 {
		return 0, 0, 0, false
	}
	t, duty, on := tr.Time(), tr.Duty(), tr.Values(trace.ColSupplyOn)
	stop := 0.0
	if in.Profile != nil {
		stop = in.Profile.Command.Stop_pct
	}
	commanded = math.NaN()
	for i := range t {
		if i < len(duty) && duty[i] > stop && (i >= len(on) || !(on[i] == 0)) {
			commanded = t[i]
			break
		}
	}
	from, to = commanded, commanded
	if math.IsNaN(commanded) {
		from, to = t[0], t[0]
	}
	s := in.Result.Startup
	for _, a := range s.Attempts {
		from, to = min(from, a.Start), max(to, a.Start+a.Length)
	}
	if s.Settled != nil {
		to = max(to, *s.Settled)
	}
	if len(s.Attempts) == 0 && s.Settled == nil {
		wait := 5.0
		if in.Profile != nil && in.Profile.Limits.StartTimeout > 0 {
			wait = in.Profile.Limits.StartTimeout.Seconds()
		}
		to = from + wait
	}
	pad := max((to-from)*0.12, 0.05)
	from, to = max(from-pad, t[0]), min(to+pad, t[len(t)-1])
	return from, to, commanded, to > from
}

// startFigure is the waveform of the start-up.
func startFigure(in Input) plot.Figure {
	g := plot.Figure{
		Title: "Current during start-up",
		Desc:  attemptsLine(in.Result.Startup),
		X:     plot.Axis{Label: "time in the trace", Unit: "s"},
		Panels: []plot.Panel{{Y: plot.Axis{
			Label: "current", Unit: "A", Zero: true, Held: heldFor, AtLeast: expected(in.Result.Curve) / 2,
		}}},
	}
	from, to, commanded, ok := startWindow(in)
	if !ok {
		return g
	}
	g.X.Range = &plot.Range{Low: from, High: to}
	var marks []plot.Mark
	for i, a := range in.Result.Startup.Attempts {
		name := ""
		if n := len(in.Result.Startup.Attempts); n <= 3 {
			name = fmt.Sprintf("attempt %d", i+1)
		} else if n <= 12 {
			name = fmt.Sprint(i + 1)
		}
		marks = append(marks, plot.Region{From: a.Start, To: a.Start + a.Length, Name: name})
	}
	x, y := cut(in.Trace.Time(), in.Trace.Current(), from, to)
	marks = append(marks,
		plot.Line{X: x, Y: y, Stroke: plot.Stroke{Color: plot.First, Width: 1.2}},
		plot.Marker{X: commanded, Name: "first command"})
	if s := in.Result.Startup.Settled; s != nil {
		marks = append(marks, plot.Marker{X: *s, Name: "settled"})
	}
	g.Panels[0].Marks = marks
	return g
}

// cut is the samples between from and to.
func cut(x, y []float64, from, to float64) ([]float64, []float64) {
	n := min(len(x), len(y))
	x, y = x[:n], y[:n]
	i, _ := slices.BinarySearch(x, from)
	j, _ := slices.BinarySearch(x, to)
	for j < n && x[j] <= to {
		j++
	}
	return x[i:max(i, j)], y[i:max(i, j)]
}

// sampled is a column without the gaps between its samples, where it was sampled
// at less than every second time; others keep their gaps.
func sampled(t, values []float64) (x, y []float64) {
	n := min(len(t), len(values))
	for i := range n {
		if isNumber(values[i]) {
			x, y = append(x, t[i]), append(y, values[i])
		}
	}
	if 2*len(x) >= n {
		return t, values
	}
	return x, y
}

// traceFigure is the whole trace: current, duty and supply, and where the unit
// stood.
func traceFigure(in Input) plot.Figure {
	g := plot.Figure{
		Title: "Whole trace",
		Desc:  "Current, duty and supply over the time of the test.",
		X:     plot.Axis{Label: "time in the trace", Unit: "s"},
		Panels: []plot.Panel{
			{Y: plot.Axis{Label: "current", Unit: "A", Zero: true, Held: heldFor, AtLeast: expected(in.Result.Curve)}, Share: 2},
			{Y: plot.Axis{Label: "duty", Unit: "%", Range: &plot.Range{Low: 0, High: 100}}},
			{Y: plot.Axis{Label: "supply", Unit: "V", Zero: true}},
		},
	}
	if in.Trace == nil {
		return g
	}
	t := in.Trace.Time()
	position := in.Trace.Values(trace.ColPosition)
	stands := plot.Axis{Label: "position", Unit: "%"}
	if len(position) == 0 {
		position, stands.Unit = in.Trace.Values(trace.ColPositionV), "V"
	}
	if len(position) > 0 {
		g.Desc = "Current, duty, supply and position over the time of the test."
		g.Panels = append(g.Panels, plot.Panel{Y: stands})
	}
	for i, c := range []struct {
		values []float64
		color  plot.Color
		step   bool
		fill   plot.Color
	}{
		{in.Trace.Current(), plot.First, false, ""},
		{in.Trace.Duty(), plot.Second, true, "#f3e9dd"},
		{in.Trace.Values(trace.ColSupply), plot.Third, false, ""},
		{position, plot.First, false, ""},
	} {
		if len(c.values) > 0 {
			x, y := sampled(t, c.values)
			g.Panels[i].Marks = []plot.Mark{plot.Line{X: x, Y: y, Step: c.step, Fill: c.fill,
				Stroke: plot.Stroke{Color: c.color, Width: 1}}}
		}
	}
	return g
}

func orNaN(p *float64) float64 {
	if p == nil {
		return math.NaN()
	}
	return *p
}
