package record

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// Dir is a store in a folder. Its methods may be called from several
// goroutines and several processes at once.
type Dir struct {
	path string
	// fail is asked before every change on the disk, in tests; nil otherwise.
	fail func(what string) error
}

// Open gives the store in a folder, which is made when it is not there.
func Open(path string) (*Dir, error) {
	if strings.Contains(path, "://") {
		return nil, fmt.Errorf("record: %s names a database; database stores come later, give a folder", redact(path))
	}
	if path == "" {
		return nil, errors.New("record: the store's folder has no name; give one with --store DIR")
	}
	for _, sub := range []string{"records", "tmp", "pages"} {
		if err := os.MkdirAll(filepath.Join(path, sub), 0o755); err != nil {
			return nil, fmt.Errorf("record: the store cannot be made in %s; give another folder with --store DIR: %w", path, err)
		}
	}
	return &Dir{path: path}, nil
}

// redact hides a password in an address.
func redact(address string) string {
	scheme, rest, _ := strings.Cut(address, "://")
	if i := strings.LastIndexByte(rest, '@'); i >= 0 {
		rest = "…" + rest[i:]
	}
	return scheme + "://" + rest
}

// Location is where records live: what --store says, else DUTYBENCH_STORE,
// else a folder in the user's data directory (XDG_DATA_HOME, else
// ~/.local/share).
func Location(flag string, getenv func(string) string) (string, error) {
	if flag != "" {
		return flag, nil
	}
	if s := getenv("DUTYBENCH_STORE"); s != "" {
		return s, nil
	}
	// A relative XDG_DATA_HOME is to be ignored (XDG Base Directory
	// Specification, from memory).
	if s := getenv("XDG_DATA_HOME"); filepath.IsAbs(s) {
		return filepath.Join(s, "dutybench"), nil
	}
	if s := getenv("HOME"); filepath.IsAbs(s) {
		return filepath.Join(s, ".local", "share", "dutybench"), nil
	}
	return "", errors.New("record: there is no home folder to keep records in; give a folder with --store DIR or DUTYBENCH_STORE")
}

// Path is the store's folder.
func (d *Dir) Path() string { return d.path }

// Folder is where a record lies.
func (d *Dir) Folder(id ID) string { return d.folder(id.Seq) }

// PagePath is where a record's page for people belongs.
func (d *Dir) PagePath(id ID) string { return filepath.Join(d.path, "pages", id.String()+".html") }

func (d *Dir) folder(seq int) string {
	return filepath.Join(d.path, "records", fmt.Sprintf("%06d", seq))
}

// bench is bench.json.
type bench struct {
	Format int    `json:"format"`
	Bench  string `json:"bench"`
}

// head is head.json: the last record.
type head struct {
	Format int       `json:"format"`
	Seq    int       `json:"seq"`
	Hash   string    `json:"hash"`
	When   time.Time `json:"when"`
}

const (
	keyLength = 10
	// keyLetters leaves out those that look like others.
	keyLetters = "0123456789abcdefghjkmnpqrstvwxyz"
)

func isKey(s string) bool {
	return len(s) == keyLength && strings.Trim(s, keyLetters) == ""
}

func newKey() string {
	var b [keyLength]byte
	_, _ = rand.Read(b[:]) // never fails (crypto/rand)
	for i := range b {
		b[i] = keyLetters[int(b[i])%len(keyLetters)]
	}
	return string(b[:])
}

// Key is the bench's key; empty when no record has been put yet.
func (d *Dir) Key() (string, error) {
	data, err := readFile(filepath.Join(d.path, "bench.json"), maxBody)
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	if err != nil {
		return "", fmt.Errorf("record: the bench's key cannot be read: %w", err)
	}
	var b bench
	if err := decode(data, &b); err != nil || b.Format != Format || !isKey(b.Bench) {
		return "", fmt.Errorf("record: %s is damaged; bring it back from a copy, any record of this store names the key", filepath.Join(d.path, "bench.json"))
	}
	return b.Bench, nil
}

// readHead reads head.json; zero when there is none.
func (d *Dir) readHead() (head, error) {
	data, err := readFile(filepath.Join(d.path, "head.json"), maxBody)
	if errors.Is(err, fs.ErrNotExist) {
		return head{}, nil
	}
	if err != nil {
		return head{}, err
	}
	var h head
	if err := decode(data, &h); err != nil {
		return head{}, err
	}
	if h.Format != Format || h.Seq < 1 || h.Seq > maxSeq || !isHash(h.Hash) {
		return head{}, errors.New("it does not name a record")
	}
	return h, nil
}

// numbers lists the records' numbers in rising order, and the names of what
// else lies among them.
func (d *Dir) numbers() (seqs []int, strange []string, err error) {
	entries, err := os.ReadDir(filepath.Join(d.path, "records"))
	if err != nil {
		return nil, nil, fmt.Errorf("record: the store cannot be listed: %w", err)
	}
	for _, e := range entries {
		id, err := ParseID(e.Name())
		if err != nil || id.Bench != "" || !e.IsDir() || filepath.Base(d.folder(id.Seq)) != e.Name() {
			strange = append(strange, e.Name())
			continue
		}
		seqs = append(seqs, id.Seq)
	}
	slices.Sort(seqs)
	return seqs, strange, nil
}
