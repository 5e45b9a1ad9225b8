package learn_test

import (
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/bench/judge"
	"dutybench/bench/kind/pump"
	"dutybench/bench/learn"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

func TestTheStatementSaysWhatSoFewSupport(t *testing.T) {
	p, _ := learned(t, good(10))
	text := strings.Join(p.Learned.Statement, "\n")
	require.Contains(t, text, "10 distinct units")
	// 1 − 10·p⁹ + 9·p¹⁰ = 0.95 at p = 0.606 (Wilks, worked by hand).
	require.InDelta(t, 0.606, stat.RangeCoverage(10, 0.95), 0.0005)
	require.Contains(t, text, "at least 61 %")
	// Two-sided tolerance factor for 95 % at 95 % and ten units: 3.379 by Howe's
	// approximation, 3.393 exactly (ISO 16269-6, from memory).
	require.Contains(t, text, "3.39")
	require.Regexp(t, `Each unit judged by the others: \d+ of 10 refused \(95 % interval \d+\.\d to \d+\.\d %\)`, text)
	require.Contains(t, text, "prediction limits")
	require.Contains(t, text, "In nine of ten units")
	require.Contains(t, text, "With 20 units of the same spread")
	require.Contains(t, text, "between 0.69 and 1.83 times") // √(9/19.023), √(9/2.700)
	require.Contains(t, text, "a mean over many learnings")
	require.Contains(t, text, "The traces do not say the day")
	// 0 of 10: 0 to 1 − 0.025^(1/10) = 30.8 % (Clopper and Pearson).
	if strings.Contains(text, ": 0 of 10") {
		require.Contains(t, text, "0.0 to 30.8 %")
	}
}

func TestLeaveOneOutCountsWhatLiesOff(t *testing.T) {
	odd := drawn(1)
	odd.name, odd.friction = "ODD", odd.friction*1.3
	p, rep := learned(t, append(good(14), recorded(odd, sweep, 99)))
	require.Empty(t, rep.LeftOut, "it is within what units of one type may be")
	text := strings.Join(p.Learned.Statement, "\n")
	require.Contains(t, text, "Unit ODD by")
	require.NotContains(t, text, ": 0 of 15")
	require.Regexp(t, `Unit ODD by .*\(\S+, at most \S+ %\)`, text, "by how much")
	require.Positive(t, rep.Refused)
}

func TestRefusesWhatItSaysItRefuses(t *testing.T) {
	p, _ := learned(t, good(20))
	text := strings.Join(p.Learned.Statement, "\n")
	found := regexp.MustCompile(`refuses a current that is (\S+) % too high or (\S+) % too low at 20 % duty, fading to nothing at 100 %, and (\S+) % too high or (\S+) % too low at 100 %`).FindStringSubmatch(text)
	require.Len(t, found, 5, text)
	for i, sign := range []float64{1, -1, 1, -1} {
		size, err := strconv.ParseFloat(found[i+1], 64)
		require.NoError(t, err)
		refused := 0
		const units = 8
		for n := range units {
			u := drawn(300 + n)
			tr := recorded(u, sweep, uint64(300+n))
			x := tr.Values(trace.ColCurrent)
			for j, d := range tr.Duty() {
				if part := (d - 20) / 80; d > 0 {
					if i < 2 {
						part = 1 - part
					}
					x[j] *= math.Exp(math.Log1p(sign*size/100) * part)
				}
			}
			a, err := judge.Judge(tr, p, pump.Kind{}, judge.Options{})
			require.NoError(t, err)
			if a.Verdict != result.Pass {
				refused++
			}
		}
		// Nine in ten or more: of eight, fewer than five come once in 200.
		require.GreaterOrEqual(t, refused, 5, found[0])
	}
}

func TestAnUnusualUnitIsNamedAndKept(t *testing.T) {
	odd := drawn(1)
	odd.name, odd.quiet = "ODD", odd.quiet*1.35
	p, rep := learned(t, append(good(20), recorded(odd, sweep, 99)))
	require.Empty(t, rep.LeftOut)
	require.Len(t, rep.Unusual, 1)
	require.Contains(t, rep.Unusual[0], "unit ODD: "+pump.Quiet)
	require.Contains(t, unitsOf(p), "ODD")
	require.Contains(t, strings.Join(p.Learned.Statement, "\n"), "Unusual, and kept (Grubbs, 5 % over all quantities): unit ODD")
}

func TestCircumstancesOfThoseLearnedFrom(t *testing.T) {
	traces := good(11)
	for _, tr := range traces {
		tr.Meta = append(tr.Meta, trace.Entry{Key: trace.KeyDate, Value: "2026-11-25T09:30:00Z"}, trace.Entry{Key: trace.KeyRig, Value: "here"}, trace.Entry{Key: trace.KeyCurrentGainU, Value: "0.003"})
	}
	stranger := recorded(unit{"BAD-1", 0.03, 0.6, 0.2}, sweep, 99)
	stranger.Meta = append(stranger.Meta, trace.Entry{Key: trace.KeyDate, Value: "2026-11-26"}, trace.Entry{Key: trace.KeyRig, Value: "there"}, trace.Entry{Key: trace.KeyCurrentGainU, Value: "0.1"})
	p, rep := learned(t, append(traces, stranger))
	require.Len(t, rep.LeftOut, 1)
	require.Equal(t, 1, p.Learned.Days)
	require.Equal(t, []string{"here"}, p.Learned.Rigs)
	require.InDelta(t, 0.003, p.Learned.GainU, 0)
	require.Zero(t, p.Learned.Fillings)
	require.Contains(t, strings.Join(p.Learned.Statement, "\n"), "on one day (2026-11-25)")
	data, err := profiles.Encode(p)
	require.NoError(t, err)
	back, err := profiles.Parse(data, "learned.toml", func(string) (any, error) { return pump.Kind{}.Section(), nil })
	require.NoError(t, err)
	require.Equal(t, p.Learned, back.Learned)
}

func TestCoverageAndConfidenceAsAsked(t *testing.T) {
	o := options
	o.Coverage, o.Confidence = 0.9, 0.99
	p, rep, err := learn.Learn(good(10), pump.Kind{}, o)
	require.NoError(t, err)
	require.Contains(t, strings.Join(p.Learned.Statement, "\n"), "for 90 % of good units in one quantity with 99 % confidence")
	for _, v := range rep.Intervals {
		if v.K > 0 {
			require.InDelta(t, stat.K2(10, 0.9, 0.99), v.K, 0)
		}
	}
	for _, x := range []float64{-0.1, 1, 95, math.NaN(), math.Inf(1)} {
		o.Coverage, o.Confidence = x, 0
		_, _, err := learn.Learn(good(5), pump.Kind{}, o)
		require.ErrorContains(t, err, "between 0 and 1")
		o.Coverage, o.Confidence = 0, x
		_, _, err = learn.Learn(good(5), pump.Kind{}, o)
		require.ErrorContains(t, err, "between 0 and 1")
	}
}

func TestWhatIsNotNormalIsNamed(t *testing.T) {
	var traces []*trace.Trace
	for i := range 16 {
		u := drawn(i + 1)
		u.quiet = 0.03 + 0.01*float64(i%2)
		traces = append(traces, recorded(u, sweep, uint64(i+1)))
	}
	p, rep := learned(t, traces)
	require.Contains(t, strings.Join(p.Learned.Statement, "\n"), "Not normal (Anderson-Darling, 1 %): quiet_current, 1 of ")
	i := slices.IndexFunc(rep.Intervals, func(v learn.Interval) bool { return v.Quantity == pump.Quiet })
	require.Equal(t, "range of 16: covers 74 %", rep.Intervals[i].Basis()) // 1 − 16·p¹⁵ + 15·p¹⁶ = 0.95 at p = 0.736
	// The same without: what differs by less than any bench repeats is no matter.
	p, _ = learned(t, good(16))
	require.NotContains(t, strings.Join(p.Learned.Statement, "\n"), "Not normal")
}
