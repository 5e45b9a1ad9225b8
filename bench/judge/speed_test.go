package judge_test

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/bench/judge"
	"dutybench/bench/kind/pump"
	"dutybench/bench/learn"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// The pairs below are to be run together, on one core:
//
//	go test -run xxx -bench . -cpu 1 ./bench/judge
//
// Read+Judge does all of the work from the bytes to the verdict; CSVAlone
// takes the same bytes apart with the standard library and does nothing with
// them.

// sweepRows is a minute at 2 kHz.
const (
	sweepRate_Hz = 2000
	sweepRows    = 60 * sweepRate_Hz
)

// sweep is the CSV of a fan-law unit: rest, start, 20 to 100 % up, hold, down,
// rest. Every unit draws its own scale and friction. Formulas: current
// Iq + k·d^2.4 with a first-order settling of 0.2 s; a charging peak at
// switch-on; an opening burst of 0.2 s; ripple and noise; supply 12 V less
// 0.05 Ω·I; current in steps of 0.1 mA and voltage of 1 mV, as 16-bit
// converters give them.
func sweep(unit int) []byte { return slowSweep(unit, 1) }

// slowSweep is a sweep whose steps last so many times as long.
func slowSweep(unit int, slower float64) []byte {
	rows := int(sweepRows * slower)
	r := rand.New(rand.NewPCG(7, uint64(unit)))
	k := 4.5 * (1 + 0.02*r.NormFloat64())
	friction := 0.12 * (1 + 0.1*r.NormFloat64())
	b := make([]byte, 0, rows*28)
	b = fmt.Appendf(b, "# trace: 1\n# unit: A-%04d\n# kind: pump\n# supply_nominal_V: 12\nt_s,duty_pct,current_A,supply_V\n", unit)
	state := 0.0
	for i := range rows {
		t := float64(i) / sweepRate_Hz
		duty := dutyAt(t / slower)
		d := duty / 100
		aim := 0.0
		if duty > 0 {
			aim = k*math.Pow(d, 2.4) + friction*d
		}
		state += (aim - state) * (1 - math.Exp(-1/(0.2*sweepRate_Hz)))
		x := 0.012 + state
		switch {
		case t < 0.0005:
			x = 20
		case t >= 2*slower+0.1 && t < 2*slower+0.3:
			x += 1.5
		}
		if duty > 0 {
			x += 0.02 * state * math.Sin(2*math.Pi*310*d*t)
		}
		x += 0.004 * r.NormFloat64()
		v := 12 - 0.05*x + 0.002*r.NormFloat64()
		b = strconv.AppendFloat(b, t, 'f', -1, 64)
		b = append(b, ',')
		b = strconv.AppendFloat(b, duty, 'f', -1, 64)
		b = append(b, ',')
		b = strconv.AppendFloat(b, math.Round(x*1e4)/1e4, 'f', -1, 64)
		b = append(b, ',')
		b = strconv.AppendFloat(b, math.Round(v*1e3)/1e3, 'f', -1, 64)
		b = append(b, '\n')
	}
	return b
}

// dutyAt is the plan: 2 s of rest, steps of 3 s from 20 to 100 %, 5 s of hold,
// and down again to rest.
func dutyAt(t float64) float64 {
	n := int((t - 2) / 3)
	switch {
	case t < 2:
		return 0
	case n <= 8:
		return 20 + 10*float64(n)
	case t < 34:
		return 100
	}
	if d := 90 - 10*math.Floor((t-34)/3); d >= 20 {
		return d
	}
	return 0
}

// learned is a profile of eight such units.
func learned(tb testing.TB) *profiles.Profile {
	tb.Helper()
	var traces []*trace.Trace
	for unit := range 8 {
		traces = append(traces, read(tb, sweep(unit+1)))
	}
	p, _, err := learn.Learn(traces, pump.Kind{}, learn.Options{Name: "sweep", On: "2025-01-01"})
	require.NoError(tb, err)
	return p
}

func read(tb testing.TB, data []byte) *trace.Trace {
	tb.Helper()
	tr, err := trace.Read(bytes.NewReader(data), "sweep.csv")
	require.NoError(tb, err)
	return tr
}

// What is timed must be a whole judgement.
func TestSweepIsJudgedWhole(t *testing.T) {
	p := learned(t)
	r, err := judge.Judge(read(t, sweep(100)), p, pump.Kind{}, judge.Options{})
	require.NoError(t, err)
	require.Equal(t, result.Pass, r.Verdict, "%s %v", r.Sentence, r.Warnings)
	require.Len(t, r.Curve, 17)
	require.Len(t, r.Startup.Attempts, 1)
}

func BenchmarkReadAndJudge(b *testing.B) {
	p, data := learned(b), sweep(100)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := judge.Judge(read(b, data), p, pump.Kind{}, judge.Options{}); err != nil {
			b.Fatal(err)
		}
	}
	perSample(b)
}

func BenchmarkCSVAlone(b *testing.B) {
	data := sweep(100)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		if err := csvAlone(bytes.NewReader(data)); err != nil {
			b.Fatal(err)
		}
	}
	perSample(b)
}

func BenchmarkJudgeAfterReading(b *testing.B) {
	p, tr := learned(b), read(b, sweep(100))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := judge.Judge(tr, p, pump.Kind{}, judge.Options{}); err != nil {
			b.Fatal(err)
		}
	}
	perSample(b)
}

func perSample(b *testing.B) {
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/sweepRows, "ns/sample")
}

// csvAlone reads with encoding/csv and strconv alone, no checks.
func csvAlone(src io.Reader) error {
	r := csv.NewReader(src)
	r.ReuseRecord, r.Comment = true, '#'
	if _, err := r.Read(); err != nil {
		return err
	}
	var columns [4][]float64
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		for i, cell := range row {
			v, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				return err
			}
			columns[i] = append(columns[i], v)
		}
	}
}
