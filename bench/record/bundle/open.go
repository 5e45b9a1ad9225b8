package bundle

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
)

// Bundle is an open bundle, of which nothing is believed yet but its form.
type Bundle struct {
	path  string
	size  int64
	r     io.ReaderAt
	close func() error
	zip   *zip.Reader
	older int // heads from earlier
	// folders are the records, in their order.
	folders []folder
}

// folder is the entries of one record.
type folder struct {
	seq   int
	files map[string]*zipFile // by their names in it
	order []string
}

// zipFile is an entry.
type zipFile = zip.File

// part is one file that a record vouches for; bytes is -1 where record.json
// does not say.
type part struct {
	name, sum string
	bytes     int64
}

// Open opens a bundle's file. What has not the form of a bundle is an error,
// whatever it holds.
func Open(path string) (*Bundle, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("bundle: it cannot be opened: %w", err)
	}
	info, err := f.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = errors.New("it is no file")
	}
	if err != nil {
		f.Close()
		return nil, fmt.Errorf("bundle: %s: %w", path, err)
	}
	b, err := read(f, info.Size())
	if err != nil {
		f.Close()
		return nil, fmt.Errorf("bundle: %s is no bundle as dutybench makes them, or was damaged: %w; have it sent again", path, err)
	}
	b.path, b.close = filepath.Base(path), f.Close
	return b, nil
}

// Close lets the file go.
func (b *Bundle) Close() error { return b.close() }

// read looks at the form: names, their order, sizes and methods.
func read(r io.ReaderAt, size int64) (*Bundle, error) {
	if err := readEnd(r, size); err != nil {
		return nil, err
	}
	z, err := zip.NewReader(r, size)
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) { // names are looked at below
		return nil, err
	}
	b := &Bundle{path: "bundle", size: size, r: r, close: func() error { return nil }, zip: z}
	if len(z.File) > maxEntries {
		return nil, errors.New("it holds too many files")
	}
	var total uint64
	seen := map[string]bool{}
	for _, f := range z.File {
		lower := strings.ToLower(f.Name)
		if seen[lower] {
			return nil, fmt.Errorf("%.80q is in it twice, or but for the case of letters", f.Name)
		}
		seen[lower] = true
		if total += f.UncompressedSize64; f.UncompressedSize64 > maxTotal || total > maxTotal {
			return nil, fmt.Errorf("unpacked it would take more than %d bytes", int64(maxTotal))
		}
		if f.CompressedSize64 > uint64(size) {
			return nil, fmt.Errorf("%.80q would be larger than the bundle", f.Name)
		}
	}
	return b, b.layout()
}

// layout goes through the entries, which must be those of the package comment
// in their order.
func (b *Bundle) layout() error {
	rest := b.zip.File
	for _, name := range []string{readmeFile, headFile, keysFile} {
		if len(rest) == 0 || rest[0].Name != name {
			return fmt.Errorf("%s is not where it belongs", name)
		}
		if err := fits(rest[0], maxText); err != nil {
			return err
		}
		rest = rest[1:]
	}
	for len(rest) > 1 && b.older < maxOlder && rest[0].Name == olderName(b.older, headFile) && rest[1].Name == olderName(b.older, proofFile) {
		if err := errors.Join(fits(rest[0], maxText), fits(rest[1], maxText)); err != nil {
			return err
		}
		b.older++
		rest = rest[2:]
	}
	for _, f := range rest {
		seq, what, ok := recordOf(f.Name)
		if !ok {
			return fmt.Errorf("%.80q has no place in a bundle", f.Name)
		}
		if err := fits(f, most(what)); err != nil {
			return err
		}
		last := len(b.folders) - 1
		if last < 0 || b.folders[last].seq != seq {
			if last >= 0 && b.folders[last].seq > seq {
				return fmt.Errorf("%s is not where it belongs", f.Name)
			}
			b.folders = append(b.folders, folder{seq: seq, files: map[string]*zipFile{}})
			last++
		}
		b.folders[last].files[what] = f
		b.folders[last].order = append(b.folders[last].order, what)
	}
	if len(b.folders) == 0 {
		return errors.New("it holds no records")
	}
	return nil
}

// fits checks what an entry says of itself: its method, and its size before a
// byte is unpacked.
func fits(f *zipFile, most int64) error {
	method := zip.Store
	if deflated(f.Name) {
		method = zip.Deflate
	}
	switch {
	case f.Method != method || f.Flags != 0:
		return fmt.Errorf("%s is not packed as in a bundle", f.Name)
	case f.UncompressedSize64 > uint64(most):
		return fmt.Errorf("%s would take %d bytes; it may have %d", f.Name, f.UncompressedSize64, most)
	case method == zip.Store && f.CompressedSize64 != f.UncompressedSize64:
		return fmt.Errorf("%s has two sizes", f.Name)
	}
	return nil
}

// bytes is an entry's content.
func (b *Bundle) bytes(f *zipFile) ([]byte, error) {
	var out bytes.Buffer
	if err := unpack(f, &out); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

// sum is the SHA-256 of an entry's content, in hex.
func (b *Bundle) sum(f *zipFile) (string, error) {
	h := sha256.New()
	if err := unpack(f, h); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

func sumOf(data []byte) string {
	h := sha256.Sum256(data)
	return hex.EncodeToString(h[:])
}

// twins refuses names that fall together on a file system that does not tell
// large letters from small.
func twins(parts []part) error {
	seen := map[string]bool{}
	for _, p := range parts {
		lower := strings.ToLower(p.name)
		if seen[lower] {
			return fmt.Errorf("two of its files are named %s but for the case of letters, so it cannot be unpacked everywhere", p.name)
		}
		seen[lower] = true
	}
	return nil
}
