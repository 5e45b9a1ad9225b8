package container

import (
	"bytes"
	"math"
	"runtime"
	"strings"
	"testing"

	"dutybench/signal/trace"
)

// seeds are containers of many kinds, small.
func seeds(f *testing.F) [][]byte {
	f.Helper()
	var out [][]byte
	for _, tr := range []*trace.Trace{
		of(1),
		of(40, column("x", 40, func(i int) float64 { return float64(i*i%11) / 10 }),
			trace.Column{Name: "note", Text: strings.Split(strings.Repeat("a,,b,", 14), ",")[:40]}),
		of(300, column(trace.ColSupply, 300, func(i int) float64 { return []float64{math.NaN(), 13.5, math.Sqrt(float64(i))}[i%3] })),
		bench{seconds: 0.05, noise: 3, sparse: true, seed: 1}.noisy(),
	} {
		data, err := Encode(tr)
		if err != nil {
			f.Fatal(err)
		}
		out = append(out, data)
	}
	return out
}

// FuzzDecode: no panic, no memory out of proportion, errors of one line; what
// is read can be written, and comes back the same. Checksums are made right
// first, or else they would stop all that the fuzzer tries.
func FuzzDecode(f *testing.F) {
	for _, data := range seeds(f) {
		f.Add(data, true)
		f.Add(data, false)
	}
	f.Fuzz(func(t *testing.T, data []byte, sealed bool) {
		data = bytes.Clone(data)
		if sealed && len(data) > len(magic) {
			seal(data)
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		tr, err := Decode(data, "f")
		runtime.ReadMemStats(&after)
		// 64 MB at first, and then what blocks turned out to hold: 64 kB a byte
		// where all of it is missing.
		if got := after.TotalAlloc - before.TotalAlloc; got > 200<<20+uint64(len(data))<<16 {
			t.Fatalf("%d bytes of memory for a container of %d", got, len(data))
		}
		check(t, tr, err)
		part, rerr := Recover(data, "f")
		if (rerr == nil) != (err == nil) {
			t.Fatalf("recovered: %v, decoded: %v", rerr, err)
		}
		if part != nil {
			check(t, part, nil)
		}
		file, err := Open(bytes.NewReader(data), int64(len(data)))
		if err != nil {
			check(t, nil, err)
			return
		}
		rows, err := file.Rows(file.Len()/3, file.Len())
		check(t, rows, err)
		if tr != nil && rows == nil {
			t.Fatalf("the whole was read, and not a piece: %v", err)
		}
	})
}

// FuzzParseBlock: the same of pieces that are joined.
func FuzzParseBlock(f *testing.F) {
	list := seeds(f)
	for i, data := range list {
		f.Add(data, list[len(list)-1-i])
		f.Add(data, data)
	}
	f.Fuzz(func(t *testing.T, a, b []byte) {
		tr, err := ParseBlock(a)
		check(t, tr, err)
		joined, err := Join([][]byte{a, b})
		if joined != nil {
			check(t, joined, nil)
		}
		if joined == nil && tr != nil {
			t.Fatalf("the first piece is whole and gives nothing: %v", err)
		}
	})
}

// check holds an outcome against what is promised of it.
func check(t *testing.T, tr *trace.Trace, err error) {
	t.Helper()
	if err != nil {
		if tr != nil || strings.ContainsAny(err.Error(), "\n\r") || !strings.HasPrefix(err.Error(), "container: ") {
			t.Fatalf("not an error alone: %q", err)
		}
		return
	}
	if tr.Len() > 1_000_000 {
		return // writing it takes long
	}
	var first, second bytes.Buffer
	if err := trace.Write(&first, tr); err != nil {
		t.Fatalf("read but not written: %v", err)
	}
	data, err := Encode(tr)
	if err != nil {
		t.Fatalf("read but not encoded: %v", err)
	}
	again, err := Decode(data, "f")
	if err != nil {
		t.Fatalf("encoded but not decoded: %v", err)
	}
	if err := trace.Write(&second, again); err != nil || !bytes.Equal(first.Bytes(), second.Bytes()) {
		t.Fatalf("another trace came back: %v", err)
	}
}

// FuzzNumbers: any eight bytes are a number that comes back.
func FuzzNumbers(f *testing.F) {
	f.Add([]byte("12345678abcdefgh"), uint16(100))
	f.Fuzz(func(t *testing.T, raw []byte, rows uint16) {
		if len(raw) < 8 || rows == 0 {
			return
		}
		n := len(raw) - 7
		tr := of(int(rows%3000)+1, column("x", int(rows%3000)+1, func(i int) float64 {
			v := 0.0
			for _, b := range raw[i%n : i%n+8] {
				v = math.Float64frombits(math.Float64bits(v)<<8 | uint64(b))
			}
			if math.IsInf(v, 0) {
				return 0
			}
			return v
		}))
		check(t, tr, nil)
	})
}
