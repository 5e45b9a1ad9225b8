package store

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"sync"

	"github.com/klauspost/compress/zstd"

	"dutybench/bench/record"
	"dutybench/bench/record/container"
	"dutybench/signal/trace"
)

// How a blob is kept.
const (
	plain    = 0 // as it is
	zstdded  = 1 // Zstandard, RFC 8878
	inBlocks = 2 // a trace in package container's form
)

// maxPart bounds one part of a record in bytes; a minute at 20 kHz takes 100 MB
// of CSV.
const maxPart = 1 << 30

// Names of a record's parts beside its body. A file's is filePrefix and its name.
const (
	tracePart   = "trace"
	resultPart  = "result"
	profilePart = "profile"
	filePrefix  = "file/"
)

// blob is bytes as they are kept.
type blob struct {
	sum   [sha256.Size]byte // of the original
	codec int
	bytes int // of the original
	data  []byte
}

// part is one part of a record, ready to be kept.
type part struct {
	name string
	blob
}

// partsOf packs what belongs to a record.
func partsOf(r *record.Record) ([]part, error) {
	if len(r.Trace) == 0 {
		return nil, errors.New("store: there is no trace to keep")
	}
	out := []part{{tracePart, packTrace(r.Trace)}}
	if r.Result != nil {
		out = append(out, part{resultPart, pack(r.Result)})
	}
	if r.Profile.Text != nil {
		out = append(out, part{profilePart, pack(r.Profile.Text)})
	}
	for _, f := range r.Files {
		out = append(out, part{filePrefix + f.Name, pack(f.Data)})
	}
	for _, p := range out {
		if p.bytes > maxPart {
			return nil, fmt.Errorf("store: the %s is larger than %d bytes; it cannot be kept", p.name, maxPart)
		}
	}
	return out, nil
}

// packers and unpackers keep their tables, which cost more than small parts do.
var (
	packers = sync.Pool{New: func() any {
		e, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1), zstd.WithWindowSize(1<<20), zstd.WithLowerEncoderMem(true))
		if err != nil {
			panic(err) // only options that this program itself sets can be wrong
		}
		return e
	}}
	unpackers = sync.Pool{New: func() any {
		d, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxWindow(8<<20), zstd.WithDecoderLowmem(true))
		if err != nil {
			panic(err)
		}
		return d
	}}
)

// pack keeps bytes, smaller where that can be.
func pack(data []byte) blob {
	b := blob{sha256.Sum256(data), plain, len(data), data}
	if b.data == nil {
		b.data = []byte{}
	}
	e, ok := packers.Get().(*zstd.Encoder)
	if !ok {
		return b
	}
	defer packers.Put(e)
	if small := e.EncodeAll(data, nil); len(small) < len(data) {
		b.codec, b.data = zstdded, small
	}
	return b
}

// packTrace keeps a trace as a container where that gives the same bytes back.
func packTrace(csv []byte) blob {
	t, err := trace.Read(bytes.NewReader(csv), "trace")
	if err != nil {
		return pack(csv)
	}
	data, err := container.Encode(t)
	if err != nil {
		return pack(csv)
	}
	b := blob{sha256.Sum256(csv), inBlocks, len(csv), data}
	if err := b.check(); err != nil {
		return pack(csv)
	}
	return b
}

// unpack writes the original, and no more bytes than the blob says it has.
func (b *blob) unpack(w io.Writer) error {
	if b.bytes < 0 || b.bytes > maxPart {
		return errors.New("its size is none")
	}
	w = &bounded{w, b.bytes}
	switch b.codec {
	case plain:
		_, err := w.Write(b.data)
		return err
	case zstdded:
		d, ok := unpackers.Get().(*zstd.Decoder)
		if !ok {
			return errors.New("it cannot be unpacked")
		}
		defer func() {
			_ = d.Reset(nil) // lets go of the data
			unpackers.Put(d)
		}()
		if err := d.Reset(bytes.NewReader(b.data)); err != nil {
			return err
		}
		_, err := io.Copy(w, d)
		return err
	case inBlocks:
		if b.bytes > atOnce_B {
			return unpackBlocks(w, b.data, b.bytes)
		}
		t, err := container.DecodeOf(b.data, "trace", b.bytes)
		if err != nil {
			return err
		}
		return trace.Write(w, t)
	}
	return fmt.Errorf("it is kept in a way, %d, that this program does not know", b.codec)
}

// bounded takes so many bytes and no more.
type bounded struct {
	w    io.Writer
	left int
}

func (b *bounded) Write(p []byte) (int, error) {
	if len(p) > b.left {
		return 0, errors.New("it has more bytes than the table of blobs says")
	}
	n, err := b.w.Write(p)
	b.left -= n
	return n, err
}

// check is nil when the original comes out.
func (b *blob) check() error {
	h := counting{Hash: sha256.New()}
	if err := b.unpack(&h); err != nil {
		return err
	}
	return h.is(b)
}

// original gives the bytes back, checked.
func (b *blob) original() ([]byte, error) {
	h := counting{Hash: sha256.New()}
	var out bytes.Buffer
	if b.bytes > 0 && b.bytes <= 1<<24 {
		out.Grow(b.bytes)
	}
	if err := b.unpack(io.MultiWriter(&h, &out)); err != nil {
		return nil, err
	}
	if err := h.is(b); err != nil {
		return nil, err
	}
	if out.Len() == 0 {
		return []byte{}, nil
	}
	return out.Bytes(), nil
}

// counting is a hash that counts its bytes.
type counting struct {
	hash.Hash
	n int
}

func (c *counting) Write(p []byte) (int, error) {
	c.n += len(p)
	return c.Hash.Write(p)
}

// is says whether these were a blob's bytes.
func (c *counting) is(b *blob) error {
	if [sha256.Size]byte(c.Sum(nil)) != b.sum {
		return errors.New("its hash is not the one in record.json")
	}
	if c.n != b.bytes {
		return fmt.Errorf("it has %d bytes, the table of blobs says %d", c.n, b.bytes)
	}
	return nil
}

// unhex is a hash as bytes; nil where it is none.
func unhex(s string) []byte {
	b, err := hex.DecodeString(s)
	if err != nil || len(b) != sha256.Size {
		return nil
	}
	return b
}
