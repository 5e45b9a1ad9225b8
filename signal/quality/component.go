package quality

import (
	"math"

	"dutybench/signal/stat"
)

// Level is that of the intervals of components.
const Level = 0.95

// Row is one line of an analysis of variance.
type Row struct {
	Source string
	DoF    float64
	SS, MS float64
	// F is the mean square over the one that it is tested against, P the
	// probability of such an F or more without an effect; NaN where nothing
	// is tested.
	F, P float64
}

// Component is one part of the variance.
type Component struct {
	// Variance in the square of the unit; what comes out below zero is zero.
	Variance float64
	// DoF are the effective degrees of freedom (Satterthwaite 1946); 0 where
	// the variance is zero.
	DoF float64
	// Low and High are the interval of the standard deviation, at Level.
	Low, High float64

	weights []float64 // of the mean squares
}

// SD is the standard deviation, in the unit.
func (c Component) SD() float64 { return math.Sqrt(c.Variance) }

// combine makes a component of mean squares with weights: the sum of w·MS.
//
// The interval is ν·s²/χ² at the effective degrees of freedom ν of Satterthwaite.
// Where one mean square is subtracted from another and does not stand out from it
// (Gaylor and Hopper 1969, from memory: their ratio is below F(0.975; f2, f1) ·
// F(0.5; f1, f2)), that is too narrow, and the interval is the one of Williams
// and Tukey (Searle, Casella and McCulloch, Variance Components, 1992, 3.6.d,
// from memory), which may begin at zero.
func combine(rows []Row, weights ...float64) Component {
	c := Component{weights: weights}
	var den, k float64
	var up, down Row
	terms := 0
	for i, w := range weights {
		if w == 0 {
			continue
		}
		t := w * rows[i].MS
		c.Variance += t
		den += t * t / rows[i].DoF
		if terms++; w > 0 {
			up, k = rows[i], w
		} else {
			down = rows[i]
		}
	}
	c.Variance = max(0, c.Variance)
	if c.Variance > 0 {
		c.DoF = c.Variance * c.Variance / den
	}
	switch {
	case terms == 2 && down.DoF > 0 && !standsOut(up, down):
		end := func(p float64) float64 {
			f := stat.FisherF(p, up.DoF, down.DoF)
			return math.Sqrt(max(0, k*up.DoF*(up.MS-down.MS*f)/stat.ChiSquare(p, up.DoF)))
		}
		c.Low, c.High = end((1+Level)/2), end((1-Level)/2)
	case c.Variance > 0:
		c.Low = math.Sqrt(c.DoF * c.Variance / stat.ChiSquare((1+Level)/2, c.DoF))
		c.High = math.Sqrt(c.DoF * c.Variance / stat.ChiSquare((1-Level)/2, c.DoF))
	}
	return c
}

func standsOut(up, down Row) bool {
	return up.MS > down.MS*stat.FisherF((1+Level)/2, down.DoF, up.DoF)*stat.FisherF(0.5, up.DoF, down.DoF)
}

// sum is several components together: those that are zero add nothing.
func sum(rows []Row, cs ...Component) Component {
	weights := make([]float64, len(rows))
	for _, c := range cs {
		if c.Variance == 0 {
			continue
		}
		for i, w := range c.weights {
			weights[i] += w
		}
	}
	for i, w := range weights {
		if math.Abs(w) < 1e-12 {
			weights[i] = 0 // what was added and taken off again
		}
	}
	return combine(rows, weights...)
}

// row is a line without a test.
func row(source string, dof int, ss float64) Row {
	return Row{Source: source, DoF: float64(dof), SS: ss, MS: ss / float64(dof), F: math.NaN(), P: math.NaN()}
}

// against tests a line by another.
func (r Row) against(o Row) Row {
	r.F, r.P = r.MS/o.MS, 0
	switch {
	case math.IsNaN(r.F): // nothing differs at all
		r.P = 1
	case !math.IsInf(r.F, 1):
		r.P = survival(r.F, r.DoF, o.DoF)
	}
	return r
}
