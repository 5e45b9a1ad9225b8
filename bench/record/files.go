package record

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// The files of a record.
const (
	bodyFile    = "record.json"
	sumFile     = "record.sha256"
	traceFile   = "trace.csv"
	profileFile = "profile.toml"
	resultFile  = "result.json"
)

// maxFile bounds a trace that is read back; a minute at 20 kHz takes 100 MB.
const maxFile = 1 << 30

// may asks the tests whether a change on the disk fails.
func (d *Dir) may(what string) error {
	if d.fail == nil {
		return nil
	}
	return d.fail(what)
}

// write makes a file that is on the disk when it returns.
func (d *Dir) write(path string, data []byte) error {
	if err := d.may("write " + filepath.Base(path)); err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	return err
}

// sync brings a folder's names to the disk.
func (d *Dir) sync(folder string) error {
	if err := d.may("sync " + filepath.Base(folder)); err != nil {
		return err
	}
	f, err := os.Open(folder)
	if err != nil {
		return err
	}
	err = f.Sync()
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	return err
}

// replace writes one of the store's own files: the old one or the new one,
// never a half. It is called under the lock.
func (d *Dir) replace(name string, v any) error {
	data, err := encode(v)
	if err != nil {
		return err
	}
	tmp := filepath.Join(d.path, "tmp", name)
	if err := d.write(tmp, data); err != nil {
		os.Remove(tmp)
		return err
	}
	if err := d.may("rename " + name); err != nil {
		os.Remove(tmp)
		return err
	}
	if err := os.Rename(tmp, filepath.Join(d.path, name)); err != nil {
		os.Remove(tmp)
		return err
	}
	return d.sync(d.path)
}

// clean removes what a killed Put left. It is called under the lock, so
// nobody else is writing there.
func (d *Dir) clean() error {
	entries, err := os.ReadDir(filepath.Join(d.path, "tmp"))
	if err != nil {
		return err
	}
	for _, e := range entries {
		if err := os.RemoveAll(filepath.Join(d.path, "tmp", e.Name())); err != nil {
			return err
		}
	}
	return nil
}

// readFile reads a regular file of at most so many bytes; a link or a device
// is refused, so that a store from elsewhere cannot point out of itself.
func readFile(path string, most int64) ([]byte, error) {
	info, err := os.Lstat(path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s is no regular file", filepath.Base(path))
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, most+1))
	if err != nil {
		return nil, err
	}
	if int64(len(data)) > most {
		return nil, fmt.Errorf("%s is larger than %d bytes", filepath.Base(path), most)
	}
	return data, nil
}

// Writable says, before a test, whether the store will take its record: the
// lock can be had and a file be made and removed again.
func (d *Dir) Writable() error {
	unlock, err := d.lock()
	if err != nil {
		return err
	}
	defer unlock()
	f, err := os.CreateTemp(d.path, "writable-")
	if err != nil {
		return fmt.Errorf("record: %s takes no file, so the test could not be kept: %w: free it, or name another store", d.path, err)
	}
	return errors.Join(f.Close(), os.Remove(f.Name()))
}
