package guard

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// markSize is the size of the note, so that one write replaces all of it.
const markSize = 96

// ErrBusy says that another program holds the bench.
var ErrBusy = errors.New("guard: another program drives this bench")

// Marker is a small file that says whether the supply is on, and since when.
// Whoever drives the bench holds a lock on it, so that two programs do not
// drive one; the guard process gets the file from the main process and the
// lock with it, which therefore lasts until both have ended. A note that says
// "on" and that nobody holds was left by a test that ended without switching
// off.
//
// It belongs in a folder that a restart empties: after one, the pins are as
// the board leaves them.
type Marker struct {
	f   *os.File
	on  [markSize]byte
	off [markSize]byte
	lit atomic.Bool
}

// sharedDir is where all users of a bench meet, when whoever installed the
// program has made it for their group.
const sharedDir = "/run/dutybench"

// StateDir is the folder for the marker: the one that all users of this bench
// share, so that one does not drive what another drives; else that for run-time
// files of the system's service, of this user, or of temporary files.
func StateDir(getenv func(string) string) string { return stateDir(sharedDir, getenv) }

func stateDir(shared string, getenv func(string) string) string {
	if unix.Access(shared, unix.W_OK|unix.X_OK) != nil {
		shared = ""
	}
	for _, dir := range []string{shared, getenv("RUNTIME_DIRECTORY"), getenv("XDG_RUNTIME_DIR")} {
		if dir == "" {
			continue
		}
		if i, err := os.Stat(dir); err == nil && i.IsDir() {
			return dir
		}
	}
	return os.TempDir()
}

// OpenMarker opens the marker of a bench, makes it when it is not there, and
// locks it. leftOver is what the last test left when it ended without
// switching off, empty else; Off clears it, after the supply is off. ErrBusy
// says that another program holds it.
func OpenMarker(path string) (m *Marker, leftOver string, err error) {
	return openMarker(path, filepath.Dir(path) == sharedDir)
}

// openMarker opens a marker; in a shared folder the whole group may take it.
func openMarker(path string, shared bool) (m *Marker, leftOver string, err error) {
	// Not through a link that somebody else laid in a folder for everybody.
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|syscall.O_NOFOLLOW, 0o644)
	if err != nil {
		return nil, "", fmt.Errorf("guard: the note of who drives the bench: %w: make its folder writable, or set XDG_RUNTIME_DIR", err)
	}
	if shared {
		_ = f.Chmod(0o664) // past the umask; only its owner can, and has
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		said := readMark(f)
		_ = f.Close()
		if errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, "", fmt.Errorf("%w (%s says: %s): wait for it to end, or end it", ErrBusy, filepath.Base(path), said)
		}
		return nil, "", fmt.Errorf("guard: locking %s: %w", path, err)
	}
	if said := readMark(f); strings.HasPrefix(said, "on ") {
		leftOver = said
	}
	return newMarker(f), leftOver, nil
}

// inherited is the marker that the main process has opened and locked.
func inherited(f *os.File) *Marker { return newMarker(f) }

func newMarker(f *os.File) *Marker {
	m := &Marker{f: f}
	fill(&m.off, fmt.Sprintf("off, held by process %d", os.Getpid()))
	return m
}

func fill(b *[markSize]byte, text string) {
	for i := range b {
		b[i] = ' '
	}
	copy(b[:markSize-1], text)
	b[markSize-1] = '\n'
}

func readMark(f *os.File) string {
	b := make([]byte, markSize)
	n, _ := f.ReadAt(b, 0)
	return strings.TrimSpace(string(b[:n]))
}

// On notes that the supply goes on; to be called before it does.
func (m *Marker) On() error {
	if m.lit.Load() {
		return nil
	}
	fill(&m.on, fmt.Sprintf("on since %s by process %d", time.Now().UTC().Format(time.RFC3339), os.Getpid()))
	_, err := m.f.WriteAt(m.on[:], 0)
	m.lit.Store(err == nil)
	return err
}

// Off notes that the supply is off; to be called when it is.
func (m *Marker) Off() error {
	_, err := m.f.WriteAt(m.off[:], 0)
	m.lit.Store(false)
	return err
}

// Close lets the bench go. The note is emptied when it says "off".
func (m *Marker) Close() error {
	var err error
	if strings.HasPrefix(readMark(m.f), "off") {
		err = m.f.Truncate(0)
	}
	return errors.Join(err, m.f.Close())
}
