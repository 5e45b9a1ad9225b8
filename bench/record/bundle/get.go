package bundle

import (
	"errors"
	"fmt"
	"strings"

	"dutybench/bench/record"
)

// maxFiles is how much the files of one record may take in memory, beside its
// trace, in bytes. Chosen: four times what its photos may take.
const maxFiles = 512 << 20

// Get reads a record whole. e is one of those that Verify found whole and in
// its place; a bundle that was changed since is an error.
func (b *Bundle) Get(e *record.Entry) (*record.Record, error) {
	r, err := b.get(e)
	if err != nil {
		return nil, fmt.Errorf("bundle: record %s cannot be read: %w", e.ID, err)
	}
	return r, nil
}

func (b *Bundle) get(e *record.Entry) (*record.Record, error) {
	var f *folder
	for i := range b.folders {
		if b.folders[i].seq == e.ID.Seq {
			f = &b.folders[i]
		}
	}
	if f == nil {
		return nil, errors.New("it is not in this bundle")
	}
	body, err := b.named(f, bodyFile, e.Hash)
	if err != nil {
		return nil, err
	}
	r, parts, err := record.Unseal(body)
	if err != nil {
		return nil, err
	}
	if r.Trace, err = b.named(f, traceFile, parts.Trace); err != nil {
		return nil, err
	}
	if r.Profile.Text, err = b.named(f, profileFile, parts.Profile); err != nil {
		return nil, err
	}
	if r.Result, err = b.named(f, resultFile, parts.Result); err != nil {
		return nil, err
	}
	total := int64(0)
	for _, p := range parts.Files {
		if total += int64(p.Bytes); total > maxFiles {
			return nil, fmt.Errorf("its files take more than %d bytes together; unpack the bundle to see them", int64(maxFiles))
		}
		data, err := b.named(f, filesFolder+p.Name, p.SHA256)
		if err != nil {
			return nil, err
		}
		r.Files = append(r.Files, record.File{Name: p.Name, Data: data})
	}
	return r, nil
}

// named is the file of this name and SHA-256; without a sum the record has
// none, which is nil.
func (b *Bundle) named(f *folder, name, sum string) ([]byte, error) {
	if sum == "" {
		return nil, nil
	}
	file, ok := f.files[name]
	if !ok {
		return nil, fmt.Errorf("%s is missing", strings.TrimPrefix(name, filesFolder))
	}
	data, err := b.bytes(file)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	if sumOf(data) != sum {
		return nil, fmt.Errorf("%s is not what it was when the bundle was verified", name)
	}
	if data == nil {
		data = []byte{}
	}
	return data, nil
}
