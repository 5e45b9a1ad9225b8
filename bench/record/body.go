package record

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"
)

const (
	maxSeq  = 999_999_999
	maxBody = 1 << 20 // bytes of record.json
)

// hash is sha256 in hex.
func hash(data []byte) string {
	h := sha256.Sum256(data)
	return hex.EncodeToString(h[:])
}

// encode writes any of the store's JSON files: the one form of its content.
func encode(v any) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(v); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// decode reads a file that encode wrote and refuses every other form: unknown
// or doubled keys, other spelling, other blanks, anything after the end.
func decode(data []byte, v any) error {
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return err
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return errors.New("something follows its end")
	}
	again, err := encode(v)
	if err != nil {
		return err
	}
	if !bytes.Equal(again, data) {
		return errors.New("it is not written the way the bench writes it")
	}
	return nil
}

// settle gives v the one form that its JSON comes back in (text that is not
// UTF-8 is replaced, times are cut to what JSON keeps).
func settle[T any](v T) (T, []byte, error) {
	var out T
	first, err := encode(v)
	if err != nil {
		return out, nil, err
	}
	if err := json.Unmarshal(first, &out); err != nil {
		return out, nil, err
	}
	data, err := encode(out)
	if err != nil {
		return out, nil, err
	}
	return out, data, decode(data, new(T))
}

// parseBody reads a record.json strictly.
func parseBody(data []byte) (*body, error) {
	if len(data) > maxBody {
		return nil, fmt.Errorf("record.json is larger than %d bytes", maxBody)
	}
	var b body
	if err := decode(data, &b); err != nil {
		return nil, fmt.Errorf("record.json cannot be read: %w", err)
	}
	switch {
	case b.Format < 1 || b.Format > Format:
		return nil, fmt.Errorf("record.json has format %d; this program reads formats 1 to %d", b.Format, Format)
	case !IsKey(b.Bench), b.Seq < 1, b.Seq > maxSeq:
		return nil, errors.New("record.json does not name its bench and number")
	case b.Previous != "" && !isHash(b.Previous), b.Seq == 1 && b.Previous != "":
		return nil, errors.New("record.json does not name the record before it")
	case !isHash(b.Trace), b.Result != "" && !isHash(b.Result), b.Profile.SHA256 != "" && !isHash(b.Profile.SHA256):
		return nil, errors.New("record.json does not hold the hashes of its files")
	}
	for i, f := range b.Files {
		if !IsFileName(f.Name) || f.Bytes < 0 || !isHash(f.SHA256) || i > 0 && f.Name <= b.Files[i-1].Name {
			return nil, errors.New("record.json does not name its files in order")
		}
	}
	return &b, nil
}

// IsFileName says whether a file of a record may have this name: letters,
// digits, dot, hyphen and underscore, no dot first, 64 at most.
func IsFileName(s string) bool {
	for _, r := range s {
		if !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '.' || r == '-' || r == '_') {
			return false
		}
	}
	return s != "" && s[0] != '.' && len(s) <= 64
}

func isHash(s string) bool {
	b, err := hex.DecodeString(s)
	return err == nil && len(b) == sha256.Size && hex.EncodeToString(b) == s
}

// bodyOf is the content of a record, but for its place in the chain.
func bodyOf(r *Record) (body, error) {
	verdict, cause, err := verdictOf(r.Result)
	if err != nil {
		return body{}, err
	}
	b := body{
		Format: Format, When: r.When.UTC().Truncate(time.Millisecond), ClockDoubt: r.ClockDoubt,
		Purpose: r.Purpose, Program: r.Program, Rig: r.Rig, Calibration: r.Calibration,
		Profile: bodyProfile{r.Profile.Name, r.Profile.Revision, r.Profile.SHA256},
		At:      r.At, Verdict: verdict, Cause: cause, Trace: hash(r.Trace), Interrupted: r.Interrupted, Cancelled: r.Cancelled,
	}
	if b.Calibration == "" {
		b.Calibration = NoCalibration
	}
	if b.Rig.Facts == nil {
		b.Rig.Facts = []Fact{}
	}
	if r.Result != nil {
		b.Result = hash(r.Result)
	}
	if b.Files, err = filesOf(r.Files); err != nil {
		return b, err
	}
	if r.Workshop != (Workshop{}) {
		b.Workshop = &r.Workshop
	}
	if r.Profile.Text == nil {
		if b.Profile.SHA256 != "" {
			return b, errors.New("record: the profile's text is missing; give it with its hash")
		}
		return b, nil
	}
	text := hash(r.Profile.Text)
	if b.Profile.SHA256 == "" {
		b.Profile.SHA256 = text
	}
	if b.Profile.SHA256 != text {
		return b, fmt.Errorf("record: the text of profile %q does not have the hash that it was judged by; load the profile again and repeat", r.Profile.Name)
	}
	return b, nil
}

// record is the content as a person's record, without its files.
func (b *body) record(sum string) *Record {
	r := &Record{
		ID: ID{b.Bench, b.Seq}, Hash: sum, Previous: b.Previous, When: b.When, ClockDoubt: b.ClockDoubt,
		Purpose: b.Purpose, Program: b.Program, Rig: b.Rig, Calibration: b.Calibration, At: b.At,
		Profile:     Profile{Name: b.Profile.Name, Revision: b.Profile.Revision, SHA256: b.Profile.SHA256},
		Interrupted: b.Interrupted, Cancelled: b.Cancelled,
	}
	if b.Workshop != nil {
		r.Workshop = *b.Workshop
	}
	return r
}

// filesOf names the files by their hashes, in the order of their names, and
// brings them into it.
func filesOf(files []File) ([]bodyFiles, error) {
	slices.SortFunc(files, func(a, b File) int { return cmp.Compare(a.Name, b.Name) })
	var out []bodyFiles
	for i, f := range files {
		if !IsFileName(f.Name) || i > 0 && f.Name == files[i-1].Name {
			return nil, fmt.Errorf("record: %q cannot name a file of a record, or names two; use letters, digits, dot and hyphen", f.Name)
		}
		out = append(out, bodyFiles{f.Name, len(f.Data), hash(f.Data)})
	}
	return out, nil
}
