package trial_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"unsafe"

	"golang.org/x/sys/unix"
)

// tracer follows a process through its system calls (ptrace(2)) and writes
// down, in their order, what it does to files below a folder and what it says.
// It sees what the kernel sees: nothing in the process knows of it.
type tracer struct {
	root  string // the folder, without links
	voice uint64 // the descriptor over which the process speaks

	events []event
	tick   int                // calls begun and ended so far
	sizes  map[int]int64      // of the files, as the process sees them
	open   map[uint64]*handle // the process's descriptors that matter
	inside map[int]*pending   // threads within a call that matters
	files  int                // how many were ever made
	names  map[string]int     // path in the folder to file
	err    error              // the first thing that it does not understand
}

// handle is an open descriptor.
type handle struct {
	file   int    // of events; -1 for a folder
	path   string // at the time of opening, below root
	append bool
}

// pending is a call that has begun and not ended.
type pending struct {
	nr   uint64
	args [6]uint64
	at   int    // tick when it began
	path string // of calls with names
	to   string
	mine int // the event that it made when it began; -1 when none
}

// errNoTrace says that this machine lets no process trace another.
var errNoTrace = errors.New("ptrace is forbidden here")

// traced runs a command to its end. Its descriptor 3 is where it speaks.
func traced(cmd *exec.Cmd, root string) ([]event, error) {
	runtime.LockOSThread() // ptrace knows threads, not processes
	defer runtime.UnlockOSThread()
	root, err := filepath.EvalSymlinks(root)
	if err != nil {
		return nil, err
	}
	sink, err := os.OpenFile(os.DevNull, os.O_WRONLY, 0)
	if err != nil {
		return nil, err
	}
	defer sink.Close()
	cmd.ExtraFiles = []*os.File{sink}
	cmd.SysProcAttr = &syscall.SysProcAttr{Ptrace: true}
	if err := cmd.Start(); err != nil {
		return nil, fmt.Errorf("%w: %w", errNoTrace, err)
	}
	pid := cmd.Process.Pid
	var ws unix.WaitStatus
	if _, err := unix.Wait4(pid, &ws, 0, nil); err != nil || !ws.Stopped() {
		return nil, fmt.Errorf("%w: the process did not stop: %v", errNoTrace, err)
	}
	const options = unix.PTRACE_O_TRACESYSGOOD | unix.PTRACE_O_TRACECLONE | unix.PTRACE_O_TRACEFORK | unix.PTRACE_O_TRACEVFORK | unix.PTRACE_O_EXITKILL
	if err := unix.PtraceSetOptions(pid, options); err != nil {
		return nil, fmt.Errorf("%w: %w", errNoTrace, err)
	}
	t := &tracer{root: root, voice: 3, open: map[uint64]*handle{}, inside: map[int]*pending{}, sizes: map[int]int64{}, names: map[string]int{"": -1}}
	if err := t.lay(); err != nil {
		return nil, err
	}
	known := map[int]bool{pid: true}
	if err := unix.PtraceSyscall(pid, 0); err != nil {
		return nil, err
	}
	for {
		tid, err := unix.Wait4(-1, &ws, unix.WALL|unix.WNOTHREAD, nil)
		switch {
		case errors.Is(err, unix.EINTR):
			continue
		case err != nil:
			return nil, err
		case tid == pid && (ws.Exited() || ws.Signaled()):
			_ = cmd.Process.Release()
			if t.err == nil && (!ws.Exited() || ws.ExitStatus() != 0) {
				t.err = fmt.Errorf("the traced process ended with status %#x", int(ws))
			}
			return t.events, t.err
		case !ws.Stopped():
			continue
		}
		signal := 0
		switch s := ws.StopSignal(); {
		case s == unix.SIGTRAP|0x80:
			t.call(tid)
		case s == unix.SIGSTOP && !known[tid]: // a new thread
		case s == unix.SIGTRAP: // the making of a thread
		default:
			signal = int(s)
		}
		known[tid] = true
		if err := unix.PtraceSyscall(tid, signal); err != nil && !errors.Is(err, unix.ESRCH) {
			return nil, err
		}
	}
}

// lay notes what lies in the folder before the process does anything, as on
// the disk.
func (t *tracer) lay() error {
	return filepath.WalkDir(t.root, func(at string, d os.DirEntry, err error) error {
		if err != nil || at == t.root {
			return err
		}
		e := event{kind: created, file: -1, path: strings.TrimPrefix(at, t.root+"/")}
		if !d.IsDir() {
			e.file = t.files
			t.files++
			data, err := os.ReadFile(at)
			if err != nil {
				return err
			}
			t.sizes[e.file] = int64(len(data))
			t.events = append(t.events, event{kind: wrote, file: e.file, path: e.path, data: data})
		}
		t.names[e.path] = e.file
		t.events = append(t.events, e)
		return nil
	})
}

