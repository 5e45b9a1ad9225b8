// Package container keeps a trace small: without loss, and readable from any
// row on.
package container

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"io"

	_ "github.com/klauspost/compress/zstd" // blocks

	"dutybench/signal/trace"
)

// Encode gives a trace as a container. What trace.Write would refuse is an
// error.
func Encode(t *trace.Trace) ([]byte, error) {
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	if err := trace.Write(z, t); err != nil {
		return nil, fmt.Errorf("container: %w", err)
	}
	if err := z.Close(); err != nil {
		return nil, fmt.Errorf("container: %w", err)
	}
	return b.Bytes(), nil
}

// Decode gives the whole trace back: trace.Write of it gives the bytes that
// trace.Write of the original gave. source names it in its errors.
func Decode(data []byte, source string) (*trace.Trace, error) {
	z, err := gzip.NewReader(bytes.NewReader(data))
	if err != nil {
		return nil, fmt.Errorf("container: %s: %w", source, err)
	}
	csv, err := io.ReadAll(z)
	if err != nil {
		return nil, fmt.Errorf("container: %s: %w", source, err)
	}
	return trace.Read(bytes.NewReader(csv), source)
}
