package quality

import (
	"math"

	"dutybench/signal/stat"
)

// OneWay analyses groups of values, such as one unit's tests by filling. Sizes
// may differ: the component between groups then rests on Satterthwaite's mean
// size n0, and its interval is approximate.
func OneWay(groups [][]float64) (rows []Row, within, between Component, err error) {
	v, err := stat.ANOVA(groups)
	if err != nil {
		return nil, Component{}, Component{}, err
	}
	var n, squares float64
	for _, g := range groups {
		n += float64(len(g))
		squares += float64(len(g)) * float64(len(g))
	}
	n0 := (n - squares/n) / float64(v.BetweenDoF)
	b, w := row("between", v.BetweenDoF, v.BetweenSS), row("within", v.WithinDoF, v.WithinSS)
	b.F, b.P = v.F, v.P
	if math.IsNaN(b.F) {
		b.P = 1 // nothing differs at all
	}
	rows = []Row{b, w, row("total", v.BetweenDoF+v.WithinDoF, v.BetweenSS+v.WithinSS)}
	return rows, combine(rows, 0, 1), combine(rows, 1/n0, -1/n0), nil
}
