package container

import (
	"bytes"
	encodingcsv "encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"testing"
	"time"

	"dutybench/signal/trace"
)

// The figures of a container, on one core:
//
//	go test -run xxx -bench Noisy -cpu 1 ./bench/record/container

func BenchmarkNoisyEncode(b *testing.B) {
	each(b, func(b *testing.B, t *trace.Trace, text, data []byte) {
		for b.Loop() {
			if _, err := Encode(t); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(len(text))/float64(len(data)), "csv/container")
	})
}

func BenchmarkNoisyDecode(b *testing.B) {
	each(b, func(b *testing.B, _ *trace.Trace, _, data []byte) {
		for b.Loop() {
			if _, err := Decode(data, "noisy"); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// BenchmarkNoisyStandardLibrary reads the same trace with encoding/csv and
// strconv alone.
func BenchmarkNoisyStandardLibrary(b *testing.B) {
	each(b, func(b *testing.B, _ *trace.Trace, text, _ []byte) {
		for b.Loop() {
			if err := standardLibrary(bytes.NewReader(text)); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// BenchmarkNoisyAgainst reads both in turn, and compares the shortest time of
// each: what others do on the machine falls on both.
func BenchmarkNoisyAgainst(b *testing.B) {
	each(b, func(b *testing.B, _ *trace.Trace, text, data []byte) {
		ours, theirs := time.Duration(math.MaxInt64), time.Duration(math.MaxInt64)
		for b.Loop() {
			begun := time.Now()
			if _, err := Decode(data, "noisy"); err != nil {
				b.Fatal(err)
			}
			middle := time.Now()
			if err := standardLibrary(bytes.NewReader(text)); err != nil {
				b.Fatal(err)
			}
			ours, theirs = min(ours, middle.Sub(begun)), min(theirs, time.Since(middle))
		}
		b.ReportMetric(float64(theirs)/float64(ours), "times-as-fast")
		b.ReportMetric(float64(ours.Nanoseconds())/15/rate_Hz, "ours-ns/row")
	})
}

func each(b *testing.B, do func(b *testing.B, t *trace.Trace, text, data []byte)) {
	for _, shape := range []string{"dense", "sparse"} {
		for _, noise := range []float64{1, 3, 10, 30} {
			b.Run(fmt.Sprintf("%s/%gLSB", shape, noise), func(b *testing.B) {
				t := bench{seconds: 15, noise: noise, sparse: shape == "sparse", seed: 1}.noisy()
				text := csv(b, t)
				data, err := Encode(t)
				if err != nil {
					b.Fatal(err)
				}
				b.SetBytes(int64(len(text)))
				b.ReportAllocs()
				do(b, t, text, data)
				b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(t.Len()), "ns/row")
			})
		}
	}
}

// standardLibrary reads numbers and empty cells, and checks nothing.
func standardLibrary(src io.Reader) error {
	r := encodingcsv.NewReader(src)
	r.ReuseRecord, r.Comment = true, '#'
	head, err := r.Read()
	if err != nil {
		return err
	}
	columns := make([][]float64, len(head))
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		for i, cell := range row {
			v := trace.NotSampled()
			if cell != "" {
				if v, err = strconv.ParseFloat(cell, 64); err != nil {
					return err
				}
			}
			columns[i] = append(columns[i], v)
		}
	}
}
