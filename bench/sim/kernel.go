package sim

import (
	"io/fs"
	"path"
	"slices"
	"strings"
	"syscall"
	"time"
)

// Kernel is the kernel's tree of files on the simulated bench: the pwm class
// with one chip (kernel_pwm.go) and a one-wire bus with temperature sensors
// (kernel_w1.go). It implements sysfs.Tree. Errors are those of os: a
// *fs.PathError with the kernel's number. Reading and writing take no
// simulated time, unless a sensor says so.
type Kernel struct {
	PWM     *PWMChip
	Sensors []*Sensor

	w     *World
	files map[string]*kernelFile
	links map[string]string // from a name to where it leads, links already followed
	dirs  map[string]bool   // folders that stand though nothing is in them
}

// kernelFile is one file. A nil function says that its mode forbids it.
type kernelFile struct {
	read  func() (string, error)
	write func(text string) error
	ready time.Duration // until then only root may write
	away  func() error  // a reason for which nothing of its device works; nil: none
}

// hidden marks a file or device that is not listed.
const hidden = syscall.ENOENT

func newKernel(w *World) *Kernel {
	k := &Kernel{w: w, files: map[string]*kernelFile{}, links: map[string]string{},
		dirs: map[string]bool{".": true, "class/pwm": true, "bus/w1/devices": true}}
	k.PWM = newPWMChip(k)
	k.AddSensor("28-0123456789ab")
	return k
}

func pathError(op, name string, err error) error {
	return &fs.PathError{Op: op, Path: "/sys/" + name, Err: err}
}

// follow gives the name that a name stands for.
func (k *Kernel) follow(name string) string {
	at := "."
	for _, part := range strings.Split(path.Clean(name), "/") {
		at = path.Join(at, part)
		if to, ok := k.links[at]; ok {
			at = to
		}
	}
	return at
}

// file finds a file that is there and whose device works.
func (k *Kernel) file(op, name string) (*kernelFile, error) {
	at := k.follow(name)
	f := k.files[at]
	switch {
	case f == nil && k.isDir(at):
		return nil, pathError(op, name, syscall.EISDIR)
	case f == nil:
		return nil, pathError(op, name, syscall.ENOENT)
	}
	if err := f.gone(); err != nil {
		return nil, pathError(op, name, err)
	}
	return f, nil
}

func (f *kernelFile) gone() error {
	if f.away == nil {
		return nil
	}
	return f.away()
}

// isDir says whether anything lies below a name.
func (k *Kernel) isDir(at string) bool {
	return k.dirs[at] || len(k.below(at)) > 0
}

// stands says whether there is a file below a folder.
func (k *Kernel) stands(at string) bool {
	for name, f := range k.files {
		if strings.HasPrefix(name, at+"/") && f.gone() == nil {
			return true
		}
	}
	return false
}

// below names what lies in a folder, sorted.
func (k *Kernel) below(at string) []string {
	prefix := at + "/"
	if at == "." {
		prefix = ""
	}
	var names []string
	add := func(name string) {
		if rest, ok := strings.CutPrefix(name, prefix); ok && name != "." {
			first, _, _ := strings.Cut(rest, "/")
			names = append(names, first)
		}
	}
	for name, f := range k.files {
		if f.gone() == nil {
			add(name)
		}
	}
	for name, to := range k.links {
		if k.stands(to) { // a link to what went is taken away with it
			add(name)
		}
	}
	for name := range k.dirs {
		add(name)
	}
	slices.Sort(names)
	return slices.Compact(names)
}

// ReadFile reads a whole file.
func (k *Kernel) ReadFile(name string) ([]byte, error) {
	f, err := k.file("open", name)
	if err != nil {
		return nil, err
	}
	if f.read == nil {
		return nil, pathError("open", name, syscall.EACCES)
	}
	text, err := f.read()
	if err != nil {
		return nil, pathError("read", name, err)
	}
	return []byte(text), nil
}

// WriteFile writes to a file that there is. No data asks whether it may.
func (k *Kernel) WriteFile(name string, data []byte) error {
	f, err := k.file("open", name)
	if err != nil {
		return err
	}
	if f.write == nil || k.w.now < f.ready {
		return pathError("open", name, syscall.EACCES)
	}
	if err := f.write(string(data)); err != nil {
		op := "write"
		if err == syscall.EACCES {
			op = "open"
		}
		return pathError(op, name, err)
	}
	return nil
}

// List names what is in a folder, sorted.
func (k *Kernel) List(name string) ([]string, error) {
	at := k.follow(name)
	if k.files[at] != nil {
		return nil, pathError("open", name, syscall.ENOTDIR)
	}
	if !k.isDir(at) {
		return nil, pathError("open", name, syscall.ENOENT)
	}
	return k.below(at), nil
}

// Resolve follows links.
func (k *Kernel) Resolve(name string) (string, error) {
	at := k.follow(name)
	if f := k.files[at]; f != nil && f.gone() == nil || f == nil && k.isDir(at) {
		return at, nil
	}
	return "", pathError("lstat", name, syscall.ENOENT)
}
