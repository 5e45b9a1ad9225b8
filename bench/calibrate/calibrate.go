// Package calibrate finds what a rig's readings are worth: a straight line
// through readings of the bench against those of a reference meter, with its
// uncertainty; the file that keeps it; and the correction of later readings.
//
// The model, for currents in amperes or voltages in volts:
//
//	reading = offset + gain·value + e,    value = x − c − g·x − d
//
// where x is what the reference meter showed. e and d (the bench's noise and
// steps, the reference's digits and its reader) differ from point to point:
// the scatter about the line measures them, with two degrees of freedom less
// than there are points (JCGM 100:2008, H.3). c and g, the reference's own
// offset and gain errors, are the same at all points: they move the whole
// line, no number of points averages them away, and they are carried into
// offset and gain by their sensitivities (JCGM 100:2008, 5.2 and F.1.2.3). At
// an open socket the value is nought whatever the reference shows: such zeros
// know neither c, g nor d, so they do not count among the scatter, and bear
// the uncertainty of the bench's own mean. Expanded uncertainties are of 95 %, with Student's t at the
// degrees of freedom of Welch and Satterthwaite (JCGM 100:2008, G.4).
package calibrate

import (
	"fmt"
	"math"

	"dutybench/signal/stat"
)

// Level is the coverage of every interval here.
const Level = 0.95

// Point is one reading of the bench beside one of the reference.
type Point struct {
	Reading   float64 // mean of the bench's readings, uncorrected, A or V
	U         float64 // standard uncertainty of that mean, from scatter and steps
	DoF       float64 // degrees of freedom behind U; 0: known without limit
	Reference float64 // what the reference showed, A or V
	// Zero says that the value is nought by the circuit, such as the current
	// at an open socket. Reference is then 0.
	Zero bool
}

// Meter is what the reference's certificate or data sheet says of one range.
type Meter struct {
	Gain   float64 // expanded uncertainty in proportion to the reading, such as 0.0005
	Offset float64 // expanded uncertainty whatever the reading, A or V
	// K is the coverage factor of both, as the certificate states it: the
	// errors are then taken as normal (JCGM 100:2008, 4.3.3). 0: Gain and
	// Offset are limits of a data sheet, and the errors are taken as uniform
	// within them (4.3.7).
	K     float64
	Digit float64 // the smallest step that it shows, A or V
}

func (m Meter) check() error {
	ok := func(x float64) bool { return x >= 0 && !math.IsInf(x, 0) }
	switch {
	case !ok(m.Gain) || !ok(m.Offset) || !ok(m.Digit) || m.Gain >= 0.1:
		return fmt.Errorf("calibrate: reference with an uncertainty of %g of the reading and %g, in steps of %g: give finite ones, none below nought, and less than 0.1 of the reading", m.Gain, m.Offset, m.Digit)
	case m.K != 0 && !(m.K >= 1 && m.K <= 4):
		return fmt.Errorf("calibrate: coverage factor k = %g: give that of the certificate, mostly 2; or 0 when the figures are limits of a data sheet", m.K)
	case m.Gain == 0 && m.Offset == 0:
		return fmt.Errorf("calibrate: the reference states no uncertainty: give that of its certificate")
	}
	return nil
}

// standard is the standard uncertainty behind an expanded one or a limit.
func (m Meter) standard(u float64) float64 {
	if m.K == 0 {
		return u / math.Sqrt(3)
	}
	return u / m.K
}

// own is the standard uncertainty that a point has of its own, as far as it
// is known beforehand: that of the bench's mean, and the reference's step,
// uniform (JCGM 100:2008, F.2.2.1). It weighs the points; how large the scatter
// is, the residuals say.
func (m Meter) own(p Point) float64 {
	if p.Zero {
		return p.U
	}
	return math.Hypot(p.U, m.Digit/math.Sqrt(12))
}

// Estimate is a gain or an offset.
type Estimate struct {
	stat.Quantity
	Half float64 // half the 95 % interval
	K    float64 // Half over the standard uncertainty
}

// Covers says whether the 95 % interval holds a value.
func (e Estimate) Covers(v float64) bool { return math.Abs(v-e.Value) <= e.Half }

