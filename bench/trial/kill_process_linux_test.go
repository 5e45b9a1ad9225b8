package trial_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"syscall"

	"golang.org/x/sys/unix"
)

var heldBy = regexp.MustCompile(`process (\d+)`)

// process is one that this test did not start itself. The kernel's handle for
// it never means another one, as its number could.
type process struct{ fd int }

// guardOf is the guard process that a bench's note names; nil while there is
// none, or when its main process holds the bench itself.
func guardOf(dir string, main int) *process {
	text, err := os.ReadFile(filepath.Join(dir, "supply"))
	if err != nil {
		return nil
	}
	m := heldBy.FindSubmatch(text)
	if m == nil {
		return nil
	}
	pid, err := strconv.Atoi(string(m[1]))
	if err != nil || pid == main {
		return nil
	}
	fd, err := unix.PidfdOpen(pid, 0)
	if err != nil {
		return nil
	}
	if name, err := os.ReadFile(fmt.Sprintf("/proc/%d/cmdline", pid)); err != nil || !bytes.Contains(name, []byte("\x00guard\x00")) {
		_ = unix.Close(fd)
		return nil
	}
	return &process{fd}
}

// signal sends one; to a process that has ended it does nothing.
func (p *process) signal(s syscall.Signal) error {
	if err := unix.PidfdSendSignal(p.fd, s, nil, 0); err != nil && !errors.Is(err, unix.ESRCH) {
		return err
	}
	return nil
}

// gone says that it has ended: its handle can then be read (pidfd_open(2)).
func (p *process) gone() bool {
	fds := []unix.PollFd{{Fd: int32(p.fd), Events: unix.POLLIN}}
	n, err := unix.Poll(fds, 0)
	return err == nil && n > 0
}

func (p *process) close() { _ = unix.Close(p.fd) }
