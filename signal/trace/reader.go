package trace

import (
	"crypto/sha256"
	"errors"
	"hash"
	"io"
	"os"
)

// Reader reads traces one after another into the same memory: the samples of
// a trace that it returned are good until its next call. The zero value is
// ready. It is not for several goroutines at once.
type Reader struct {
	// Unhashed leaves SHA256 of the traces empty. Processors without
	// instructions for it spend more time on the hash than on all else.
	Unhashed bool

	buf     []byte
	sum     hash.Hash
	columns [][]float64
	lanes   []lane
	scratch []float64
}

// ReadFile reads the trace in a file; see Read.
func (r *Reader) ReadFile(path string, m *Mapping) (*Trace, error) {
	f, err := os.Open(path)
	if err != nil {
		var p *os.PathError
		if errors.As(err, &p) {
			err = p.Err
		}
		return nil, &Error{Source: path, Problem: "the file cannot be opened", Err: err,
			Advice: "check the path and its permissions"}
	}
	defer f.Close()
	return r.Read(f, path, m)
}

// Read is ReadMapped, or Read where there is no mapping.
func (r *Reader) Read(src io.Reader, source string, m *Mapping) (*Trace, error) {
	in := &reader{lines: r.lines(src, source), mapping: m, delimiter: ',', again: r, lanes: r.lanes}
	defer func() { r.buf, r.lanes = in.buf, in.lanes }()
	if in.size > MaxBytes {
		return nil, &Error{Source: source, Problem: "the file is larger than 4 GiB",
			Advice: "cut it into one file per test"}
	}
	row, told := in.row, func() {}
	if m == nil {
		line, err := in.preamble()
		if err != nil {
			return nil, err
		}
		if err := in.header(line); err != nil {
			return nil, err
		}
	} else {
		p, err := in.plan()
		if err != nil {
			return nil, err
		}
		row, told = p.row, p.tell
	}
	if err := in.all(row); err != nil {
		return nil, err
	}
	told()
	return in.trace(), nil
}

// lines begins a stream in the reader's memory.
func (r *Reader) lines(src io.Reader, source string) *lines {
	if r.buf == nil {
		r.buf = make([]byte, chunk, chunk+beyond)
	}
	l := &lines{r: src, source: source, buf: r.buf, size: sizeOf(src)}
	if !r.Unhashed {
		if r.sum == nil {
			r.sum = sha256.New()
		}
		r.sum.Reset()
		l.sum = r.sum
	}
	return l
}

// column is memory for n values of column c, used again where what is there
// suffices. It may be the memory that the column's values lie in already.
func (r *Reader) column(c, n int) []float64 {
	for len(r.columns) <= c {
		r.columns = append(r.columns, nil)
	}
	if had := cap(r.columns[c]); had < n {
		more := 0
		if had > 0 {
			more = n / 16 // traces of one archive are much alike in length
		}
		r.columns[c] = make([]float64, 0, n+more)
	}
	return r.columns[c][:0:n]
}
