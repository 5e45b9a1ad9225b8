package stat

import "math"

// Quantity is a measured value with its uncertainty budget. The unit is the
// caller's: it stands in the name or the doc comment of whatever holds the
// quantity.
type Quantity struct {
	Value  float64
	Budget []Component
}

// Component is one line of an uncertainty budget (JCGM 100:2008, 4 and 5).
type Component struct {
	// Source says in plain words where the uncertainty comes from, such as
	// "noise", "converter gain", "quantisation".
	Source string
	// U is the standard uncertainty that it adds, in the quantity's own unit
	// (sensitivity already applied).
	U float64
	// DoF is the degrees of freedom behind U; 0 means known without limit
	// (type B), the same as infinity.
	DoF float64
}

// Exact is a quantity without uncertainty, such as a count.
func Exact(v float64) Quantity { return Quantity{Value: v} }

// With returns q with one more component; q's own budget is not touched.
func (q Quantity) With(source string, u, dof float64) Quantity {
	b := make([]Component, 0, len(q.Budget)+1)
	b = append(b, q.Budget...)
	return Quantity{Value: q.Value, Budget: append(b, Component{Source: source, U: u, DoF: dof})}
}

// U is the combined standard uncertainty: the root of the sum of squares,
// components taken as independent (JCGM 100:2008, eq. 10).
func (q Quantity) U() float64 {
	var s float64
	for _, c := range q.Budget {
		s += c.U * c.U
	}
	return math.Sqrt(s)
}

// DoF is the effective degrees of freedom by Welch and Satterthwaite
// (JCGM 100:2008, eq. G.2b); +Inf when every component is known without limit.
func (q Quantity) DoF() float64 {
	var den float64
	for _, c := range q.Budget {
		if c.DoF > 0 && !math.IsInf(c.DoF, 1) {
			den += math.Pow(c.U, 4) / c.DoF
		}
	}
	if den == 0 {
		return math.Inf(1)
	}
	return math.Pow(q.U(), 4) / den
}

// Scale returns q times f, budget included.
func (q Quantity) Scale(f float64) Quantity {
	b := make([]Component, len(q.Budget))
	for i, c := range q.Budget {
		b[i] = Component{Source: c.Source, U: math.Abs(f) * c.U, DoF: c.DoF}
	}
	return Quantity{Value: f * q.Value, Budget: b}
}
