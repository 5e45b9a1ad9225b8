package motor

import "math"

// winding is what the brushes see of the armature, over one turn.
type winding struct {
	r []float64 // ohm, at 20 °C; +Inf where no path is whole
	k []float64 // V·s
	b []float64 // N·m·s: what circulates brakes by b·ω
}

// points of a turn in the tables, for each segment and each brush.
const pointsPerSegment = 48

// newWinding makes the tables. ohms and share are of each coil: its resistance and
// how many of its turns are left.
func newWinding(p Params, ohms, share []float64) winding {
	n := p.Segments
	m := n * pointsPerSegment
	w := winding{make([]float64, m), make([]float64, m), make([]float64, m)}
	for i := range m {
		// The mean over the overlap, of the conductance and what it carries: the
		// contact's share goes from one state to the next in a straight line.
		const parts = 8
		var g, gk, b float64
		for j := range parts {
			seg := float64(i)/pointsPerSegment + p.Overlap*((float64(j)+0.5)/parts-0.5)
			r, k, brake := between(p, seg, ohms, share)
			if !math.IsInf(r, 0) {
				g, gk = g+1/(r*parts), gk+k/(r*parts)
			}
			b += brake / parts
		}
		w.r[i], w.b[i] = math.Inf(1), b
		if g > 0 {
			w.r[i], w.k[i] = 1/g, gk/g
		}
	}
	return w
}

// between is the Thévenin circuit between the brushes with the rotor turned by so
// many segments.
func between(p Params, seg float64, ohms, share []float64) (r, k, brake float64) {
	n := p.Segments
	first, last := touched(seg, p.Brush)
	half := float64(n) / 2
	from, to := touched(seg+half, p.Brush)
	// Coil c lies between segments c and c+1. One path runs from the last segment
	// of the first brush to the first of the second, the other from there on.
	path := func(a, b int) (r, k float64) {
		for c := a; c < b; c++ {
			i := ((c % n) + n) % n
			r += ohms[i]
			// Its place against the brush's axis, in segments: a brush in the
			// middle between its two segments shorts it where it has no EMF.
			k += share[i] * math.Sin(2*math.Pi*(float64(c)+1-seg)/float64(n))
		}
		return r, k
	}
	r1, k1 := path(last, from)
	r2, k2 := path(to, first+n)
	k2 = -k2
	switch {
	case math.IsInf(r1, 0) && math.IsInf(r2, 0):
		return math.Inf(1), 0, 0
	case math.IsInf(r1, 0):
		return r2, k2, 0
	case math.IsInf(r2, 0):
		return r1, k1, 0
	}
	return r1 * r2 / (r1 + r2), (k1*r2 + k2*r1) / (r1 + r2), (k1 - k2) * (k1 - k2) / (r1 + r2)
}

// touched are the first and the last segment under a brush of a width, whose
// middle stands at a place counted in segments.
func touched(at, width float64) (first, last int) {
	return int(math.Floor(at - width/2)), int(math.Floor(at + width/2))
}

// even is a coil's resistance and turns such that the winding's mean between the
// brushes is the motor's.
func even(p Params) (ohms, share []float64) {
	n := p.Segments
	ohms, share = make([]float64, n), make([]float64, n)
	for i := range n {
		ohms[i], share[i] = 1, 1
	}
	w := newWinding(p, ohms, share)
	var g, k float64
	for i := range w.r {
		g, k = g+1/w.r[i]/float64(len(w.r)), k+w.k[i]/float64(len(w.r))
	}
	for i := range n {
		ohms[i], share[i] = p.R_Ohm*g, p.K_Vs/k
	}
	return ohms, share
}

// at is a table's index and the part to the next, for an angle in turns.
func (w *winding) at(turns float64) (i, j int, part float64) {
	x := (turns - math.Floor(turns)) * float64(len(w.k))
	i = int(x)
	if i >= len(w.k) {
		i = 0
	}
	j = i + 1
	if j == len(w.k) {
		j = 0
	}
	return i, j, x - math.Floor(x)
}
