package store

import (
	"bytes"
	"encoding/hex"
	"errors"
	"math"

	"dutybench/bench/record"
	"dutybench/bench/record/container"
)

// Brief reads a record without its trace, profile text and files, and the time
// that its trace covers, in seconds; NaN when it does not say without being
// unpacked. record.json and result are checked as Get does; the trace is not.
// It is for sums over many records: unpacking traces is most of what Get does.
func (s *Store) Brief(id record.ID) (r *record.Record, covered_s float64, err error) {
	b, bench, err := s.holder(id.Bench)
	if err != nil {
		return nil, math.NaN(), err
	}
	id.Bench = bench
	covered_s = math.NaN()
	err = b.read(func(t *tx) error {
		body, err := t.body(id)
		if err != nil {
			return err
		}
		var parts record.Parts
		if r, parts, err = record.Unseal(body); err != nil {
			return damaged(id, err)
		}
		var sum []byte
		if err := t.one("SELECT sha256 FROM records WHERE bench = ? AND seq = ?", []any{id.Bench, id.Seq}, &sum); err != nil {
			return damaged(id, err)
		}
		if r.ID != id || hex.EncodeToString(sum) != r.Hash {
			return damaged(id, errors.New("record.json was changed, or belongs elsewhere"))
		}
		if parts.Result != "" {
			if r.Result, err = t.part(parts.Result); err != nil {
				return damaged(id, err)
			}
		}
		kept, err := t.blob(unhex(parts.Trace))
		if err != nil {
			return damaged(id, err)
		}
		if kept.codec == inBlocks {
			f, err := container.Open(bytes.NewReader(kept.data), int64(len(kept.data)))
			if err != nil {
				return damaged(id, err)
			}
			if f.Len() > 0 {
				first, last := f.Times()
				covered_s = last - first
			}
		}
		return nil
	})
	if err != nil {
		return nil, math.NaN(), err
	}
	return r, covered_s, nil
}
