package ledger

import (
	"crypto/ed25519"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/mod/sumdb/note"
)

// Key signs heads. Its name is the bench's origin, or that of who
// countersigns.
type Key struct {
	signer   note.Signer
	verifier string // the public key
	private  string
}

// NewKey makes a key under a name: Origin of a bench, or letters, digits and
// ._-/@ for who countersigns.
func NewKey(name string) (Key, error) {
	if !isName(name) {
		return Key{}, fmt.Errorf("ledger: %.80q cannot name a key; use letters, digits and ._-/@, 64 at most", name)
	}
	private, public, err := note.GenerateKey(rand.Reader, name)
	if err != nil {
		return Key{}, fmt.Errorf("ledger: no key can be made for %q: %w", name, err)
	}
	signer, err := note.NewSigner(private)
	if err != nil {
		return Key{}, fmt.Errorf("ledger: no key can be made for %q: %w", name, err)
	}
	return Key{signer, public, private}, nil
}

// Name is whose key it is.
func (k Key) Name() string { return k.signer.Name() }

// Public is the verifier key, one line for others to keep.
func (k Key) Public() string { return k.verifier }

// Sign makes the head of a log.
func (k Key) Sign(bench string, size int64, root Hash) (Head, error) {
	if k.signer == nil || k.Name() != Origin(bench) {
		return Head{}, fmt.Errorf("ledger: the log of bench %s cannot be signed without its key", bench)
	}
	signed, err := note.Sign(&note.Note{Text: text(bench, size, root)}, k.signer)
	if err != nil {
		return Head{}, fmt.Errorf("ledger: the head cannot be signed: %w", err)
	}
	return Head{Bench: bench, Size: size, Root: root, Signed: signed, By: []string{k.Name()}}, nil
}

// Countersign adds the key's signature to a head that its own bench signed.
// Other countersignatures stay as they are.
func (k Key) Countersign(h Head, benchKey string) (Head, error) {
	if k.signer == nil || k.Name() == Origin(h.Bench) {
		return Head{}, errors.New("ledger: a bench does not countersign its own log; use a key of your own")
	}
	if _, err := ParseHead(h.Signed, benchKey); err != nil {
		return Head{}, fmt.Errorf("ledger: the head is not countersigned: %w", err)
	}
	v, err := verifier(benchKey)
	if err != nil {
		return Head{}, err
	}
	n, err := note.Open(h.Signed, note.VerifierList(v))
	if err != nil {
		return Head{}, fmt.Errorf("ledger: the head is not countersigned, its own signature does not hold: %w", err)
	}
	signed, err := note.Sign(n, k.signer)
	if err != nil {
		return Head{}, fmt.Errorf("ledger: the head cannot be countersigned: %w", err)
	}
	return ParseHead(signed, benchKey, k.verifier)
}

// Save writes the private key to a new file that its owner alone may read,
// and the public key beside it, with .pub at the end. Both are on the disk
// when it returns; on an error neither is there.
func (k Key) Save(path string) error {
	if k.signer == nil {
		return errors.New("ledger: there is no key to keep")
	}
	if err := writeNew(path, k.private+"\n", 0o600); err != nil {
		return fmt.Errorf("ledger: the key is not kept: %w", err)
	}
	if err := writeNew(path+".pub", k.verifier+"\n", 0o644); err != nil {
		return fmt.Errorf("ledger: the key is not kept, its public half cannot be written: %w", errors.Join(err, os.Remove(path)))
	}
	return nil
}

// writeNew makes a file that is on the disk when it returns, or none.
func writeNew(path, text string, mode fs.FileMode) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
	if err != nil {
		return err
	}
	_, err = f.WriteString(text)
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err == nil {
		err = syncFolder(filepath.Dir(path))
	}
	if err != nil {
		return errors.Join(err, os.Remove(path))
	}
	return nil
}

func syncFolder(path string) error {
	d, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// maxKeyFile bounds a key file, in bytes; one holds about 130.
const maxKeyFile = 4096

// LoadKey reads a private key. A file that others than its owner may read is
// refused: what they could have copied proves nothing.
func LoadKey(path string) (Key, error) {
	info, err := os.Lstat(path)
	if err != nil {
		return Key{}, fmt.Errorf("ledger: the key cannot be read: %w", err)
	}
	if !info.Mode().IsRegular() {
		return Key{}, fmt.Errorf("ledger: %s is no key file", path)
	}
	f, err := os.Open(path)
	if err != nil {
		return Key{}, fmt.Errorf("ledger: the key cannot be read: %w", err)
	}
	defer f.Close()
	// What was opened counts, not what lay there a moment before.
	if info, err = f.Stat(); err != nil {
		return Key{}, fmt.Errorf("ledger: the key cannot be read: %w", err)
	}
	switch {
	case !info.Mode().IsRegular(), info.Size() > maxKeyFile:
		return Key{}, fmt.Errorf("ledger: %s is no key file", path)
	case info.Mode().Perm()&0o077 != 0:
		return Key{}, fmt.Errorf("ledger: others than its owner may read the key %s; do chmod 600, and think about who may have copied it", path)
	}
	data, err := io.ReadAll(io.LimitReader(f, maxKeyFile))
	if err != nil {
		return Key{}, fmt.Errorf("ledger: the key cannot be read: %w", err)
	}
	private := strings.TrimSpace(string(data))
	if !strings.HasPrefix(private, "PRIVATE+") {
		return Key{}, fmt.Errorf("ledger: %s holds no private key; name the file without .pub, or bring it back from a copy", path)
	}
	signer, err := note.NewSigner(private)
	if err != nil {
		return Key{}, fmt.Errorf("ledger: %s is damaged; bring it back from a copy: %w", path, err)
	}
	public, err := publicOf(private)
	if err != nil {
		return Key{}, fmt.Errorf("ledger: %s is damaged; bring it back from a copy: %w", path, err)
	}
	if _, err := verifier(public); err != nil {
		return Key{}, fmt.Errorf("ledger: %s is damaged; bring it back from a copy: %w", path, err)
	}
	return Key{signer, public, private}, nil
}

// publicOf derives the verifier key from a private one.
func publicOf(private string) (string, error) {
	seed, err := seedOf(private)
	if err != nil {
		return "", err
	}
	public, ok := ed25519.NewKeyFromSeed(seed).Public().(ed25519.PublicKey)
	if !ok {
		return "", errors.New("it has no public half")
	}
	return note.NewEd25519VerifierKey(strings.SplitN(private, "+", 5)[2], public)
}
