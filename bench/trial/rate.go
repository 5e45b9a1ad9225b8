package trial

import (
	"fmt"
	"math"
	"time"

	"dutybench/signal/stat"
)

// level is the confidence of every interval here.
const level = 0.95

// Rate is a count of so many with its share and the share's 95 % interval
// (Clopper and Pearson), 0 to 1; these are nil of none.
type Rate struct {
	Count int      `json:"count"`
	Of    int      `json:"of"`
	Share *float64 `json:"share"`
	Low   *float64 `json:"low"`
	High  *float64 `json:"high"`
}

// NewRate is k of n with its interval.
func NewRate(k, n int) Rate {
	r := Rate{Count: k, Of: n}
	if n > 0 {
		share := float64(k) / float64(n)
		low, high := stat.ClopperPearson(k, n, level)
		r.Share, r.Low, r.High = &share, &low, &high
	}
	return r
}

// String is the rate in per cent, such as " 50.0 % (1.3 to 98.7)".
func (r Rate) String() string {
	if r.Share == nil {
		return "none"
	}
	return fmt.Sprintf("%5.1f %% (%.1f to %.1f)", 100**r.Share, 100**r.Low, 100**r.High)
}

// rateLine is one rate with its name in a line.
func rateLine(label string, r Rate) string {
	return fmt.Sprintf("%-30s %5d of %5d  %s\n", label, r.Count, r.Of, r)
}

// short is the rate in whole per cent for a column of 13, such as
// "100 (63-100)"; an end that is not reached is not rounded to 0 or 100.
func (r Rate) short() string {
	if r.Share == nil {
		return "-"
	}
	return fmt.Sprintf("%d (%d-%d)", stat.WholePercent(*r.Share), stat.WholePercent(*r.Low), stat.WholePercent(*r.High))
}

// Overlaps says that the intervals of two rates have a value in common.
func (r Rate) Overlaps(o Rate) bool {
	return r.Low != nil && o.Low != nil && *r.Low <= *o.High && *o.Low <= *r.High
}

// BenchTime is how long tests held the bench, in seconds of the rig's time,
// with the 95 % interval of the mean (Student's t); nil where there are too
// few tests.
type BenchTime struct {
	N       int      `json:"tests"`
	Mean    *float64 `json:"mean_s"`
	Low     *float64 `json:"low_s"`
	High    *float64 `json:"high_s"`
	Longest *float64 `json:"longest_s"`
}

// timer gathers bench times.
type timer struct {
	stat.Running
	longest float64
}

func (t *timer) add(d time.Duration) {
	t.Add(d.Seconds())
	t.longest = max(t.longest, d.Seconds())
}

func (t *timer) time() BenchTime {
	b := BenchTime{N: t.N()}
	if b.N > 0 {
		mean, longest := t.Mean(), t.longest
		b.Mean, b.Longest = &mean, &longest
	}
	b.Low, b.High = meanInterval(&t.Running)
	return b
}

// meanInterval is the 95 % interval of a mean; nil below two values.
func meanInterval(r *stat.Running) (low, high *float64) {
	if r.N() < 2 {
		return nil, nil
	}
	n := float64(r.N())
	half := stat.StudentT((1+level)/2, n-1) * r.SD() / math.Sqrt(n)
	a, b := r.Mean()-half, r.Mean()+half
	return &a, &b
}

// String is the mean with its interval, such as "41.0 s (40.8 to 41.2)".
func (b BenchTime) String() string {
	switch {
	case b.Mean == nil:
		return "none"
	case b.Low == nil:
		return fmt.Sprintf("%.1f s", *b.Mean)
	}
	return fmt.Sprintf("%.1f s (%.1f to %.1f)", *b.Mean, *b.Low, *b.High)
}

// short is the mean with half its interval for a column of 11.
func (b BenchTime) short() string {
	switch {
	case b.Mean == nil:
		return "-"
	case b.Low == nil:
		return fmt.Sprintf("%.1f", *b.Mean)
	}
	return fmt.Sprintf("%.1f±%.1f", *b.Mean, (*b.High-*b.Low)/2)
}