// Line is a calibration's result: reading = Offset + Gain·value.
type Line struct {
	Points []Point
	Meter  Meter

	Gain, Offset Estimate
	Covariance   float64 // of gain and offset
	// ReferenceOffset is what the reference seems to add to its readings,
	// after the zeros by the circuit and its certificate; 0 without zeros.
	ReferenceOffset float64
	Residuals       []float64 // reading less line
	Own             []float64 // standard uncertainty of each point, as known beforehand
	ResidualSD      float64   // of a point of usual weight
	DoF             int
	Low, High       float64 // values that the points reach over
	// Excess is how many times what is known beforehand the points scatter.
	Excess float64

	weight []float64
	from   []int   // the points that show the scatter
	zeroU  float64 // by which zeros differ beyond their own uncertainty
	loose  *stat.Fit
	final  *stat.Fit
	rows   [][]float64 // of the final fit, and their uncertainties
	u      []float64
}

// Least points of a calibration, and how far they must lie apart as a share
// of the largest value. Both chosen: a line through two points hides
// everything; closer together, gain and offset cannot be told apart.
const (
	leastPoints = 3
	leastSpan   = 0.25
)

// Fit lays the line. It refuses points that cannot give one; what the line
// itself tells against it say its Remarks.
func Fit(points []Point, m Meter) (*Line, error) {
	if err := m.check(); err != nil {
		return nil, err
	}
	l := &Line{Points: points, Meter: m, Low: math.Inf(1), High: math.Inf(-1)}
	most := 0.0
	levels, loaded := map[float64]bool{}, []int{}
	for i, p := range points {
		if !finite(p.Reading) || !finite(p.Reference) || !(p.U >= 0) || math.IsInf(p.U, 0) || p.Zero && p.Reference != 0 {
			return nil, fmt.Errorf("calibrate: point %d reads %g ± %g against %g: measure it again", i+1, p.Reading, p.U, p.Reference)
		}
		levels[p.Reference] = true
		if !p.Zero {
			loaded = append(loaded, i)
		}
		l.Low, l.High = min(l.Low, p.Reference), max(l.High, p.Reference)
		most = max(most, math.Abs(p.Reference))
		l.Own = append(l.Own, m.own(p))
	}
	if len(points) < leastPoints || len(levels) < leastPoints {
		return nil, fmt.Errorf("calibrate: %d points at %d values: take %d or more, better 6, spread over the range", len(points), len(levels), leastPoints)
	}
	if l.High-l.Low < leastSpan*most {
		return nil, fmt.Errorf("calibrate: the points reach from %.4g to %.4g only: spread them over the whole range that is to be used", l.Low, l.High)
	}
	l.from = loaded
	if len(loaded) < leastPoints {
		// Too few without the zeros: the reference's offset then counts as
		// scatter too, which is on the safe side.
		l.from = nil
		for i := range points {
			l.from = append(l.from, i)
		}
	}
	l.weigh()
	return l, l.lay()
}

// weigh finds relative weights: about 1 for a usual point. Where nothing is
// known beforehand, all weigh alike.
func (l *Line) weigh() {
	var known []float64
	for _, i := range l.from {
		known = append(known, l.Own[i])
	}
	usual := stat.Median(known)
	l.weight = make([]float64, len(l.Own))
	for i, u := range l.Own {
		// One point that is known far better than the rest would only strain
		// the arithmetic.
		if l.weight[i] = 1; usual > 0 {
			l.weight[i] = math.Pow(usual/max(u, usual/10), 2)
		}
	}
}

// scatter fits the points that show the scatter.
func (l *Line) scatter(degree int) (*stat.Fit, error) {
	var x [][]float64
	var y, w []float64
	for _, i := range l.from {
		p := l.Points[i]
		x, y, w = append(x, stat.Powers(degree, p.Reference)), append(y, p.Reading), append(w, l.weight[i])
	}
	return stat.LeastSquares(x, y, w)
}

// apart says that the zeros do not belong to the scatter.
func (l *Line) apart() bool { return len(l.from) < len(l.Points) }

