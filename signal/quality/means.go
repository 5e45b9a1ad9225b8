package quality

// means of a study's cells, about a common centre: exact differences where the
// leading digits of all values are alike.
type means struct {
	cell    [][]float64 // of the repeats, less the centre
	part    []float64
	middle  []float64 // over the parts; has a meaning in a crossed study only
	all     float64
	within  float64 // sum of squares about the cells' means
	p, a, r int
}

func meansOf(values [][][]float64) means {
	m := means{p: len(values), a: len(values[0]), r: len(values[0][0])}
	// A first mean is centre enough.
	var centre float64
	for _, part := range values {
		for _, cell := range part {
			for _, x := range cell {
				centre += x / float64(m.p*m.a*m.r)
			}
		}
	}
	m.part, m.middle = make([]float64, m.p), make([]float64, m.a)
	for i, part := range values {
		row := make([]float64, m.a)
		for j, cell := range part {
			var rest, ss float64
			for _, x := range cell {
				row[j] += (x - centre) / float64(m.r)
			}
			for _, x := range cell {
				d := (x - centre) - row[j]
				rest += d
				ss += d * d
			}
			row[j] += rest / float64(m.r)
			m.within += ss - rest*rest/float64(m.r)
			m.part[i] += row[j] / float64(m.a)
			m.middle[j] += row[j] / float64(m.p)
		}
		m.cell = append(m.cell, row)
		m.all += m.part[i] / float64(m.p)
	}
	m.within = max(0, m.within)
	return m
}

// parts is the sum of squares of the parts' means, per value behind each.
func (m means) parts() float64 { return squares(m.part, m.all) }

func (m means) appraisers() float64 { return squares(m.middle, m.all) }

func (m means) interaction() (ss float64) {
	for i, row := range m.cell {
		for j, x := range row {
			d := x - m.part[i] - m.middle[j] + m.all
			ss += d * d
		}
	}
	return ss
}

// nested is the sum of squares of cells about their own part.
func (m means) nested() (ss float64) {
	for i, row := range m.cell {
		ss += squares(row, m.part[i])
	}
	return ss
}

func squares(xs []float64, mean float64) (ss float64) {
	for _, x := range xs {
		ss += (x - mean) * (x - mean)
	}
	return ss
}
