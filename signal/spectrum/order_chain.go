package spectrum

import (
	"math"
)

// column is what the search knows of a block: true frequencies that a line of
// it may have, rising, their evidence, and the best path down to each.
type column struct {
	f, e, score []float64 // e as weigh gives it
	from        []int32
	near        []int32 // the state with most evidence within slack of each
}

// columns for a search at a smear; folded: true frequencies beyond half the
// rate too.
func (w *sweep) columns(smear float64, folded bool) []column {
	cols := make([]column, len(w.blocks))
	for i, v := range w.blocks {
		u := w.u(i)
		lo := w.o.Lo_Hz * math.Exp(u*w.o.Greatest) * (1 - 2*slack)
		hi := min(w.o.Highest_Hz, w.o.Hi_Hz*math.Exp(u*w.o.Least)*(1+2*slack))
		if !folded {
			hi = min(hi, v.rate/2)
		}
		c := &cols[i]
		n := max(0, int((hi-lo)/v.step)+2)
		c.f, c.e = make([]float64, 0, n), make([]float64, 0, n)
		for k := max(lobe+1, int(lo/v.step)); ; {
			f := float64(k) * v.step
			if f > hi {
				break
			}
			bins := v.bins(f, smear)
			c.f, c.e = append(c.f, f), append(c.e, weigh(v.evidence(f, bins, w.o.Gain)))
			k += (bins + 1) / 2
		}
		c.score, c.from, c.near = make([]float64, len(c.f)), make([]int32, len(c.f)), make([]int32, len(c.f))
		q := newHighest(len(c.f))
		for k, f := range c.f {
			c.near[k] = q.move(c.f, c.e, f*(1-slack), f*(1+slack))
		}
	}
	return cols
}

// weigh is evidence up to capped, and a hundredth of all of it, so that of two
// strong lines the stronger still counts for more.
func weigh(e float64) float64 { return min(capped, e) + e/100 }

// unweigh is the evidence up to capped.
func unweigh(w float64) float64 { return min(capped, w/1.01) }

// highest is the place of the highest value in a window whose ends only rise.
type highest struct {
	at       []int32 // values falling; the first is the highest
	head, hi int
}

func newHighest(n int) highest { return highest{at: make([]int32, 0, n)} }

// move puts the window over from ≤ f ≤ to; -1 when nothing is in it.
func (q *highest) move(f, value []float64, from, to float64) int32 {
	for q.hi < len(f) && f[q.hi] <= to {
		for len(q.at) > q.head && value[q.at[len(q.at)-1]] <= value[q.hi] {
			q.at = q.at[:len(q.at)-1]
		}
		q.at = append(q.at, int32(q.hi))
		q.hi++
	}
	for q.head < len(q.at) && f[q.at[q.head]] < from {
		q.head++
	}
	if q.head == len(q.at) {
		return -1
	}
	return q.at[q.head]
}

// run fills the columns, fastest first, and calls after with the number that
// are done. A step from one block to the next keeps to the bounds of the
// power, and to slack.
func (w *sweep) run(cols []column, folded bool, after func(n int)) {
	top := &cols[0]
	for k, f := range top.f {
		top.score[k], top.from[k] = math.Inf(-1), -1
		if f >= w.o.Lo_Hz && f <= w.o.Hi_Hz && folded == (f > w.blocks[0].rate/2) {
			top.score[k] = top.e[k]
		}
	}
	after(1)
	for i := 1; i < len(cols); i++ {
		p, c := &cols[i-1], &cols[i]
		ratio := w.blocks[i].share / w.blocks[i-1].share
		fall, hold := math.Pow(ratio, w.o.Greatest)/(1+slack), math.Pow(ratio, w.o.Least)*(1+slack)
		room := (w.blocks[i].step + w.blocks[i-1].step) / 2
		q := newHighest(len(p.f))
		for k, f := range c.f {
			c.score[k], c.from[k] = math.Inf(-1), -1
			if at := q.move(p.f, p.score, f/hold-room, f/fall+room); at >= 0 {
				c.score[k], c.from[k] = p.score[at]+c.e[k], at
			}
		}
		after(i + 1)
	}
}

// back is the best way through the first n columns: frequencies and evidence,
// nil when there is none.
func back(cols []column, n int) (hz, e []float64) {
	at := int32(-1)
	for k, s := range cols[n-1].score {
		if !math.IsInf(s, -1) && (at < 0 || s > cols[n-1].score[at]) {
			at = int32(k)
		}
	}
	if at < 0 {
		return nil, nil
	}
	hz, e = make([]float64, n), make([]float64, n)
	for i := n - 1; i >= 0; i-- {
		hz[i], e[i] = cols[i].f[at], unweigh(cols[i].e[at])
		at = cols[i].from[at]
	}
	return hz, e
}
