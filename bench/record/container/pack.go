package container

import (
	"bytes"
	"encoding/binary"

	"github.com/klauspost/compress/zstd"
)

// How bytes are packed.
const (
	packRun byte = iota
	packPlain
	packZstd
)

// mostPacked bounds what one stretch of packed bytes may hold: the texts of a
// column in a block, or a head. mostTexts bounds the texts of a trace, each
// counted once a block. Chosen: far more than a test has.
const (
	mostPacked = 8 << 20
	mostTexts  = 64 << 20
)

func newPacker() (*zstd.Encoder, error) {
	return zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderConcurrency(1),
		zstd.WithEncoderCRC(false), zstd.WithSingleSegment(true), zstd.WithAllLitEntropyCompression(true), zstd.WithLowerEncoderMem(true))
}

func newUnpacker() (*zstd.Decoder, error) {
	return zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderLowmem(true),
		zstd.WithDecoderMaxMemory(mostPacked), zstd.WithDecodeAllCapLimit(true))
}

// pack adds bytes in the smallest way.
func (e *encoder) pack(dst, raw []byte) []byte {
	if len(raw) > 0 && bytes.Count(raw, raw[:1]) == len(raw) {
		return append(dst, packRun, raw[0])
	}
	e.frame = e.zstd.EncodeAll(raw, e.frame[:0])
	if len(e.frame) >= len(raw) {
		return append(append(dst, packPlain), raw...)
	}
	dst = binary.AppendUvarint(append(dst, packZstd), uint64(len(e.frame)))
	return append(dst, e.frame...)
}

// unpack fills dst, whose length is known. Nothing is taken for more bytes
// than that, whatever a frame claims.
func (d *decoder) unpack(c *cursor, dst []byte) {
	switch how := c.byte(); how {
	case packRun:
		b := c.byte()
		for i := range dst {
			dst[i] = b
		}
	case packPlain:
		copy(dst, c.take(len(dst)))
	case packZstd:
		frame := c.take(c.count("the length of a frame", 0, len(c.b)))
		if c.err != nil {
			return
		}
		var h zstd.Header
		if err := h.Decode(frame); err != nil || h.Skippable || !h.HasFCS || h.FrameContentSize != uint64(len(dst)) {
			c.fail("a frame does not state its %d bytes", len(dst))
			return
		}
		got, err := d.zstd.DecodeAll(frame, dst[:0:len(dst)])
		if err != nil {
			c.fail("a frame cannot be unpacked: %w", err)
		} else if len(got) != len(dst) {
			c.fail("a frame holds %d bytes instead of %d", len(got), len(dst))
		}
	default:
		c.fail("bytes are packed in way %d, which this program does not know", how)
	}
}

// unpackAll makes room for n bytes, which were checked, and unpacks them.
func (d *decoder) unpackAll(c *cursor, n int) []byte {
	if c.err != nil {
		return nil
	}
	if n > mostPacked {
		c.fail("%d bytes are packed, more than %d", n, mostPacked)
		return nil
	}
	dst := make([]byte, n)
	d.unpack(c, dst)
	return dst
}