// syscallInfo is struct ptrace_syscall_info (ptrace(2)); Data holds number and
// arguments on entry, result and a flag on exit.
type syscallInfo struct {
	Op   uint8
	_    [3]uint8
	Arch uint32
	IP   uint64
	SP   uint64
	Data [8]uint64
}

// call is a thread that has stopped before or behind a system call.
func (t *tracer) call(tid int) {
	var info syscallInfo
	const getSyscallInfo = 0x420e // PTRACE_GET_SYSCALL_INFO, Linux 5.3 and later
	_, _, errno := unix.Syscall6(unix.SYS_PTRACE, getSyscallInfo, uintptr(tid), unsafe.Sizeof(info), uintptr(unsafe.Pointer(&info)), 0, 0)
	t.tick++
	switch {
	case errno != 0:
		t.fail("PTRACE_GET_SYSCALL_INFO: %w", errno)
	case info.Op == 1:
		p := &pending{nr: info.Data[0], args: [6]uint64(info.Data[1:7]), at: t.tick, mine: -1}
		if t.enter(tid, p) {
			t.inside[tid] = p
		}
	case info.Op == 2:
		if p := t.inside[tid]; p != nil {
			delete(t.inside, tid)
			t.leave(p, int64(info.Data[0]))
		}
	}
}

func (t *tracer) fail(format string, args ...any) {
	if t.err == nil {
		t.err = fmt.Errorf("tracer: "+format, args...)
	}
}

// enter takes what must be read before the call, and says whether its end
// matters.
func (t *tracer) enter(tid int, p *pending) bool {
	a := p.args
	switch p.nr {
	case unix.SYS_OPEN:
		p.path = t.path(tid, a[0])
		p.args[2], p.args[1] = a[1], 0 // as openat has them
	case unix.SYS_OPENAT:
		p.path = t.pathAt(tid, a[0], a[1])
	case unix.SYS_UNLINK, unix.SYS_MKDIR, unix.SYS_RMDIR:
		p.path = t.path(tid, a[0])
	case unix.SYS_UNLINKAT, unix.SYS_MKDIRAT:
		p.path = t.pathAt(tid, a[0], a[1])
	case unix.SYS_RENAME:
		p.path, p.to = t.path(tid, a[0]), t.path(tid, a[1])
	case unix.SYS_RENAMEAT, unix.SYS_RENAMEAT2:
		p.path, p.to = t.pathAt(tid, a[0], a[1]), t.pathAt(tid, a[2], a[3])
	case unix.SYS_LINK, unix.SYS_SYMLINK:
		if path := t.path(tid, a[1]); path != "?" {
			t.fail("the link %s is none that it knows", path)
		}
		return false
	case unix.SYS_LINKAT, unix.SYS_SYMLINKAT:
		t.fail("links are none that it knows")
		return false
	case unix.SYS_CLOSE:
		delete(t.open, a[0])
		return false
	case unix.SYS_WRITE:
		if a[0] == t.voice {
			for line := range bytes.Lines(t.read(tid, a[1], a[2])) {
				t.events = append(t.events, event{kind: spoke, text: string(bytes.TrimSpace(line))})
			}
			return false
		}
		h := t.open[a[0]]
		if h == nil {
			return false
		}
		at := t.sizes[h.file]
		if !h.append {
			at = position(tid, a[0])
		}
		return t.write(tid, p, h, a[1], a[2], at)
	case unix.SYS_PWRITE64:
		h := t.open[a[0]]
		if h == nil {
			return false
		}
		return t.write(tid, p, h, a[1], a[2], int64(a[3]))
	case unix.SYS_FTRUNCATE, unix.SYS_FSYNC, unix.SYS_FDATASYNC:
		return t.open[a[0]] != nil
	case unix.SYS_SYNC, unix.SYS_SYNCFS, unix.SYS_DUP, unix.SYS_DUP2, unix.SYS_DUP3, unix.SYS_FALLOCATE, unix.SYS_WRITEV,
		unix.SYS_PWRITEV, unix.SYS_PWRITEV2, unix.SYS_SYNC_FILE_RANGE, unix.SYS_IO_URING_SETUP:
		if t.open[a[0]] != nil {
			t.fail("call %d on %s is none that it knows", p.nr, t.open[a[0]].path)
		}
		return false
	case unix.SYS_COPY_FILE_RANGE:
		if t.open[a[2]] != nil {
			t.fail("copy_file_range on %s is none that it knows", t.open[a[2]].path)
		}
		return false
	case unix.SYS_MMAP:
		const writes = unix.PROT_WRITE
		if h := t.open[a[4]]; h != nil && a[2]&writes != 0 && a[3]&unix.MAP_SHARED != 0 && !forgotten(h.path) {
			t.fail("%s is written through memory", h.path)
		}
		return false
	default:
		return false
	}
	return p.path != "?"
}

