package wire

import (
	"fmt"
	"math"
)

func (e *Edges) check() error {
	if e == nil {
		return nil
	}
	if len(e.At_s) != len(e.High) {
		return fmt.Errorf("wire: %d edge times with %d levels: each edge needs its level", len(e.At_s), len(e.High))
	}
	if !finite(e.Start_s) || !finite(e.End_s) || e.End_s < e.Start_s {
		return fmt.Errorf("wire: listened from %g s to %g s: the window needs a start before its end", e.Start_s, e.End_s)
	}
	last := e.Start_s
	for i, t := range e.At_s {
		if !finite(t) || t < last || t > e.End_s {
			return fmt.Errorf("wire: edge %d at %g s: edges must come in order, between %g s and %g s", i+1, t, e.Start_s, e.End_s)
		}
		last = t
	}
	if !(e.Resolution_s >= 0) || !(e.Skew_s >= 0) || !(e.Clock >= 0) {
		return fmt.Errorf("wire: resolution %g s, skew %g s, clock %g: none may be below zero", e.Resolution_s, e.Skew_s, e.Clock)
	}
	return nil
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// chain is edges that alternate, but where some were lost.
type chain struct {
	at         []float64
	high       []bool
	broken     []bool // an edge was lost between this one and the one before
	resolution float64
	lost       int
}

func chainOf(e *Edges) chain {
	c := chain{resolution: e.Resolution_s, lost: e.Lost,
		at: make([]float64, 0, len(e.At_s)), high: make([]bool, 0, len(e.At_s)), broken: make([]bool, 0, len(e.At_s))}
	level := e.StartHigh
	for i, t := range e.At_s {
		same := e.High[i] == level
		if same {
			c.lost++
		}
		c.at = append(c.at, t)
		c.high = append(c.high, e.High[i])
		c.broken = append(c.broken, same && i > 0)
		level = e.High[i]
	}
	return c
}

// cycle is one whole period: from one edge over the opposite one to the next
// of the same sort.
type cycle struct {
	start, turn, end float64
	follows          bool // starts where the one before ended
}

func (c cycle) length() float64 { return c.end - c.start }

// cycles are the whole periods between rising edges, or between falling ones.
func (c chain) cycles(rising bool) []cycle {
	out := make([]cycle, 0, len(c.at)/2)
	follows := false
	for i := 0; i+2 < len(c.at); i++ {
		if c.high[i] != rising {
			continue
		}
		if c.broken[i+1] || c.broken[i+2] {
			follows = false
			continue
		}
		out = append(out, cycle{c.at[i], c.at[i+1], c.at[i+2], follows})
		follows = true
		i++ // the turn
	}
	return out
}

// pulses are the lengths of whole highs or of whole lows.
func (c chain) pulses(high bool) []float64 {
	var out []float64
	for i := 1; i < len(c.at); i++ {
		if c.high[i-1] == high && !c.broken[i] {
			out = append(out, c.at[i]-c.at[i-1])
		}
	}
	return out
}
