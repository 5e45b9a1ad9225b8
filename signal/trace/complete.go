package trace

import (
	"math"
	"slices"
)

// Check is the error that Write would give for a trace; nil when it would
// write it.
func (t *Trace) Check() error { return writable(t, nil) }

// Complete checks a trace that was made in another way than by Read, and fills
// in what Read would say of the same samples: Missing and Resolution of each
// column, and Warnings. Source and SHA256 stay as they are.
func (t *Trace) Complete() error {
	missing := make([]int, len(t.Columns))
	if err := writable(t, missing); err != nil {
		return err
	}
	var m comments
	for _, e := range t.Meta {
		m.add(e)
	}
	r := reader{columns: make([]builder, len(t.Columns))}
	var scratch []float64
	for i := range t.Columns {
		c := &t.Columns[i]
		r.columns[i].name = c.Name
		c.Missing, c.Resolution = missing[i], 0
		if c.Text == nil {
			c.Resolution, scratch = resolution(c.Values, scratch)
		}
	}
	r.warnUnknown()
	t.Warnings = slices.Concat(m.notes, r.warnings, warnEqual(t))
	return nil
}

// fine counts the NaN of a column of numbers, and tells in one pass whether
// all its values may be there.
func (c *Column) fine() (missing int, ok bool) {
	least, most := -math.MaxFloat64, math.MaxFloat64
	required := false
	switch c.Name {
	case ColTime:
		for _, v := range c.Values {
			if !(v >= least) {
				return 0, false
			}
			least = v
		}
		return 0, least <= most
	case ColDuty:
		least, most, required = 0, 100, true
	case ColLineDuty:
		least, most = 0, 100
	case ColSupplyOn:
		for _, v := range c.Values {
			switch {
			case v != v:
				missing++
			case v != 0 && v != 1:
				return 0, false
			}
		}
		return missing, true
	case ColCurrent:
		required = true
	}
	for _, v := range c.Values {
		if !(v >= least && v <= most) {
			if v == v {
				return 0, false
			}
			missing++
		}
	}
	return missing, missing == 0 || !required
}
