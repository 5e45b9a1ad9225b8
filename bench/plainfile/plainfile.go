// Package plainfile reads and writes small files that lie beside other
// people's: bounded, and whole or not at all.
package plainfile

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// Read reads a plain file of at most so many bytes: no device, which has no
// end, and no pipe, which nobody may write to. One that is not there is
// fs.ErrNotExist.
func Read(path string, most int) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s is no plain file: take it away", path)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, int64(most)+1))
	if err == nil && len(data) > most {
		err = fmt.Errorf("%s is larger than %d bytes, so it is none of ours: take it away", path, most)
	}
	return data, err
}

// Write puts a file into the place of the former one in one step: after a kill
// or a power cut there is the old one or the new one, never a half.
func Write(path string, data []byte, mode fs.FileMode) error {
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*")
	if err != nil {
		return fmt.Errorf("%s cannot be written; check its folder: %w", path, err)
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Chmod(mode)
	}
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return errors.Join(fmt.Errorf("%s was not written; check the folder and its free space: %w", path, err), os.Remove(f.Name()))
	}
	return nil
}