// zero is the mean of the zeros apart, and how they differ beyond their own
// uncertainties (standard deviation).
func (l *Line) zero() (mean, differ float64) {
	var xs, own []float64
	for _, p := range l.Points {
		if p.Zero {
			xs, own = append(xs, p.Reading), append(own, p.U*p.U)
		}
	}
	if len(xs) < 2 {
		return stat.Mean(xs), 0
	}
	mean, sd := stat.MeanSD(xs)
	return mean, math.Sqrt(max(sd*sd-stat.Mean(own), 0))
}

// lay finds the scatter, then the line with scatter, zeros and the reference's
// offset as each is known: the offset enters as one more observation, nought
// with the certificate's uncertainty.
func (l *Line) lay() error {
	var err error
	if l.loose, err = l.scatter(1); err != nil {
		return fmt.Errorf("calibrate: %w", err)
	}
	l.ResidualSD, l.DoF = l.loose.ResidualSD, l.loose.DoF
	gain := l.loose.Coef[1]
	least := 1e-12 * (math.Abs(gain)*(l.High-l.Low) + math.Abs(l.loose.Coef[0]))
	s := max(l.ResidualSD, least)
	if l.apart() {
		_, l.zeroU = l.zero()
	}
	var y []float64
	for i, p := range l.Points {
		u, beside := s/math.Sqrt(l.weight[i]), 1.0
		if p.Zero {
			beside = 0
			if l.apart() {
				u = max(math.Hypot(p.U, l.zeroU), s/100, least)
			}
		}
		l.rows, y, l.u = append(l.rows, []float64{1, p.Reference, beside}), append(y, p.Reading), append(l.u, u)
	}
	l.rows, y = append(l.rows, []float64{0, 0, 1}), append(y, 0)
	l.u = append(l.u, max(math.Abs(gain)*l.Meter.standard(l.Meter.Offset), least))
	if l.final, err = stat.WeightedLeastSquares(l.rows, y, l.u); err != nil {
		return fmt.Errorf("calibrate: %w", err)
	}
	f := l.final
	gain = f.Coef[1]
	l.ReferenceOffset = -f.Coef[2] / gain
	l.Residuals = f.Residual[:len(l.Points)]
	l.Covariance = f.Cov.At(0, 1)
	l.Offset = l.estimate(f.Coef[0], 0, 1, 0)
	l.Gain = l.estimate(gain, math.Abs(gain)*l.Meter.standard(l.Meter.Gain), 0, 1)
	var chi float64
	for k, i := range l.from {
		if r := l.loose.Residual[k]; l.Own[i] > 0 {
			chi += r * r / (l.Own[i] * l.Own[i])
		}
	}
	l.Excess = math.Sqrt(chi / float64(l.DoF))
	return nil
}

// estimate is the value a·offset + b·gain with its budget; reference is what
// the reference's gain adds.
func (l *Line) estimate(value, reference, a, b float64) Estimate {
	cov := l.final.Cov
	var zero stat.Quantity
	var scatter, common float64
	for i, row := range l.rows {
		// How the value goes with this observation, times its uncertainty.
		var c float64
		for k, x := range row {
			c += (a*cov.At(0, k) + b*cov.At(1, k)) * x
		}
		c = math.Abs(c) / l.u[i]
		switch {
		case i == len(l.Points):
			common = c
		case l.apart() && l.Points[i].Zero:
			zero = zero.With("", c, l.Points[i].DoF)
		default:
			scatter = math.Hypot(scatter, c)
		}
	}
	q := stat.Exact(value)
	if l.apart() {
		q = q.With("zero", zero.U(), zero.DoF())
	}
	q = q.With("scatter about the line", scatter, float64(l.DoF)).WithShared("reference's offset", common)
	if reference > 0 {
		q = q.WithShared("reference's gain", reference)
	}
	e := Estimate{Quantity: q}
	if e.Half, e.K = q.Expanded(Level); l.Meter.K == 0 {
		e.Half, e.K = expanded(q)
	}
	return e
}

// Value is what a reading stands for.
func (l *Line) Value(reading float64) float64 { return (reading - l.Offset.Value) / l.Gain.Value }

// Corrected is a reading's value with the uncertainty of the line there; the
// noise of the reading comes on top.
func (l *Line) Corrected(reading float64) Estimate {
	value, gain := l.Value(reading), l.Gain.Value
	return l.estimate(value, math.Abs(value)*l.Meter.standard(l.Meter.Gain), 1/gain, value/gain)
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
