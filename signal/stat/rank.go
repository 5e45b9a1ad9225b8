package stat

import (
	"cmp"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// RankCorrelation is Spearman's: the correlation of ranks, 1 when y rises
// whenever x does. Equal values share their mean rank. NaN for fewer than two
// values or when one side does not vary.
func RankCorrelation(x, y []float64) float64 {
	return stat.Correlation(ranks(x), ranks(y), nil)
}

func ranks(x []float64) []float64 {
	order := make([]int, len(x))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(x[a], x[b]) })
	r := make([]float64, len(x))
	for i := 0; i < len(order); {
		j := i
		for j < len(order) && x[order[j]] == x[order[i]] {
			j++
		}
		for k := i; k < j; k++ {
			r[order[k]] = float64(i+j-1)/2 + 1
		}
		i = j
	}
	return r
}
