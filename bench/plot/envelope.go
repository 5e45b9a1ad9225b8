package plot

import "math"

// Envelope thins a long line to so many columns between low and high without
// losing a peak: each column keeps its first, lowest, highest and last sample
// in their order, so that the drawn line covers what the full one would. A
// value that is no finite number breaks the line. Samples outside low to high
// are left out. x must not run back.
func Envelope(x, y []float64, low, high float64, columns int) [][]XY {
	n := shortest(x, y)
	columns = max(columns, 1)
	if n == 0 || !(high > low) {
		if high == low {
			high, low = math.Nextafter(high, math.Inf(1)), math.Nextafter(low, math.Inf(-1))
		} else {
			return nil
		}
	}
	k := float64(columns) / (high - low)
	var lines [][]XY
	var line []XY
	var c column
	flush := func() {
		line = c.appendTo(line, x, y)
		c.any = false
		if len(line) > 0 {
			lines = append(lines, line)
			line = nil
		}
	}
	for i := range n {
		xi, yi := x[i], y[i]
		if yi-yi != 0 || xi-xi != 0 { // NaN or infinite
			flush()
			continue
		}
		if xi < low || xi > high {
			continue
		}
		at := int((xi - low) * k)
		switch {
		case !c.any:
			c = column{any: true, at: at, first: i, last: i, low: i, high: i}
		case at != c.at:
			line = c.appendTo(line, x, y)
			c = column{any: true, at: at, first: i, last: i, low: i, high: i}
		default:
			c.last = i
			if yi < y[c.low] {
				c.low = i
			} else if yi > y[c.high] {
				c.high = i
			}
		}
	}
	flush()
	return lines
}

// column is the samples that fall on one column, by index.
type column struct {
	any                        bool
	at, first, last, low, high int
}

func (c *column) appendTo(line []XY, x, y []float64) []XY {
	if !c.any {
		return line
	}
	prev := -1
	for _, i := range [...]int{c.first, min(c.low, c.high), max(c.low, c.high), c.last} {
		if i > prev {
			line = append(line, XY{x[i], y[i]})
			prev = i
		}
	}
	return line
}

// held is the highest mean over a stretch of x as long as window (and at
// least 5 samples), the level that is more than a short peak. NaN without a
// finite value.
func held(x, y []float64, window float64) float64 {
	n := shortest(x, y)
	best, sum := math.NaN(), 0.0
	from, count := 0, 0
	for i := range n {
		if !finite(y[i]) || !finite(x[i]) {
			continue
		}
		sum += y[i]
		count++
		for count > 5 && x[i]-x[from] > window {
			if finite(y[from]) && finite(x[from]) {
				sum -= y[from]
				count--
			}
			from++
		}
		if m := sum / float64(count); count >= 5 && !(m <= best) {
			best = m
		}
	}
	if math.IsNaN(best) && count > 0 {
		best = sum / float64(count)
	}
	return best
}
