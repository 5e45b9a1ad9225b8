package bundle

import (
	"archive/zip"
	"bufio"
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"dutybench/bench/record"
	"dutybench/bench/record/ledger"
)

// Options are what else a bundle holds.
type Options struct {
	// Older are heads from earlier that the log is to be proved to extend. One
	// that is signed keeps its signatures.
	Older []ledger.Head
	// Keys are the public keys of who countersigned them.
	Keys []string
	// Progress, when not nil, is told how many records are in.
	Progress func(done, of int)
}

// Save writes a bundle to a file: whole, and on the disk when it returns, or
// not at all. A file that is there already stays, and is an error.
func Save(path string, s Source, ids []record.ID, o Options) (err error) {
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("bundle: %s is there already; name another file, or take it away first", path)
	}
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*")
	if err != nil {
		return fmt.Errorf("bundle: %s cannot be written; check its folder: %w", path, err)
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}()
	b := bufio.NewWriterSize(f, 1<<16)
	if err := Write(b, s, ids, o); err != nil {
		return err
	}
	if err := errors.Join(b.Flush(), f.Chmod(0o644), f.Sync(), f.Close(), settle(f.Name(), path)); err != nil {
		return fmt.Errorf("bundle: %s was not written; check its folder and free space: %w", path, err)
	}
	return nil
}

