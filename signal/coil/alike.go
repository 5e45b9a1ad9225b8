package coil

import (
	"math"

	"dutybench/signal/stat"
)

const (
	// alikeBins is how many means an edge is compared by, at most.
	alikeBins = 300
	// alikeShare is how far, of the current's change, means may lie apart beyond
	// noise and be alike still; chosen: dips of plungers take several per cent of
	// it, and averaging blurs what is smaller by no more than that.
	alikeShare = 0.003
	// alikeFar is how many standard deviations one mean may lie off: noise passes
	// it in one of some thousand edges.
	alikeFar = 5
	// shorter is from which share of the usual length an edge is compared.
	shorter = 0.8
)

// binned is an edge as means over equal times since it was switched.
type binned struct {
	mean, sd []float64
	span     float64
	step     float64
}

// Alike groups edges, rises or falls, whose currents do not differ beyond noise,
// but for what a winding that warms and a switch that moves within a sample make:
// their plungers did the same at the same times. Each group holds numbers of edges,
// the first of them first.
func Alike(edges []Samples, switched_s []float64) (groups [][]int) {
	span := math.Inf(1)
	spans := make([]float64, len(edges))
	for n, s := range edges {
		if k := len(s.Time_s); k > 0 {
			spans[n] = s.Time_s[k-1] - switched_s[n]
		}
	}
	usual := stat.Median(spans)
	for _, x := range spans {
		if x > shorter*usual {
			span = min(span, x)
		}
	}
	var have []*binned
	for n, s := range edges {
		var b *binned
		if spans[n] > shorter*usual {
			b = bin(s, switched_s[n], span)
		}
		at := len(groups)
		for g, like := range have {
			if b != nil && like != nil && b.like(like) {
				at = g
				break
			}
		}
		if at == len(groups) {
			groups, have = append(groups, nil), append(have, b)
		}
		groups[at] = append(groups[at], n)
	}
	return groups
}

// bin averages an edge over equal times; nil where it cannot be.
func bin(s Samples, switched_s, span float64) *binned {
	e, err := clean(Samples{Time_s: s.Time_s, Current_A: s.Current_A}, Known{})
	if err != nil {
		return nil
	}
	bins := int(min(alikeBins, span/e.step/4))
	if bins < 8 {
		return nil
	}
	b := &binned{mean: make([]float64, bins), sd: make([]float64, bins), span: span, step: e.step}
	count := make([]float64, bins)
	low, high := math.Inf(1), math.Inf(-1)
	for n, t := range e.t {
		if k := int((t - switched_s) / span * float64(bins)); t > switched_s && k < bins {
			b.mean[k] += e.i[n]
			count[k]++
		}
	}
	for k, c := range count {
		if c == 0 {
			return nil
		}
		b.mean[k] /= c
		low, high = min(low, b.mean[k]), max(high, b.mean[k])
	}
	for k, c := range count {
		b.sd[k] = math.Sqrt(e.noise*e.noise/c + math.Pow(alikeShare*(high-low), 2))
	}
	return b
}

// like compares two edges, the first's scale and time shifted onto the second.
func (b *binned) like(o *binned) bool {
	n := len(b.mean)
	if n != len(o.mean) {
		return false
	}
	// Warming from the last half, where nothing moves any more.
	scale := 1.0
	if x, y := stat.Mean(b.mean[n/2:]), stat.Mean(o.mean[n/2:]); math.Abs(x/y-1) < warming {
		scale = y / x
	}
	slope := func(k int) float64 {
		p, q := max(0, k-1), min(n-1, k+1)
		return (o.mean[q] - o.mean[p]) / (float64(q-p) * b.span / float64(n))
	}
	var up, down float64
	for k := range n {
		v := b.sd[k]*b.sd[k] + o.sd[k]*o.sd[k]
		up += slope(k) * (o.mean[k] - scale*b.mean[k]) / v
		down += slope(k) * slope(k) / v
	}
	shift := 0.0
	if down > 0 {
		shift = max(-b.step, min(b.step, up/down))
	}
	var chi2 float64
	for k := range n {
		v := b.sd[k]*b.sd[k] + o.sd[k]*o.sd[k]
		d := o.mean[k] - scale*b.mean[k] - shift*slope(k)
		if d*d > alikeFar*alikeFar*v {
			return false
		}
		chi2 += d * d / v
	}
	return chi2 < enough(n)*float64(n)
}

// warming is how much of its current a coil may lose from pulse to pulse: 5 K of
// copper.
const warming = 0.02
