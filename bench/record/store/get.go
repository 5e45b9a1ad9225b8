package store

import (
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"

	"dutybench/bench/record"
)

// maxBody is the most that a record.json may be, in bytes.
const maxBody = 1 << 20

// Get reads a record back and checks its own hashes: what is asked of it is
// what its record.json vouches for. An ID without a bench is that of this one.
func (s *Store) Get(id record.ID) (r *record.Record, err error) {
	b, bench, err := s.holder(id.Bench)
	if err != nil {
		return nil, err
	}
	id.Bench = bench
	err = b.read(func(t *tx) error {
		r, err = t.get(id)
		return err
	})
	return r, err
}

// Body is the record's record.json, the leaf of the log.
func (s *Store) Body(id record.ID) (body []byte, err error) {
	b, bench, err := s.holder(id.Bench)
	if err != nil {
		return nil, err
	}
	id.Bench = bench
	err = b.read(func(t *tx) error {
		body, err = t.body(id)
		return err
	})
	return body, err
}

func (t *tx) body(id record.ID) ([]byte, error) {
	var size int
	err := t.one("SELECT length(data) FROM bodies WHERE bench = ? AND seq = ?", []any{id.Bench, id.Seq}, &size)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return nil, fmt.Errorf("store: there is no record %s in %s; list what there is: %w", id, t.b.name, fs.ErrNotExist)
	case err != nil:
		return nil, err
	case size > maxBody:
		return nil, damaged(id, errors.New("its record.json is too large to be one"))
	}
	var body []byte
	err = t.one("SELECT data FROM bodies WHERE bench = ? AND seq = ?", []any{id.Bench, id.Seq}, &body)
	return body, err
}

func damaged(id record.ID, err error) error {
	return fmt.Errorf("store: %s is damaged: %w; verify the store and bring the record back from a backup", id, err)
}

func (t *tx) get(id record.ID) (*record.Record, error) {
	body, err := t.body(id)
	if err != nil {
		return nil, err
	}
	r, parts, err := record.Unseal(body)
	if err != nil {
		return nil, damaged(id, err)
	}
	if r.ID != id {
		return nil, damaged(id, fmt.Errorf("it holds record %s, which belongs elsewhere", r.ID))
	}
	var sum []byte
	if err := t.one("SELECT sha256 FROM records WHERE bench = ? AND seq = ?", []any{id.Bench, id.Seq}, &sum); err != nil && !errors.Is(err, sql.ErrNoRows) {
		return nil, err
	}
	if hex.EncodeToString(sum) != r.Hash {
		return nil, damaged(id, errors.New("record.json was changed: its hash is not the one kept beside it"))
	}
	for name, sum := range partsByName(parts) {
		data, err := t.part(sum)
		if err != nil {
			return nil, damaged(id, fmt.Errorf("its %s: %w", name, err))
		}
		switch name {
		case tracePart:
			r.Trace = data
		case resultPart:
			r.Result = data
		case profilePart:
			r.Profile.Text = data
		}
	}
	for _, f := range parts.Files {
		data, err := t.part(f.SHA256)
		if err != nil {
			return nil, damaged(id, fmt.Errorf("its %s: %w", f.Name, err))
		}
		r.Files = append(r.Files, record.File{Name: f.Name, Data: data})
	}
	return r, nil
}

// partsByName are the parts that a record may lack, with their hashes.
func partsByName(p record.Parts) map[string]string {
	out := map[string]string{tracePart: p.Trace}
	if p.Result != "" {
		out[resultPart] = p.Result
	}
	if p.Profile != "" {
		out[profilePart] = p.Profile
	}
	return out
}

// part reads a part by its hash.
func (t *tx) part(sum string) ([]byte, error) {
	b, err := t.blob(unhex(sum))
	if err != nil {
		return nil, err
	}
	return b.original()
}

func (t *tx) blob(sum []byte) (*blob, error) {
	var size int64
	err := t.one("SELECT length(data) FROM blobs WHERE sha256 = ?", []any{sum}, &size)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return nil, errors.New("it is missing")
	case err != nil:
		return nil, err
	case size > maxPart:
		return nil, errors.New("it is too large")
	}
	b := blob{sum: [sha256.Size]byte(sum)}
	err = t.one("SELECT codec, bytes, data FROM blobs WHERE sha256 = ?", []any{sum}, &b.codec, &b.bytes, &b.data)
	if b.data == nil {
		b.data = []byte{} // SQLite gives none for empty ones, PostgreSQL takes none for NULL
	}
	return &b, err
}
