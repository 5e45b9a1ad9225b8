package profiles

import "math"

// LineDuty is the duty in percent to put on the wire for a command in percent.
//
// Without a law it is the command itself, or 100 − it when inverted. With a
// law it is read backwards off the straight lines. Where several line duties
// mean the same command (full, minimum, stop) it is the middle of them, clear
// of the ends and of reserved windows. Published laws switch on and off at
// different thresholds: between the two the unit keeps its previous state, so
// profiles list that stretch as reserved; a command that only such a stretch
// would give becomes the nearer of the commands at its two ends. A command
// beyond the law's ends becomes the nearest that it has.
func (c Command) LineDuty(command_pct float64) float64 {
	if len(c.Law) < 2 {
		return c.plain(command_pct)
	}
	want := c.attainable(command_pct)
	best, width := math.NaN(), -1.0
	for i := 1; i < len(c.Law); i++ {
		a, b := c.Law[i-1], c.Law[i]
		switch {
		case a.Command_pct == want && b.Command_pct == want:
			from, to := a.Line_pct, b.Line_pct
			if want != c.Stop_pct {
				from, to = c.clear(from, to)
			}
			if to-from > width {
				best, width = (from+to)/2, to-from
			}
		case width < 0 && between(want, a.Command_pct, b.Command_pct):
			line := a.Line_pct + (b.Line_pct-a.Line_pct)*(want-a.Command_pct)/(b.Command_pct-a.Command_pct)
			if math.IsNaN(best) || c.Reserves(best) {
				best = line
			}
		}
	}
	return best
}

// CommandOf is the command in percent that a line duty in percent means.
// Inside a stretch where the unit keeps its previous state the straight line
// is only a stand-in: Reserves tells.
func (c Command) CommandOf(line_pct float64) float64 {
	if len(c.Law) < 2 {
		return c.plain(line_pct)
	}
	if line_pct <= c.Law[0].Line_pct {
		return c.Law[0].Command_pct
	}
	for i := 1; i < len(c.Law); i++ {
		a, b := c.Law[i-1], c.Law[i]
		if line_pct <= b.Line_pct {
			return a.Command_pct + (b.Command_pct-a.Command_pct)*(line_pct-a.Line_pct)/(b.Line_pct-a.Line_pct)
		}
	}
	if math.IsNaN(line_pct) {
		return line_pct
	}
	return c.Law[len(c.Law)-1].Command_pct
}

// Reserves says whether a line duty lies in a reserved window. The edges of a
// window are free but for 0 and 100 %, where no pulse is left.
func (c Command) Reserves(line_pct float64) bool {
	for _, w := range c.Reserved {
		inside := line_pct > w.From_pct && line_pct < w.To_pct
		atEnd := line_pct == w.From_pct && line_pct == 0 || line_pct == w.To_pct && line_pct == 100
		if inside || atEnd {
			return true
		}
	}
	return false
}

// plain maps without a law; it is its own reverse.
func (c Command) plain(x float64) float64 {
	if c.Inverted {
		return 100 - x
	}
	return x
}

// attainable is the command nearest to the wanted one that a steady line duty
// gives, clear of reserved windows.
func (c Command) attainable(want float64) float64 {
	best := math.NaN()
	consider := func(x float64) {
		if math.IsNaN(best) || math.Abs(x-want) < math.Abs(best-want) {
			best = x
		}
	}
	for i := 1; i < len(c.Law); i++ {
		a, b := c.Law[i-1], c.Law[i]
		consider(a.Command_pct)
		consider(b.Command_pct)
		if between(want, a.Command_pct, b.Command_pct) && a.Command_pct != b.Command_pct {
			line := a.Line_pct + (b.Line_pct-a.Line_pct)*(want-a.Command_pct)/(b.Command_pct-a.Command_pct)
			if !c.Reserves(line) {
				consider(want)
			}
		}
	}
	return best
}

// clear is the longest part of a stretch of line duty outside all reserved
// windows; the stretch itself when there is none.
func (c Command) clear(from, to float64) (float64, float64) {
	best, width := [2]float64{from, to}, 0.0
	at := from
	for _, w := range append(c.Reserved[:len(c.Reserved):len(c.Reserved)], Window{to, to}) {
		end := math.Min(w.From_pct, to)
		if end-at > width {
			best, width = [2]float64{at, end}, end-at
		}
		at = math.Max(at, w.To_pct)
	}
	return best[0], best[1]
}

func between(x, a, b float64) bool { return x >= math.Min(a, b) && x <= math.Max(a, b) }
