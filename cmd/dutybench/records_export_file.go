package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// exportFile is a file that is there as a whole or not at all, or standard
// output.
type exportFile struct {
	*bufio.Writer
	path      string
	tmp       *os.File // nil: standard output, or finished
	overwrite bool
}

// openExport begins a file, - being standard output. Without overwrite, one
// that is there is an error.
func openExport(path string, stdout io.Writer, overwrite bool) (*exportFile, error) {
	if path == "-" && stdout != nil {
		return &exportFile{Writer: bufio.NewWriter(stdout), path: path}, nil
	}
	f := &exportFile{path: path, overwrite: overwrite}
	if err := writable(path); err != nil {
		return nil, err
	}
	if err := f.free(); err != nil {
		return nil, err
	}
	var err error
	if f.tmp, err = os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*.tmp"); err != nil {
		return nil, fmt.Errorf("%s cannot be written: %w", path, err)
	}
	f.Writer = bufio.NewWriterSize(f.tmp, 1<<16)
	return f, nil
}

// free says whether the name may be taken.
func (f *exportFile) free() error {
	if f.overwrite {
		return nil
	}
	is, err := there(f.path)
	if err == nil && is {
		err = fmt.Errorf("%s is there already and was left as it is: give another name, or --overwrite", f.path)
	}
	return err
}

// finish gives the file its name.
func (f *exportFile) finish() error {
	if f.tmp == nil {
		if err := f.Flush(); err != nil {
			return fmt.Errorf("writing the export: %w", err)
		}
		return nil
	}
	if err := f.free(); err != nil { // it came meanwhile
		return err
	}
	err := errors.Join(f.Flush(), f.tmp.Chmod(0o644), f.tmp.Sync(), f.tmp.Close())
	if err == nil {
		err = os.Rename(f.tmp.Name(), f.path)
	}
	if err != nil {
		return fmt.Errorf("%s was not written; check the folder and its free space: %w", f.path, err)
	}
	f.tmp = nil
	return nil
}

// abandon removes a file that was not finished.
func (f *exportFile) abandon() {
	if f.tmp != nil {
		f.tmp.Close()
		os.Remove(f.tmp.Name())
		f.tmp = nil
	}
}
