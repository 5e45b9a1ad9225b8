package upkeep

import (
	"fmt"
	"math"

	"dutybench/bench/plot"
	"dutybench/signal/quality"
	"dutybench/signal/stat"
)

// chart lays out one finding, with the limits of each phase.
func (h *Health) chart(name string) {
	c := Chart{Finding: name, Points: make([]Point, len(h.Tests))}
	for i := range h.Tests {
		p := Point{Value: nan, Range: nan, Average: nan, Low: nan, High: nan, RangeHigh: nan, AverageLow: nan, AverageUp: nan}
		if f := h.Tests[i].Finding(name); f != nil {
			c.Unit = f.Unit
			if f.Value != nil {
				p.Value = *f.Value
			}
		}
		c.Points[i] = p
	}
	for _, ph := range h.Phases {
		c.Limits = append(c.Limits, h.limits(&c, ph))
	}
	h.Charts = append(h.Charts, c)
}

// limits are frozen from the first tests of a phase in which the finding was
// measured; every later test is held against them.
func (h *Health) limits(c *Chart, ph Phase) *Limits {
	points := c.Points[ph.From : ph.From+ph.Tests]
	var base []float64
	rest := len(points) // from here on tests are held against the limits
	before := nan
	for i := range points {
		p := &points[i]
		if math.IsNaN(p.Value) {
			continue
		}
		p.Range = math.Abs(p.Value - before)
		before = p.Value
		if len(base) < h.Baseline {
			base = append(base, p.Value)
			p.InBaseline = true
			rest = i + 1
		}
	}
	if c.Note = ""; len(base) < h.Baseline {
		c.Note = fmt.Sprintf("%d of %d tests for the limits", len(base), h.Baseline)
		return nil
	}
	chart, err := quality.NewIndividuals(base, quality.Next(h.rate, h.Baseline))
	if err != nil || chart.Sigma == 0 {
		c.Note = "the first tests do not differ at all, so there is nothing to make limits of"
		return nil
	}
	l := &Limits{Mean: chart.Mean, Sigma: chart.Sigma, Low: chart.Low, High: chart.High, RangeHigh: chart.RangeHigh}
	drift := quality.EWMA{Lambda: Weight, L: h.L, Target: chart.Mean, Sigma: chart.Sigma, N: h.Baseline}
	l.AverageHalf = drift.Steady()
	values := make([]float64, 0, len(points))
	for _, p := range points[rest:] {
		// A value that lies out has its own alarm. In the average it would go on
		// alarming for days after a loose plug was put right.
		if chart.Out(p.Value) {
			p.Value = nan
		}
		values = append(values, p.Value)
	}
	averages := drift.Run(values)
	for i := range points {
		p := &points[i]
		p.Low, p.High, p.RangeHigh = chart.Low, chart.High, chart.RangeHigh
		if i >= rest {
			a := averages[i-rest]
			p.AverageLow, p.AverageUp = a.Low, a.High
			if !math.IsNaN(p.Value) {
				p.Average = a.Z
				h.look(c, chart, points, i, ph.From+i, a)
			}
		}
	}
	l.Capability = h.capability(c, ph, base)
	return l
}

// look holds one test against the limits.
func (h *Health) look(c *Chart, chart quality.Individuals, points []Point, i, at int, a quality.Average) {
	p := &points[i]
	t := h.Tests[at]
	alarm := func(kind, sentence, next string) {
		p.Out = true
		h.Alarms = append(h.Alarms, Alarm{When: t.When, Record: t.ID.String(), Finding: c.Finding, Kind: kind, Sentence: sentence, Next: next})
	}
	unit := ""
	if c.Unit != "" {
		unit = " " + c.Unit
	}
	show := func(x float64) string { return plot.Short(x, 5) + unit }
	valueOut := chart.Out(p.Value)
	if valueOut {
		alarm("value", fmt.Sprintf("%s lies outside %s to %s", show(p.Value), show(chart.Low), show(chart.High)),
			"Stop testing until the check unit, taken off, mounted and bled again, lies inside twice running; if it does not, look at plug, leads and supply (dutybench rig check), then calibrate.")
	}
	// The step back from a test that lay out is no second alarm, and neither is
	// that to a test which lies out itself.
	before := before(points, i)
	if !valueOut && before >= 0 && !chart.Out(points[before].Value) && chart.RangeOut(points[before].Value, p.Value) {
		alarm("range", fmt.Sprintf("%s from the test before, more than %s", show(p.Range), show(chart.RangeHigh)),
			"Stop testing until two checks running agree: look for a loose plug, air in the loop, a hose that kinks.")
	}
	if a.Out {
		alarm("drift", fmt.Sprintf("the average for drift stands at %s, outside %s to %s", show(a.Z), show(a.Low), show(a.High)),
			"Stop testing until the rig's calibration has been checked against the reference meter (dutybench rig calibrate); if it stands, another check unit tells whether the unit wears.")
	}
}

// before is the place of the last test before i with a value; -1: none.
func before(points []Point, i int) int {
	for i--; i >= 0; i-- {
		if !math.IsNaN(points[i].Value) {
			return i
		}
	}
	return -1
}

// capability is how the check unit's scatter fits between the profile's limits.
func (h *Health) capability(c *Chart, ph Phase, base []float64) *quality.Capability {
	f := h.Tests[ph.From].Finding(c.Finding)
	if f == nil || f.Low == nil && f.High == nil {
		return nil
	}
	low, high := nan, nan
	if f.Low != nil {
		low = *f.Low
	}
	if f.High != nil {
		high = *f.High
	}
	mean, sd := stat.MeanSD(base)
	k, err := quality.Capable(mean, sd, len(base), low, high, quality.Level)
	if err != nil {
		return nil
	}
	return &k
}
