package startup

import (
	"math"

	"dutybench/signal/step"
	"dutybench/signal/trace"
)

const (
	stray   = 3  // samples: a stop or a run that is shorter is noise of a measured duty, unless the supply made it
	stopped = 16 // samples before a run tell the duty at which the unit stood still
)

// FindAll reads the start of every commanded run in a trace, in order: after a
// stop command, or after the supply was off. The first is what Find gives.
// Each later one is what Find gives for its part of the trace: the rest before
// it, of which the first half is left out where the unit was still slowing
// down, and the run. None when nothing was commanded.
//
// It takes time and memory in proportion to the trace.
func FindAll(tr *trace.Trace, stop_pct float64, expect func(duty_pct float64) float64) []Startup {
	first := Find(tr, stop_pct, expect)
	if math.IsNaN(first.Commanded_s) {
		return nil
	}
	out := []Startup{first}
	r := runs{duty: tr.Duty(), live: step.Energised(tr), above: stop_pct + margin}
	_, _, end := commanded(tr, stop_pct)
	var supply []float64
	for r.after(end); r.next(); {
		supply = supply[:0]
		for i := r.from; i < r.to; i++ {
			on := 0.0
			if r.live(i) {
				on = 1
			}
			supply = append(supply, on)
		}
		out = append(out, Find(part(tr, r.from, r.to, supply), stop_pct, expect))
	}
	return out
}

// part is a stretch of a trace, its samples shared. The supply is given: what
// tells it in the whole trace may lie outside of the stretch.
func part(tr *trace.Trace, from, to int, supply []float64) *trace.Trace {
	p := &trace.Trace{Source: tr.Source, Meta: tr.Meta, Columns: make([]trace.Column, 0, 4)}
	for _, name := range []string{trace.ColTime, trace.ColDuty, trace.ColCurrent} {
		c := *tr.Column(name)
		c.Values = c.Values[from:to]
		p.Columns = append(p.Columns, c)
	}
	p.Columns = append(p.Columns, trace.Column{Name: trace.ColSupplyOn, Values: supply})
	return p
}

// runs goes through the commanded runs of a trace.
type runs struct {
	duty  []float64
	live  func(int) bool
	above float64 // duty that commands a run

	rest, at int // where the rest began, and where to look on
	dead     int // the last sample of the rest without supply; before it when there is none
	from, to int // the run found, with the rest before it
}

func (r *runs) after(end int) { r.rest, r.at, r.dead = end, end, end-1 }

func (r *runs) commands(i int) bool { return r.live(i) && r.duty[i] > r.above }

// next finds the next run; false when there is none.
func (r *runs) next() bool {
	n := len(r.duty)
	for r.at < n {
		begin := r.at
		for ; begin < n && !r.commands(begin); begin++ {
			if !r.live(begin) {
				r.dead = begin
			}
		}
		end := begin
		for end < n && r.commands(end) {
			end++
		}
		seen := r.at
		r.at = end
		switch {
		case begin == n:
			return false
		case end-begin < stray && (end == n || r.live(end)): // the rest goes on
			continue
		case r.dead < r.rest && begin-r.rest < stray: // the run before goes on
			r.after(end)
			continue
		}
		from := r.rest + (begin-r.rest)/2
		if r.dead >= r.rest {
			for from = r.dead; from > r.rest && !r.live(from-1); {
				from--
			}
		}
		r.from, r.to = max(from, seen), end
		r.after(end)
		return true
	}
	return false
}

// stopLevel is the duty above which the run at cmd is commanded, as far as the
// samples before it tell.
func stopLevel(duty []float64, live func(int) bool, cmd int) float64 {
	stop := 0.0
	for i := cmd - 1; i >= 0 && i >= cmd-stopped && live(i); i-- {
		if duty[i] < duty[cmd] {
			stop = max(stop, duty[i])
		}
	}
	return stop + margin
}

// still is the first sample of the second half of the rest before cmd; cmd
// when there was none.
func still(duty []float64, live func(int) bool, cmd int) int {
	stop, i := stopLevel(duty, live, cmd), cmd
	for i > 0 && live(i-1) && duty[i-1] <= stop {
		i--
	}
	return i + (cmd-i)/2
}

// commandEnd is the first sample after the run that begins at cmd: the supply
// is off, or the duty is back where it was before, or at none.
func commandEnd(duty []float64, live func(int) bool, cmd int) int {
	stop := stopLevel(duty, live, cmd)
	low := 0 // samples in a row
	for i := cmd + 1; i < len(duty); i++ {
		switch {
		case !live(i):
			return i - low
		case duty[i] > stop:
			low = 0
		default:
			if low++; low == stray {
				return i + 1 - low
			}
		}
	}
	return len(duty) - low
}
