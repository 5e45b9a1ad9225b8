package bundle

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"dutybench/bench/record"
	"dutybench/bench/record/ledger"
	"dutybench/bench/result"
)

// records checks each record's place, then its files.
func (v *verifying) records() {
	var before *record.Record
	for i, f := range v.folders {
		if r, entry, err := v.record(f); err != nil {
			v.wrong(v.who(f.seq), err)
			before = nil
		} else {
			if before != nil && before.ID.Seq == f.seq-1 && before.Hash != r.Previous {
				v.damage(v.who(f.seq), "it does not name record %06d as the one before it", f.seq-1)
			}
			if before != nil && r.When.Before(before.When) {
				v.back = append(v.back, fmt.Sprintf("%s says %s and stands after %s, which says %s", r.ID, day(r.When), before.ID, day(before.When)))
			}
			if r.ClockDoubt != "" {
				v.doubts++
			}
			before = r
			v.Records = append(v.Records, *entry)
		}
		if v.x.Progress != nil {
			v.x.Progress(i+1, len(v.folders))
		}
	}
}

func day(t time.Time) string { return t.UTC().Format("2006-01-02 15:04 UTC") }

// record checks one record whole.
func (v *verifying) record(f folder) (*record.Record, *record.Entry, error) {
	if len(f.order) < 3 || f.order[0] != bodyFile || f.order[1] != proofFile || f.order[2] != traceFile {
		return nil, nil, errors.New("it lacks record.json, proof.txt or trace.csv, or they are not in their places")
	}
	body, err := v.bytes(f.files[bodyFile])
	if err != nil {
		return nil, nil, fmt.Errorf("record.json: %w", err)
	}
	text, err := v.bytes(f.files[proofFile])
	if err != nil {
		return nil, nil, fmt.Errorf("proof.txt: %w", err)
	}
	p, err := parseProof(text)
	if err != nil {
		return nil, nil, fmt.Errorf("proof.txt: %w", err)
	}
	if err := ledger.CheckInclusion(v.Head, f.seq, body, p); err != nil {
		return nil, nil, fmt.Errorf("its record.json or its proof was changed, or it is no record of this log: %w", clause(err))
	}
	if again, err := inclusionText(v.Head.Size, f.seq, p); err != nil || !bytes.Equal(again, text) {
		return nil, nil, errors.New("its proof.txt is not written the way a bundle has it")
	}
	r, parts, err := record.Unseal(body)
	if err != nil {
		return nil, nil, clause(err)
	}
	if r.ID.Seq != f.seq || r.ID.Bench != v.Bench {
		return nil, nil, fmt.Errorf("its record.json says that it is %s", r.ID)
	}
	if err := v.parts(f, parts); err != nil {
		return nil, nil, err
	}
	entry, err := record.EntryOf(body)
	if err != nil {
		return nil, nil, clause(err)
	}
	return r, &entry, v.verdict(f, &entry)
}

// parts holds a record's files to what record.json says of them.
func (v *verifying) parts(f folder, parts record.Parts) error {
	want := []part{{traceFile, parts.Trace, -1}, {profileFile, parts.Profile, -1}, {resultFile, parts.Result, -1}}
	for _, x := range parts.Files {
		want = append(want, part{filesFolder + x.Name, x.SHA256, int64(x.Bytes)})
	}
	want = slices.DeleteFunc(want, func(p part) bool { return p.sum == "" })
	for i, p := range want {
		file, ok := f.files[p.name]
		if !ok {
			return fmt.Errorf("%s is missing", p.name)
		}
		if p.bytes >= 0 && file.UncompressedSize64 != uint64(p.bytes) {
			return fmt.Errorf("%s has not the size that record.json says", p.name)
		}
		sum, err := v.sum(file)
		if err != nil {
			return fmt.Errorf("%s: %w", p.name, err)
		}
		if sum != p.sum {
			return fmt.Errorf("%s was changed: its hash is not the one in record.json", p.name)
		}
		if len(f.order) <= 2+i || f.order[2+i] != p.name {
			return fmt.Errorf("%s is not where it belongs", p.name)
		}
	}
	if len(f.order) != 2+len(want) {
		return fmt.Errorf("%.80q lies with it and does not belong to it", f.order[2+len(want)])
	}
	return nil
}

// verdict holds what lists show to the result.
func (v *verifying) verdict(f folder, e *record.Entry) error {
	var r result.Result
	if file, ok := f.files[resultFile]; ok {
		data, err := v.bytes(file)
		if err != nil {
			return err
		}
		if err := json.Unmarshal(data, &r); err != nil {
			return fmt.Errorf("result.json is no result: %w", err)
		}
	}
	var cause result.Cause
	if r.Cause != nil {
		cause = *r.Cause
	}
	if r.Verdict != e.Verdict || cause != e.Cause {
		return errors.New("its verdict is not the one in result.json")
	}
	return nil
}
