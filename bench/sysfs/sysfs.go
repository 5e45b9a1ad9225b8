// Package sysfs reads and writes the kernel's tree of small files, under /sys
// on a real board, elsewhere in tests and in the simulator.
package sysfs

import (
	"fmt"
	"os"
	"path/filepath"
)

// Tree is the kernel's tree. Names are relative to its root, with slashes,
// such as "class/pwm/pwmchip0/npwm". Errors are of os, so that errors.Is with
// fs.ErrNotExist, fs.ErrPermission and the kernel's numbers holds.
type Tree interface {
	ReadFile(name string) ([]byte, error)
	// WriteFile writes all of data in one write, to a file that there is.
	// Without data it changes nothing and asks whether it may write: the
	// kernel's files drop a write of no bytes (sysfs_kf_write in fs/sysfs/file.c).
	WriteFile(name string, data []byte) error
	// List names what is in a folder, sorted.
	List(name string) ([]string, error)
	// Resolve follows the links in a name and gives the name it stands for.
	Resolve(name string) (string, error)
}

// Root is the tree on a board.
const Root = "/sys"

// Dir is a tree in a folder.
type Dir string

func (d Dir) path(name string) string { return filepath.Join(string(d), filepath.FromSlash(name)) }

// ReadFile reads a whole file.
func (d Dir) ReadFile(name string) ([]byte, error) { return os.ReadFile(d.path(name)) }

// WriteFile writes in one write and makes no file. The kernel's files do not
// care for the truncation, plain ones lose what they held before.
func (d Dir) WriteFile(name string, data []byte) error {
	flags := os.O_WRONLY
	if len(data) > 0 {
		flags |= os.O_TRUNC
	}
	f, err := os.OpenFile(d.path(name), flags, 0)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	return err
}

// List names what is in a folder.
func (d Dir) List(name string) ([]string, error) {
	entries, err := os.ReadDir(d.path(name))
	if err != nil {
		return nil, err
	}
	names := make([]string, len(entries))
	for i, e := range entries {
		names[i] = e.Name()
	}
	return names, nil
}

// Resolve follows links.
func (d Dir) Resolve(name string) (string, error) {
	root, err := filepath.EvalSymlinks(string(d))
	if err != nil {
		return "", err
	}
	path, err := filepath.EvalSymlinks(d.path(name))
	if err != nil {
		return "", err
	}
	rel, err := filepath.Rel(root, path)
	if err != nil {
		return "", fmt.Errorf("sysfs: %s lies outside %s: %w", path, root, err)
	}
	return filepath.ToSlash(rel), nil
}