// write notes a write when it begins: from then on the disk may hold it.
func (t *tracer) write(tid int, p *pending, h *handle, from, n uint64, at int64) bool {
	if h.file < 0 || forgotten(h.path) {
		return false
	}
	if at < 0 {
		t.fail("nobody knows where a write to %s goes", h.path)
	}
	p.mine = len(t.events)
	t.events = append(t.events, event{kind: wrote, file: h.file, path: h.path, at: at, data: t.read(tid, from, n), end: never})
	return true
}

// leave notes what a call did.
func (t *tracer) leave(p *pending, result int64) {
	if p.mine >= 0 {
		e := &t.events[p.mine]
		if result < 0 {
			result = 0
		}
		e.data, e.end = e.data[:result], t.tick
		t.sizes[e.file] = max(t.sizes[e.file], e.at+result)
		return
	}
	if result < 0 {
		return
	}
	add := func(e event) {
		e.end = t.tick
		t.events = append(t.events, e)
		if e.kind == truncated {
			t.sizes[e.file] = e.at
		}
	}
	switch p.nr {
	case unix.SYS_OPEN, unix.SYS_OPENAT:
		flags := p.args[2]
		file, known := t.names[p.path]
		switch {
		case !known && flags&unix.O_CREAT != 0:
			file = t.files
			t.files++
			t.names[p.path] = file
			add(event{kind: created, file: file, path: p.path})
		case !known:
			t.fail("%s was opened, and nobody made it", p.path)
			return
		case file >= 0 && flags&unix.O_TRUNC != 0:
			add(event{kind: truncated, file: file, path: p.path})
		}
		t.open[uint64(result)] = &handle{file, p.path, flags&unix.O_APPEND != 0}
	case unix.SYS_MKDIR, unix.SYS_MKDIRAT:
		t.names[p.path] = -1
		add(event{kind: created, file: -1, path: p.path})
	case unix.SYS_UNLINK, unix.SYS_UNLINKAT, unix.SYS_RMDIR:
		add(event{kind: removed, file: t.names[p.path], path: p.path})
		delete(t.names, p.path)
	case unix.SYS_RENAME, unix.SYS_RENAMEAT, unix.SYS_RENAMEAT2:
		file := t.names[p.path]
		add(event{kind: renamed, file: file, path: p.path, to: p.to})
		delete(t.names, p.path)
		t.names[p.to] = file
	case unix.SYS_FTRUNCATE:
		h := t.open[p.args[0]]
		if !forgotten(h.path) {
			add(event{kind: truncated, file: h.file, path: h.path, at: int64(p.args[1])})
		}
	case unix.SYS_FSYNC, unix.SYS_FDATASYNC:
		h := t.open[p.args[0]]
		add(event{kind: synced, file: h.file, path: h.path, since: p.at})
	}
}

// path reads a name that the process gives, and "?" where it lies outside the
// folder.
func (t *tracer) path(tid int, at uint64) string {
	var name []byte
	for len(name) < unix.PathMax {
		part := t.read(tid, at+uint64(len(name)), 256-(at+uint64(len(name)))%256)
		if i := bytes.IndexByte(part, 0); i >= 0 || len(part) == 0 {
			name = append(name, part[:max(i, 0)]...)
			break
		}
		name = append(name, part...)
	}
	path := filepath.Clean(string(name))
	if path == t.root {
		return ""
	}
	rest, ok := strings.CutPrefix(path, t.root+"/")
	if !ok {
		return "?"
	}
	return rest
}

// pathAt is path of a name that may be relative to a folder.
func (t *tracer) pathAt(tid int, dir, at uint64) string {
	if h := t.open[dir]; h != nil && int32(dir) != unix.AT_FDCWD {
		t.fail("a name relative to the folder %s is none that it knows", h.path)
	}
	return t.path(tid, at)
}

// read copies the process's memory.
func (t *tracer) read(tid int, at, n uint64) []byte {
	out := make([]byte, n)
	if n == 0 {
		return out
	}
	got, err := unix.ProcessVMReadv(tid, []unix.Iovec{{Base: &out[0], Len: n}}, []unix.RemoteIovec{{Base: uintptr(at), Len: int(n)}}, 0)
	if err != nil {
		t.fail("the process's memory: %w", err)
		return nil
	}
	return out[:got]
}

// position is where a descriptor's next write goes (proc(5), fdinfo).
func position(tid int, fd uint64) int64 {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/fdinfo/%d", tid, fd))
	var at int64
	if err != nil {
		return -1
	}
	if _, err := fmt.Sscanf(string(text), "pos:%d", &at); err != nil {
		return -1
	}
	return at
}
