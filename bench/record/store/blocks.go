package store

import (
	"bytes"
	"fmt"
	"io"

	"dutybench/bench/record/container"
	"dutybench/signal/trace"
)

// atOnce_B is up to how many bytes of CSV a trace is unpacked as a whole, which
// is faster (chosen: 8 s at 20 kHz, under 100 MB of memory at the worst).
const atOnce_B = 8 << 20

// unpackBlocks writes a trace of at most so many bytes of CSV piece by piece:
// what a damaged or strange table says of its size must not fill the memory
// before its hash is known.
func unpackBlocks(w io.Writer, data []byte, csv_B int) error {
	f, err := container.Open(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return err
	}
	// Each cell takes a byte at least, and each time another.
	if f.Len() > csv_B/(len(f.Columns())+1) {
		return fmt.Errorf("it has more rows than %d bytes can hold", csv_B)
	}
	const rows = 1 << 15
	heading := 0
	for from := 0; from < f.Len(); from += rows {
		t, err := f.Rows(from, min(from+rows, f.Len()))
		if err != nil {
			return err
		}
		if err := trace.Write(&behind{w, heading}, t); err != nil {
			return err
		}
		heading = len(f.Meta()) + 1
	}
	return nil
}

// behind leaves the first lines out.
type behind struct {
	w    io.Writer
	skip int
}

func (b *behind) Write(p []byte) (int, error) {
	n := len(p)
	for b.skip > 0 {
		_, rest, found := bytes.Cut(p, []byte("\n"))
		if !found {
			return n, nil
		}
		p = rest
		b.skip--
	}
	if m, err := b.w.Write(p); err != nil {
		return n - len(p) + m, err
	}
	return n, nil
}
