//go:build unix

package record

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"time"
)

// lockWait is how long Put waits for another one to finish.
const lockWait = 30 * time.Second

// lock keeps other writers out, in this process and in others. The kernel
// lets go of it when its holder dies, so no stale lock stays.
func (d *Dir) lock() (unlock func(), err error) {
	f, err := os.OpenFile(filepath.Join(d.path, "lock"), os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, problem(err)
	}
	for end := time.Now().Add(lockWait); ; time.Sleep(2 * time.Millisecond) {
		err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
		if err == nil {
			return func() { f.Close() }, nil
		}
		busy := errors.Is(err, syscall.EWOULDBLOCK) || errors.Is(err, syscall.EINTR)
		if busy && time.Now().Before(end) {
			continue
		}
		f.Close()
		if busy {
			return nil, fmt.Errorf("record: another program has held the store %s for %v; end it and try again", d.path, lockWait)
		}
		return nil, problem(err)
	}
}
