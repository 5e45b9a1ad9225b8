package record

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"dutybench/bench/result"
)

// readBody reads a record's record.json with its hash and checks it against
// the hash that lies beside it.
func (d *Dir) readBody(seq int) (*body, string, error) {
	data, err := readFile(filepath.Join(d.folder(seq), bodyFile), maxBody)
	if err != nil {
		return nil, "", clause(err)
	}
	sum := hash(data)
	line, err := readFile(filepath.Join(d.folder(seq), sumFile), maxBody)
	if err != nil {
		return nil, "", clause(err)
	}
	if !bytes.Equal(line, sumLine(sum)) {
		return nil, "", errors.New("record.json was changed: its hash is not the one kept beside it")
	}
	b, err := parseBody(data)
	return b, sum, err
}

// clause says of an error in a record what a person needs.
func clause(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) && errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s is missing", filepath.Base(p.Path))
	}
	return err
}

// read reads a record and checks everything that it says of itself.
func (d *Dir) read(seq int) (*Record, error) {
	if info, err := os.Lstat(d.folder(seq)); err != nil || !info.IsDir() {
		return nil, fs.ErrNotExist
	}
	b, sum, err := d.readBody(seq)
	if err != nil {
		return nil, err
	}
	if b.Seq != seq {
		return nil, fmt.Errorf("it holds record %06d, which belongs elsewhere", b.Seq)
	}
	r := b.record(sum)
	files := []struct {
		name, sum string
		into      *[]byte
	}{
		{traceFile, b.Trace, &r.Trace}, {profileFile, b.Profile.SHA256, &r.Profile.Text}, {resultFile, b.Result, &r.Result},
	}
	known := map[string]bool{bodyFile: true, sumFile: true}
	for _, f := range files {
		if f.sum == "" {
			continue
		}
		known[f.name] = true
		data, err := readFile(filepath.Join(d.folder(seq), f.name), maxFile)
		if err != nil {
			return nil, clause(err)
		}
		if hash(data) != f.sum {
			return nil, fmt.Errorf("%s was changed: its hash is not the one in record.json", f.name)
		}
		*f.into = data
	}
	if verdict, cause, err := verdictOf(r.Result); err != nil || verdict != b.Verdict || cause != b.Cause {
		return nil, errors.New("its verdict is not the one in result.json")
	}
	entries, err := os.ReadDir(d.folder(seq))
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		if !known[e.Name()] {
			return nil, fmt.Errorf("%q lies in its folder and does not belong to it", e.Name())
		}
	}
	return r, nil
}

// Get reads a record back. An ID without a bench is that of this one. What
// the record says of itself is checked; its place among the others is
// Verify's.
func (d *Dir) Get(id ID) (*Record, error) {
	key, err := d.Key()
	if err != nil {
		return nil, err
	}
	if id.Bench == "" {
		id.Bench = key
	}
	r, err := d.read(id.Seq)
	switch {
	case errors.Is(err, fs.ErrNotExist), id.Bench != key:
		return nil, fmt.Errorf("record: there is no record %s in %s; list what there is: %w", id, d.path, fs.ErrNotExist)
	case err != nil:
		return nil, fmt.Errorf("record: %s is damaged: %w; verify the store and bring the record back from a copy", id, err)
	case r.ID.Bench != key:
		return nil, fmt.Errorf("record: %s is damaged: it is a record of another bench, %s", id, r.ID.Bench)
	}
	return r, nil
}

// List gives the records that the filter takes, in their order. Damaged ones
// are left out and named in the error, beside the rest.
func (d *Dir) List(f Filter) ([]Entry, error) {
	seqs, _, err := d.numbers()
	if err != nil {
		return nil, err
	}
	var out []Entry
	var bad []error
	for _, seq := range seqs {
		b, sum, err := d.readBody(seq)
		if err != nil {
			bad = append(bad, fmt.Errorf("record: %06d is damaged and not listed: %w", seq, err))
			continue
		}
		r := b.record(sum)
		e := Entry{ID: r.ID, Hash: sum, When: r.When, ClockDoubt: r.ClockDoubt, Purpose: r.Purpose, Rig: r.Rig, Profile: r.Profile,
			At: r.At, Verdict: result.Verdict(b.Verdict), Cause: result.Cause(b.Cause)}
		if f.takes(&e) {
			out = append(out, e)
		}
	}
	return out, errors.Join(bad...)
}
