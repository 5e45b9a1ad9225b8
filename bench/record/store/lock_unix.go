//go:build unix

package store

import (
	"errors"
	"fmt"
	"os"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// lockFile takes a file's lock, which the kernel lets go of when its holder
// dies. wait 0 tries once; a lock held by another is errHeld.
func lockFile(path string, wait time.Duration) (unlock func(), err error) {
	f, err := lockedFile(path, wait)
	if err != nil {
		return nil, err
	}
	return func() { f.Close() }, nil
}

// lockedFile is the file itself, which is made when it is not there. Should it
// have been removed from under the lock, the new one of its name is taken.
func lockedFile(path string, wait time.Duration) (*os.File, error) {
	return lockedAs(path, wait, os.O_CREATE)
}

// standingLock is lockedFile of a file that is there: fs.ErrNotExist else. It
// tries once.
func standingLock(path string) (*os.File, error) { return lockedAs(path, 0, 0) }

func lockedAs(path string, wait time.Duration, flags int) (*os.File, error) {
	for end := time.Now().Add(wait); ; time.Sleep(2 * time.Millisecond) {
		f, err := os.OpenFile(path, os.O_RDWR|flags, 0o600)
		if err != nil {
			return nil, fmt.Errorf("store: the lock cannot be made; see who owns the store's folder: %w", err)
		}
		err = syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
		if err == nil {
			held, herr := f.Stat()
			named, nerr := os.Stat(path)
			if herr == nil && nerr == nil && os.SameFile(held, named) {
				return f, nil
			}
		}
		f.Close()
		if err != nil && !errors.Is(err, syscall.EWOULDBLOCK) && !errors.Is(err, syscall.EINTR) {
			return nil, fmt.Errorf("store: %s cannot be locked: %w", path, err)
		}
		if time.Now().After(end) {
			return nil, fmt.Errorf("store: %s: %w", path, errHeld)
		}
	}
}

// free is how much room a disk has for this user, in bytes.
func free(folder string) (int64, error) {
	var s unix.Statfs_t
	if err := unix.Statfs(folder, &s); err != nil {
		return 0, err
	}
	return int64(s.Bavail) * int64(s.Bsize), nil
}

// fileWritable says whether a file and its folder can be written.
func fileWritable(path string) bool {
	return unix.Access(path, unix.W_OK) == nil && unix.Access(folderOf(path), unix.W_OK) == nil
}
