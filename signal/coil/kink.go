package coil

import "math"

// half is the number of bins on each side of a kink.
const half = 12

// kink is a place where the slope of the current jumps up: the plunger hit
// its stop and its back-EMF is gone. Nothing in a coil at rest does that.
type kink struct {
	at, width float64 // s; width is the window on each side
	jump      float64 // A/s
	// gain is by how much chi-square is less for two parabolas that meet in the
	// kink than for one smooth curve with as many parameters, in units of what
	// the parabolas leave.
	gain float64
	u    float64 // standard uncertainty of at, s
}

// filters are orthonormal functions over 2·half bins: those of two parabolas
// that meet, the kink last, and those of one polynomial of the fifth degree.
type filters struct {
	bent   [5][2 * half]float64
	smooth [6][2 * half]float64
	slope  float64 // jump of slope a unit of the last of bent, for bins of width 1
}

var shapes = makeFilters()

func makeFilters() *filters {
	f := &filters{}
	for n := range 2 * half {
		x := (float64(n) + 0.5 - half) / half
		r := max(0, x)
		f.bent[0][n], f.bent[1][n], f.bent[2][n], f.bent[3][n], f.bent[4][n] = 1, x, x*x, r*r, r
		v := 1.0
		for k := range f.smooth {
			f.smooth[k][n] = v
			v *= x
		}
	}
	orthonormal(f.bent[:])
	// The last function is r/norm plus what the others took off.
	var sum float64
	for n := range 2 * half {
		sum += f.bent[4][n] * max(0, (float64(n)+0.5-half)/half)
	}
	f.slope = 1 / sum / half
	orthonormal(f.smooth[:])
	return f
}

func orthonormal(rows [][2 * half]float64) {
	for k := range rows {
		for range 2 {
			for j := range k {
				d := dot(&rows[j], &rows[k])
				for n := range rows[k] {
					rows[k][n] -= d * rows[j][n]
				}
			}
		}
		size := math.Sqrt(dot(&rows[k], &rows[k]))
		for n := range rows[k] {
			rows[k][n] /= size
		}
	}
}

func dot(a, b *[2 * half]float64) (sum float64) {
	for n := range a {
		sum += a[n] * b[n]
	}
	return sum
}

// kinks looks for the strongest ones at all widths from half·step to a share
// of the whole, each at times since the onset up to reach widths.
func (e *edge) kinks(sign float64, take func(kink)) (dip notch) {
	const reach = 24
	if e.first >= len(e.t) {
		return dip
	}
	// Bins begin half a step before the first reading, so that evenly sampled
	// ones hold the same number each.
	base := e.t[e.first] - e.step/2
	span := e.t[len(e.t)-1] - base
	// A bin holds at least the readings that share noise.
	last := 0.0
	for size := e.links; half*size*e.step < span/2; size *= math.Sqrt2 {
		bin := math.Round(size) * e.step
		if bin == last {
			continue
		}
		last = bin
		width := half * bin
		count := int(math.Min(span, (reach+1)*width) / bin)
		mean := make([]float64, count)
		variance := make([]float64, count)
		when := make([]float64, count)
		n := e.first
		for b := range count {
			end := base + float64(b+1)*bin
			var sum, times float64
			c := 0
			for n < len(e.t) && e.t[n] < end {
				sum += e.i[n]
				times += e.t[n] - (end - bin/2)
				c++
				n++
			}
			if c == 0 {
				variance[b] = math.NaN()
				continue
			}
			mean[b], variance[b] = sign*sum/float64(c), e.noise*e.noise/float64(c)
			when[b] = times / float64(c)
		}
		center(mean, when, bin)
		for b := 2 * half; b < count; b++ {
			var w [2 * half]float64
			level := mean[b-half]
			var v float64
			for k := range w {
				w[k] = mean[b-2*half+k] - level
				v += variance[b-2*half+k]
			}
			v /= 2 * half
			if !(v > 0) {
				continue
			}
			if d := valley(&w) / math.Sqrt(v/4); d > dip.z {
				dip = notch{at: base + float64(b-half)*bin, width: width, z: d}
			}
			amp := dot(&w, &shapes.bent[4])
			if amp <= 0 {
				continue
			}
			total := dot(&w, &w)
			bent := total - amp*amp
			for k := range 4 {
				d := dot(&w, &shapes.bent[k])
				bent -= d * d
			}
			smooth := total
			for k := range shapes.smooth {
				d := dot(&w, &shapes.smooth[k])
				smooth -= d * d
			}
			left := max(v, bent/(2*half-6))
			take(kink{at: base + float64(b-half)*bin, width: width, jump: amp * shapes.slope / bin, gain: (smooth - bent) / left})
		}
	}
	return dip
}

// center moves the means of bins along the slope from where their readings
// lie, when from the middle, to the middle.
func center(mean, when []float64, bin float64) {
	moved := make([]float64, len(mean))
	// What all have in common moves no shape.
	var common, have float64
	for _, w := range when {
		if !math.IsNaN(w) {
			common, have = common+w, have+1
		}
	}
	common /= math.Max(have, 1)
	for b := range mean {
		p, n := max(0, b-1), min(len(mean)-1, b+1)
		slope := (mean[n] - mean[p]) / (float64(n-p)*bin + when[n] - when[p])
		if n > p && !math.IsNaN(slope) {
			moved[b] = slope * (when[b] - common)
		}
	}
	for b := range mean {
		mean[b] -= moved[b]
	}
}

// notch is a place where the current lies lower than before and after it.
type notch struct {
	at, width float64 // s
	z         float64 // the lesser height, over its standard deviation
}

// valley is how far the middle third lies below the lower of its neighbours.
// In a coil at rest at a constant voltage the current only ever rises: with
// inductances and resistances of any number it is a sum of saturating
// exponentials, and iron does not turn it.
func valley(w *[2 * half]float64) float64 {
	const third = 2 * half / 3
	var sum [3]float64
	for n, v := range w {
		sum[n/third] += v / third
	}
	return min(sum[0], sum[2]) - sum[1]
}

// list keeps the strongest kinks that are not neighbours.
type list struct{ best []kink }

func (l *list) add(k kink, from float64) {
	const most = 4
	near := func(o kink) bool { return math.Abs(o.at-k.at) < 0.12*(k.at-from) }
	for n := range l.best {
		if near(l.best[n]) && l.best[n].gain >= k.gain {
			return
		}
	}
	kept := l.best[:0]
	for _, o := range l.best {
		if !near(o) {
			kept = append(kept, o)
		}
	}
	l.best = append(kept, k)
	for n := len(l.best) - 1; n > 0 && l.best[n].gain > l.best[n-1].gain; n-- {
		l.best[n], l.best[n-1] = l.best[n-1], l.best[n]
	}
	l.best = l.best[:min(len(l.best), most)]
}
