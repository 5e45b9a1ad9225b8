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
	// Shared says that the error is the same in all measurements of one
	// bench, such as that of its converter's gain: between two of them it
	// cancels, and limits learned on that bench hold it already.
	Shared bool
}

// Exact is a quantity without uncertainty, such as a count.
func Exact(v float64) Quantity { return Quantity{Value: v} }

// With returns q with one more component; q's own budget is not touched.
func (q Quantity) With(source string, u, dof float64) Quantity {
	return q.with(Component{Source: source, U: u, DoF: dof})
}

// WithShared returns q with one more component that is the same in all
// measurements of one bench, known without limit.
func (q Quantity) WithShared(source string, u float64) Quantity {
	return q.with(Component{Source: source, U: u, Shared: true})
}

func (q Quantity) with(c Component) Quantity {
	b := make([]Component, 0, len(q.Budget)+1)
	b = append(b, q.Budget...)
	return Quantity{Value: q.Value, Budget: append(b, c)}
}

// Split is the standard uncertainty that a measurement has of its own, and
// what it shares with all others of its bench.
func (q Quantity) Split() (own, shared float64) {
	for _, c := range q.Budget {
		if c.Shared {
			shared = math.Hypot(shared, c.U)
		} else {
			own = math.Hypot(own, c.U)
		}
	}
	return own, shared
}

// U is the combined standard uncertainty: the root of the sum of squares,
// components taken as independent (JCGM 100:2008, eq. 10).
func (q Quantity) U() float64 {
	var u float64
	for _, c := range q.Budget {
		u = math.Hypot(u, c.U)
	}
	return u
}

// DoF is the effective degrees of freedom by Welch and Satterthwaite
// (JCGM 100:2008, eq. G.2b); +Inf when every component is known without limit.
func (q Quantity) DoF() float64 {
	u := q.U()
	var den float64
	for _, c := range q.Budget {
		if c.DoF > 0 && !math.IsInf(c.DoF, 1) && c.U != 0 {
			share := c.U / u
			if math.IsInf(c.U, 0) {
				share = 1
			}
			share *= share
			den += share * share / c.DoF
		}
	}
	return 1 / den
}

// Expanded is the half-width of the interval that holds the value at the
// given level, such as 0.95, and the coverage factor k in it: Student's t at
// the effective degrees of freedom, not truncated (JCGM 100:2008, G.4.1).
func (q Quantity) Expanded(level float64) (half, k float64) {
	k = StudentT((1+level)/2, q.DoF())
	return k * q.U(), k
}

// Scale returns q times f, budget included.
func (q Quantity) Scale(f float64) Quantity {
	b := make([]Component, len(q.Budget))
	for i, c := range q.Budget {
		b[i] = c
		b[i].U *= math.Abs(f)
	}
	return Quantity{Value: f * q.Value, Budget: b}
}
