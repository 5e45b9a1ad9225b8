package trace

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"strconv"
	"testing"
)

// sweep makes a trace of 60 s at 2 kHz as a rig with a 16-bit converter
// would write it.
func sweep(tb testing.TB) []byte {
	tb.Helper()
	const rows = 120_000
	r := rand.New(rand.NewPCG(1, 2))
	b := []byte("# trace: 1\n# unit: A-0001\nt_s,duty_pct,current_A,supply_V\n")
	for i := range rows {
		duty := float64(10 * (i / 12_000))
		b = strconv.AppendFloat(b, float64(i)/2000, 'g', -1, 64)
		b = append(b, ',')
		b = strconv.AppendFloat(b, duty, 'g', -1, 64)
		b = append(b, ',')
		b = strconv.AppendFloat(b, math.Round(duty*500+50*r.NormFloat64())/1e4, 'g', -1, 64)
		b = append(b, ',')
		b = strconv.AppendFloat(b, math.Round(12000+3*r.NormFloat64())/1e3, 'g', -1, 64)
		b = append(b, '\n')
	}
	return b
}

// The three below are to be run together, on one core:
//
//	go test -run xxx -bench Sweep -cpu 1 ./signal/trace

func BenchmarkSweepRead(b *testing.B) {
	data := sweep(b)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Read(bytes.NewReader(data), "sweep.csv"); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkSweepReadAgain(b *testing.B) {
	data := sweep(b)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	var r Reader
	for b.Loop() {
		if _, err := r.Read(bytes.NewReader(data), "sweep.csv", nil); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkSweepStandardLibrary(b *testing.B) {
	data := sweep(b)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		if err := standardLibrary(bytes.NewReader(data)); err != nil {
			b.Fatal(err)
		}
	}
}

// standardLibrary reads with encoding/csv and strconv alone, no checks.
func standardLibrary(src io.Reader) error {
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

func BenchmarkWrite(b *testing.B) {
	t, err := Read(bytes.NewReader(sweep(b)), "sweep.csv")
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if err := Write(io.Discard, t); err != nil {
			b.Fatal(err)
		}
	}
}
