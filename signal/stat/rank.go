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
// ACM 4, 1961, algorithm 65), the pivot a median of three, for many values
// after cuts at two quantiles of a sample (Floyd and Rivest, Communications of
// the ACM 18, 1975, "Expected time bounds for selection", from memory). After
// two steps for each halving it sorts what is left, so that no order of values
// is slow.
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
	lo, hi, left := first, len(xs)-1, 2*bits.Len(uint(len(xs)))
	for ; hi-lo > manyValues && left > 0; left-- {
		low, high := pivots(xs[lo:hi+1], k-lo)
		n := lo + below(xs[lo:hi+1], low)
		if k < n {
			hi = n - 1
			continue
		}
		lo = n
		if n = lo + upTo(xs[lo:hi+1], high); k >= n {
			lo = n
			continue
		}
		if hi = n - 1; low == high {
			return low
		}
	}
	for ; hi-lo > 12 && left > 0; left-- {
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

// manyValues is from where on it pays to look at a sample first.
const manyValues = 50

// pivots are two of the values between which the one at k of their order lies,
// most likely.
func pivots(xs []float64, k int) (low, high float64) {
	var some [31]float64
	n, off := 9, 2
	if len(xs) > 600 {
		n, off = len(some), 5 // twice the deviation of a middle rank, √31/2, less one
	}
	for i := range n {
		x := xs[int(int64(i)*int64(len(xs))/int64(n))]
		j := i
		for ; j > 0 && some[j-1] > x; j-- {
			some[j] = some[j-1]
		}
		some[j] = x
	}
	at := int(int64(k) * int64(n) / int64(len(xs)))
	return some[max(at-off, 0)], some[min(at+off, n-1)]
}

// below puts the values below a pivot first and says how many they are. Like
// upTo it has no branch that depends on a value: half of those are mistaken.
func below(xs []float64, pivot float64) (n int) {
	for i, x := range xs {
		xs[i] = xs[n]
		xs[n] = x
		var in int
		if x < pivot {
			in = 1
		}
		n += in
	}
	return n
}

// upTo puts the values up to a pivot first and says how many they are.
func upTo(xs []float64, pivot float64) (n int) {
	for i, x := range xs {
		xs[i] = xs[n]
		xs[n] = x
		var in int
		if x <= pivot {
			in = 1
		}
		n += in
	}
	return n
}

func middle(a, b, c float64) float64 { return max(min(a, b), min(max(a, b), c)) }
