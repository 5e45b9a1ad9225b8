package calibrate

import (
	"fmt"
	"math"

	"dutybench/signal/stat"
)

// Remark is what a line tells against itself.
type Remark struct {
	Refuses bool // the line should not be used
	Point   int  // the point that it is about, from 1; 0: none
	Text    string
	Next    string // what to do
}

// The remarks' levels are chosen: of a hundred good calibrations one or two
// draw a remark, and it costs a repeated point.
const (
	oddLevel     = 0.01  // an outlying point, or a bend, by chance
	excessLevel  = 0.001 // scatter beyond what is known beforehand, by chance
	leastOdd     = 3     // standard uncertainties that an outlying point lies off at least
	fewPoints    = 5
	furthestGain = 0.1 // from 1; a shunt is known better than that
)

// Remarks looks for too few points, a point that lies off the line, a bend, and
// scatter that noise and digits do not explain.
func (l *Line) Remarks() []Remark {
	var out []Remark
	if g := l.Gain.Value; !(math.Abs(g-1) <= furthestGain) {
		out = append(out, Remark{Refuses: true,
			Text: fmt.Sprintf("The readings go with the reference by a factor of %.4g: that is no error of a shunt or divider.", g),
			Next: "Check the shunt, gain and dividers that the rig file states, and the unit in which the reference was read."})
	}
	if n := len(l.Points); n < fewPoints {
		out = append(out, Remark{Text: fmt.Sprintf("%d points leave %d degrees of freedom: the scatter counts %.3g times.", n, l.DoF, stat.StudentT((1+Level)/2, float64(l.DoF))),
			Next: "Take 6 points or more, best up and down."})
	}
	odd, is := l.outlier()
	if is {
		out = append(out, odd)
	}
	bend, bent := l.bend()
	if bent && !is {
		out = append(out, bend)
	}
	if step, off := l.step(); off && !is && !bent {
		out = append(out, step)
	}
	if chi := l.Excess * l.Excess * float64(l.DoF); !is && !bent && chi > stat.ChiSquare(1-excessLevel, float64(l.DoF)) {
		out = append(out, Remark{Text: fmt.Sprintf("The points scatter %.2g times as much as noise and digits explain; the uncertainty stated holds that scatter.", l.Excess),
			Next: "Wait longer at each point until both readings stand still, and look for a loose clamp."})
	}
	return out
}

// outlier finds the point that lies furthest off a line through the others,
// by its residual in standard deviations of these (Bonferroni's limit for the
// largest of n).
func (l *Line) outlier() (Remark, bool) {
	n, f := len(l.from), l.loose
	if n < fewPoints-1 || l.DoF < 2 || !(l.ResidualSD > 0) {
		return Remark{}, false
	}
	s2, rest := l.ResidualSD*l.ResidualSD, float64(l.DoF-1)
	worst, at, off := 0.0, 0, 0.0
	for k, i := range l.from {
		_, u := f.Predict(1, l.Points[i].Reference)
		free := 1 - l.weight[i]*u*u/s2 // what the point leaves of its own residual
		if !(free > 1e-6) {
			continue
		}
		e2 := l.weight[i] * f.Residual[k] * f.Residual[k] / free
		others := max(f.ChiSquare-e2, 1e-9*f.ChiSquare) / rest
		if t := math.Sqrt(e2 / others); t > worst {
			worst, at, off = t, i, f.Residual[k]/free
		}
	}
	if worst <= stat.StudentT(1-oddLevel/2/float64(n), rest) || math.Abs(off) <= leastOdd*l.Own[at] {
		return Remark{}, false
	}
	p := l.Points[at]
	return Remark{Refuses: true, Point: at + 1,
		Text: fmt.Sprintf("Point %d, where the reference showed %.5g, lies %+.3g off a line through the others, %.0f times their scatter.", at+1, p.Reference, off, worst),
		Next: "Measure that point again; a digit mistyped or a load that had not settled looks like this."}, true
}

// bend tries a quadratic term. A bend that is sure and larger than the line's
// own uncertainty refuses it.
func (l *Line) bend() (Remark, bool) {
	if l.DoF < 2 {
		return Remark{}, false
	}
	f, err := l.scatter(2)
	if err != nil || !(f.U(2) > 0) {
		return Remark{}, false
	}
	t := math.Abs(f.Coef[2]) / f.U(2)
	if t <= stat.StudentT(1-oddLevel/2, float64(f.DoF)) {
		return Remark{}, false
	}
	most, where := 0.0, 0.0
	low, high := math.Inf(1), math.Inf(-1)
	for _, i := range l.from {
		low, high = min(low, l.Points[i].Reference), max(high, l.Points[i].Reference)
	}
	for i := range 101 {
		v := low + (high-low)*float64(i)/100
		curve, line := 0.0, 0.0
		for j, x := range stat.Powers(2, v) {
			curve += x * f.Coef[j]
			if j < 2 {
				line += x * l.loose.Coef[j]
			}
		}
		if d := (curve - line) / l.Gain.Value; math.Abs(d) > math.Abs(most) {
			most, where = d, v
		}
	}
	r := Remark{Text: fmt.Sprintf("The readings do not follow a straight line: a quadratic term is %.1f times its uncertainty, and at %.4g they lie %+.2g off.", t, where, most),
		Next: "Measure again, slowly, up and down: a shunt that warms, a clipping amplifier or a reference that changed its range bends a line."}
	r.Refuses = math.Abs(most) > l.Corrected(l.Offset.Value+l.Gain.Value*where).Half
	if !r.Refuses {
		r.Text += " That is within the uncertainty stated."
	}
	return r, true
}

// step holds the zeros by the circuit against the reference's certificate, and
// against each other.
func (l *Line) step() (Remark, bool) {
	if !l.apart() {
		return Remark{}, false
	}
	zero, differ := l.zero()
	_, u := l.loose.Predict(1, 0)
	gain := l.Gain.Value
	q := stat.Exact((zero-l.loose.Coef[0])/gain).With("scatter", u/gain, float64(l.DoF)).
		With("zero", differ/gain, 0).WithShared("certificate", l.Meter.standard(l.Meter.Offset))
	if math.Abs(q.Value) <= stat.StudentT(1-excessLevel/2, q.DoF())*q.U() {
		return Remark{}, false
	}
	return Remark{Refuses: true,
		Text: fmt.Sprintf("The points do not lead to the zero with the socket open: the reference seems to show %+.3g too much, which its certificate does not allow.", q.Value),
		Next: "Set the reference to nought with its leads shorted or open as its manual says, and measure again."}, true
}

// Refused is the first remark that refuses the line, as an error; nil when
// none does.
func (l *Line) Refused() error {
	for _, r := range l.Remarks() {
		if r.Refuses {
			return fmt.Errorf("calibrate: %s %s", r.Text, r.Next)
		}
	}
	return nil
}
