package container

import (
	"encoding/binary"
	"fmt"
	"math"
	"sync"

	"dutybench/signal/trace"
)

// Encode gives a trace as a container. What trace.Write would refuse is an
// error.
func Encode(t *trace.Trace) ([]byte, error) {
	if err := t.Check(); err != nil {
		return nil, fmt.Errorf("container: %w", err)
	}
	e, err := takeEncoder()
	if err != nil {
		return nil, err
	}
	defer encoders.Put(e)
	data, err := e.container(t)
	if err != nil {
		return nil, fmt.Errorf("container: %w", err)
	}
	return data, nil
}

// container is a trace, which was checked, as a container.
func (e *encoder) container(t *trace.Trace) ([]byte, error) {
	head := appendHead(nil, t)
	if len(head) > mostPacked {
		return nil, fmt.Errorf("the comment lines are longer than %d bytes; keep those that describe the test", mostPacked)
	}
	out, err := appendPart([]byte(magic), kindHead, func(b []byte) []byte {
		return e.pack(binary.AppendUvarint(b, uint64(len(head))), head)
	})
	if err != nil {
		return nil, err
	}
	e.textBytes = 0
	var blocks []place
	time := t.Time()
	for from := 0; from < t.Len(); {
		to := blockEnd(t, from)
		begin := len(out)
		if out, err = appendPart(out, kindBlock, func(b []byte) []byte { return e.block(b, t, from, to) }); err != nil {
			return nil, err
		}
		blocks = append(blocks, place{length: len(out) - begin, row: from, span: span{to - from, time[from], time[to-1]}})
		if from = to; e.textBytes > mostTexts {
			return nil, fmt.Errorf("its texts are longer than %d bytes; keep a column of them elsewhere", mostTexts)
		}
	}
	index := len(out)
	if out, err = appendPart(out, kindIndex, func(b []byte) []byte { return appendIndex(b, blocks) }); err != nil {
		return nil, err
	}
	return append(binary.LittleEndian.AppendUint64(out, uint64(index)), endMagic...), nil
}

// blockEnd is the row behind the block that begins with a row.
func blockEnd(t *trace.Trace, from int) int {
	to := min(from+min(blockRows, maxCells/len(t.Columns)), t.Len())
	for i := range t.Columns {
		text := t.Columns[i].Text
		if text == nil {
			continue
		}
		size := 0
		for row := from; row < to; row++ {
			if size += len(text[row]); size > blockText {
				to = row + 1
			}
		}
	}
	return to
}

// Decode gives the whole trace back: trace.Write of it gives the bytes that
// trace.Write of the original gave. source names it in its errors and in the
// trace. Its memory is that of the samples, at most trace.MaxSamples of them.
func Decode(data []byte, source string) (*trace.Trace, error) {
	return DecodeOf(data, source, math.MaxInt)
}

// DecodeOf is Decode of a trace whose CSV has at most so many bytes. One with
// more rows than these can hold is refused before any memory is taken: a few
// bytes of a container can stand for millions of rows.
func DecodeOf(data []byte, source string, csv_B int) (*trace.Trace, error) {
	s, err := scanOf(data, csv_B)
	if err != nil {
		return nil, damaged(source, err)
	}
	t, err := s.decode(source)
	if err != nil {
		return nil, damaged(source, err)
	}
	return t, nil
}

// Recover gives what can still be read of a container that was cut off or
// damaged: the rows before the first block that is not whole. The error says
// what is wrong with the rest, and is nil for a whole container. The trace is
// nil where no block is left.
func Recover(data []byte, source string) (*trace.Trace, error) {
	s, wrong := scan(data)
	for s != nil && len(s.blocks) > 0 {
		t, err := s.decode(source)
		if err == nil {
			if wrong != nil {
				wrong = fmt.Errorf("container: %s: %w; its first %d rows were recovered", source, wrong, t.Len())
			}
			return t, wrong
		}
		// A block whose checksum is right and whose content is not.
		wrong = err
		s.blocks = s.blocks[:s.good]
	}
	return nil, damaged(source, wrong)
}

func damaged(source string, err error) error {
	return fmt.Errorf("container: %s: %w; take the trace from a backup or a bundle", source, err)
}

// encoders and decoders are memory to be used again: a decoder of zstd takes
// longer to make than a block to read.
var encoders, decoders sync.Pool

func takeEncoder() (*encoder, error) {
	if e, ok := encoders.Get().(*encoder); ok {
		return e, nil
	}
	z, err := newPacker()
	if err != nil {
		return nil, fmt.Errorf("container: zstd: %w", err)
	}
	return &encoder{zstd: z}, nil
}

func takeDecoder() (*decoder, error) {
	if d, ok := decoders.Get().(*decoder); ok {
		return d, nil
	}
	z, err := newUnpacker()
	if err != nil {
		return nil, fmt.Errorf("container: zstd: %w", err)
	}
	return &decoder{zstd: z}, nil
}
