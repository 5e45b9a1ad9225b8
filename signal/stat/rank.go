package stat

import (
	"cmp"
	"math"
	"math/bits"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// RankCorrelation is Spearman's: the correlation of ranks, 1 when y rises
// whenever x does. Equal values share their mean rank. NaN for fewer than two
// values, for sides of different length, or when one side does not vary.
func RankCorrelation(x, y []float64) float64 {
	if len(x) != len(y) || len(x) < 2 {
		return math.NaN()
	}
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
		j := i + 1 // NaN equals nothing, itself included
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

// Select is the value that would stand at index k if xs were sorted (NaN
// first, as in slices.Sort), in O(n) on average: xs is put in another order,
// with nothing above the value before k and nothing below it after. NaN when
// there is no such index. The method is Hoare's FIND (Communications of the
// ACM 4, 1961, algorithm 65), the pivot a median of three; after two steps
// for each halving it sorts what is left, so that no order of values is slow.
func Select(xs []float64, k int) float64 {
	if k < 0 || k >= len(xs) {
		return math.NaN()
	}
	first := 0 // behind the NaN
	for i, x := range xs {
		if x != x {
			xs[i], xs[first] = xs[first], xs[i]
			first++
		}
	}
	if k < first {
		return xs[k]
	}
	lo, hi := first, len(xs)-1
	for left := 2 * bits.Len(uint(len(xs))); hi-lo > 12 && left > 0; left-- {
		pivot := middle(xs[lo], xs[lo+(hi-lo)/2], xs[hi])
		i, j := lo, hi
		for i <= j {
			for xs[i] < pivot {
				i++
			}
			for xs[j] > pivot {
				j--
			}
			if i <= j {
				xs[i], xs[j] = xs[j], xs[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return xs[k] // between the parts: equal to the pivot
		}
	}
	slices.Sort(xs[lo : hi+1])
	return xs[k]
}

func middle(a, b, c float64) float64 { return max(min(a, b), min(max(a, b), c)) }
