package folder

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"dutybench/bench/record"
	"dutybench/bench/result"
)

// The files of a record.
const (
	bodyFile    = "record.json"
	sumFile     = "record.sha256"
	traceFile   = "trace.csv"
	profileFile = "profile.toml"
	resultFile  = "result.json"
)

const (
	maxBody = 1 << 20 // bytes of record.json
	maxFile = 1 << 30 // bytes of a trace; a minute at 20 kHz takes 100 MB
)

func hash(data []byte) string {
	h := sha256.Sum256(data)
	return hex.EncodeToString(h[:])
}

// readFile reads a regular file of at most so many bytes; a link or a device
// is refused, so that a store from elsewhere cannot point out of itself.
func readFile(path string, most int64) ([]byte, error) {
	info, err := os.Lstat(path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s is no regular file", filepath.Base(path))
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, most+1))
	if err != nil {
		return nil, err
	}
	if int64(len(data)) > most {
		return nil, fmt.Errorf("%s is larger than %d bytes", filepath.Base(path), most)
	}
	return data, nil
}

// body reads a record's record.json and checks it against the hash that lies
// beside it.
func (s *Store) body(seq int) ([]byte, error) {
	data, err := readFile(filepath.Join(s.folder(seq), bodyFile), maxBody)
	if err != nil {
		return nil, clause(err)
	}
	line, err := readFile(filepath.Join(s.folder(seq), sumFile), maxBody)
	if err != nil {
		return nil, clause(err)
	}
	if !bytes.Equal(line, []byte(hash(data)+"  "+bodyFile+"\n")) {
		return nil, errors.New("record.json was changed: its hash is not the one kept beside it")
	}
	return data, nil
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
func (s *Store) read(seq int) (*record.Record, []byte, error) {
	if info, err := os.Lstat(s.folder(seq)); err != nil || !info.IsDir() {
		return nil, nil, fs.ErrNotExist
	}
	body, err := s.body(seq)
	if err != nil {
		return nil, nil, err
	}
	e, _, _, err := record.Examine(body)
	if err != nil {
		return nil, nil, err
	}
	r, parts, err := record.Unseal(body)
	switch {
	case err != nil:
		return nil, nil, err
	case r.ID.Seq != seq:
		return nil, nil, fmt.Errorf("it holds record %06d, which belongs elsewhere", r.ID.Seq)
	case len(parts.Files) > 0:
		return nil, nil, errors.New("it names files, which this form does not have")
	}
	if err := s.files(seq, r, parts); err != nil {
		return nil, nil, err
	}
	if r.Result != nil {
		var v result.Result
		if err := json.Unmarshal(r.Result, &v); err != nil || v.Verdict != e.Verdict || (v.Cause == nil) != (e.Cause == "") || v.Cause != nil && *v.Cause != e.Cause {
			return nil, nil, errors.New("its verdict is not the one in result.json")
		}
	}
	return r, body, nil
}

// files reads what belongs to a record, and refuses what does not.
func (s *Store) files(seq int, r *record.Record, parts record.Parts) error {
	known := map[string]bool{bodyFile: true, sumFile: true}
	for _, f := range []struct {
		name, sum string
		into      *[]byte
	}{
		{traceFile, parts.Trace, &r.Trace}, {profileFile, parts.Profile, &r.Profile.Text}, {resultFile, parts.Result, &r.Result},
	} {
		if f.sum == "" {
			continue
		}
		known[f.name] = true
		data, err := readFile(filepath.Join(s.folder(seq), f.name), maxFile)
		if err != nil {
			return clause(err)
		}
		if hash(data) != f.sum {
			return fmt.Errorf("%s was changed: its hash is not the one in record.json", f.name)
		}
		*f.into = data
	}
	entries, err := os.ReadDir(s.folder(seq))
	if err != nil {
		return err
	}
	for _, e := range entries {
		if !known[e.Name()] {
			return fmt.Errorf("%q lies in its folder and does not belong to it", e.Name())
		}
	}
	return nil
}