// settle gives a file its name. Unlike a rename alone, a link does not write
// over a file that came meanwhile.
func settle(tmp, path string) error {
	err := os.Link(tmp, path)
	switch {
	case err == nil:
		err = os.Remove(tmp)
	case !errors.Is(err, fs.ErrExist): // the file system has no links
		err = os.Rename(tmp, path)
	}
	if err != nil {
		return err
	}
	d, err := os.Open(filepath.Dir(path))
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// Write writes the bundle of some records of one bench. Everything is checked
// on the way: from a damaged store there is an error that names the record.
func Write(w io.Writer, s Source, ids []record.ID, o Options) error {
	ids, err := sorted(ids)
	if err != nil {
		return err
	}
	k, err := take(s, ids[0].Bench, o)
	if err != nil {
		return err
	}
	z := &writer{zip: zip.NewWriter(w)}
	z.add(readmeFile, []byte(readme))
	z.add(headFile, k.head.Signed)
	z.add(keysFile, []byte(strings.Join(k.keys, "\n")+"\n"))
	for i, h := range k.older {
		text := h.Signed
		if text == nil {
			text = []byte(h.String() + "\n")
		}
		z.add(olderName(i, headFile), text)
		z.add(olderName(i, proofFile), extensionText(k.proofs[i]))
	}
	for i, id := range ids {
		if err := z.record(s, id, k.head); err != nil {
			return err
		}
		if o.Progress != nil {
			o.Progress(i+1, len(ids))
		}
	}
	if err := errors.Join(z.err, z.zip.Close()); err != nil {
		return fmt.Errorf("bundle: it cannot be written: %w", err)
	}
	return nil
}

// sorted brings the records into their order, each once.
func sorted(ids []record.ID) ([]record.ID, error) {
	if len(ids) == 0 {
		return nil, errors.New("bundle: there is no record to put into it; name some")
	}
	ids = slices.Clone(ids)
	slices.SortFunc(ids, func(a, b record.ID) int { return cmp.Compare(a.Seq, b.Seq) })
	ids = slices.Compact(ids)
	for _, id := range ids {
		if id.Bench == "" || id.Bench != ids[0].Bench {
			return nil, fmt.Errorf("bundle: %s and %s are of two benches, which have two logs; make a bundle for each", ids[0], id)
		}
	}
	return ids, nil
}

// log is what a bundle says of the log itself.
type log struct {
	head   ledger.Head
	keys   []string
	older  []ledger.Head
	proofs []ledger.Proof
}

// take reads the log's head and proves the older ones.
func take(s Source, bench string, o Options) (*log, error) {
	key, err := s.Key(bench)
	if err != nil {
		return nil, err
	}
	k := &log{keys: []string{strings.TrimSpace(key)}}
	for _, other := range o.Keys {
		if _, err := ledger.KeyName(other); err != nil {
			return nil, err
		}
		if other = strings.TrimSpace(other); !slices.Contains(k.keys, other) {
			k.keys = append(k.keys, other)
		}
	}
	head, err := s.Head(bench)
	if err != nil {
		return nil, err
	}
	if k.head, err = ledger.ParseHead(head.Signed, k.keys...); err != nil {
		return nil, fmt.Errorf("bundle: the store's head is damaged; verify the store: %w", err)
	}
	if len(o.Older) > maxOlder {
		return nil, fmt.Errorf("bundle: it can hold %d older heads at most; name the newest of those that were kept", maxOlder)
	}
	hashes := s.Hashes(bench)
	for _, h := range o.Older {
		if h.Signed != nil {
			if h, err = ledger.ParseHead(h.Signed, k.keys...); err != nil {
				return nil, err
			}
		}
		var p ledger.Proof
		if h.Size < k.head.Size {
			if p, err = ledger.Extension(h.Size, k.head.Size, hashes); err != nil {
				return nil, err
			}
		}
		if err := ledger.CheckExtension(k.head, h, p); err != nil {
			return nil, err
		}
		k.older, k.proofs = append(k.older, h), append(k.proofs, p)
	}
	return k, nil
}

// writer writes entries until one fails.
type writer struct {
	zip     *zip.Writer
	entries int
	total   int64
	err     error
}

func (z *writer) add(name string, data []byte) {
	if z.err != nil {
		return
	}
	z.entries++
	z.total += int64(len(data))
	if z.entries > maxEntries || z.total > maxTotal {
		z.err = fmt.Errorf("there is too much for one; make several with fewer records (a bundle holds %d files and %d bytes at most)", maxEntries, int64(maxTotal))
		return
	}
	z.err = add(z.zip, name, data)
}

// record adds one record with its proof.
func (z *writer) record(s Source, id record.ID, h ledger.Head) error {
	damaged := func(err error) error {
		return fmt.Errorf("bundle: %s is not put in, its store is damaged; verify it: %w", id, err)
	}
	r, err := s.Get(id)
	if err != nil {
		return err
	}
	body, err := s.Body(id)
	if err != nil {
		return err
	}
	if int64(id.Seq) > h.Size {
		return fmt.Errorf("bundle: %s came after the head of %d records was read; try again", id, h.Size)
	}
	p, err := ledger.Inclusion(h.Size, id.Seq, s.Hashes(id.Bench))
	if err != nil {
		return damaged(err)
	}
	if err := ledger.CheckInclusion(h, id.Seq, body, p); err != nil {
		return damaged(err)
	}
	proof, err := inclusionText(h.Size, id.Seq, p)
	if err != nil {
		return damaged(err)
	}
	_, parts, err := record.Unseal(body)
	if err != nil {
		return damaged(err)
	}
	content := []part{{traceFile, parts.Trace, -1}, {profileFile, parts.Profile, -1}, {resultFile, parts.Result, -1}}
	data := [][]byte{r.Trace, r.Profile.Text, r.Result}
	if len(parts.Files) != len(r.Files) {
		return damaged(errors.New("its files are not those that it names"))
	}
	for i, f := range parts.Files {
		if f.Name != r.Files[i].Name {
			return damaged(errors.New("its files are not those that it names"))
		}
		content, data = append(content, part{filesFolder + f.Name, f.SHA256, int64(f.Bytes)}), append(data, r.Files[i].Data)
	}
	if err := twins(content); err != nil {
		return fmt.Errorf("bundle: %s: %w", id, err)
	}
	z.add(recordName(id.Seq, bodyFile), body)
	z.add(recordName(id.Seq, proofFile), proof)
	for i, c := range content {
		if c.sum == "" {
			continue
		}
		if int64(len(data[i])) > most(c.name) {
			return fmt.Errorf("bundle: %s of %s is larger than the %d bytes that a bundle takes", c.name, id, most(c.name))
		}
		if sumOf(data[i]) != c.sum {
			return damaged(fmt.Errorf("%s is not the one that it names", c.name))
		}
		z.add(recordName(id.Seq, c.name), data[i])
	}
	return nil
}
