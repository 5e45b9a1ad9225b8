package profiles

import (
	"embed"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

//go:embed builtin/*.toml
var builtin embed.FS

// BuiltinSource is the Source of a built-in profile.
const BuiltinSource = "built-in"

// Builtins are the names of the built-in profiles, sorted.
func Builtins() []string {
	entries, err := builtin.ReadDir("builtin")
	if err != nil {
		panic(err) // cannot be: the folder is compiled in
	}
	var names []string
	for _, e := range entries {
		names = append(names, strings.TrimSuffix(e.Name(), ".toml"))
	}
	slices.Sort(names)
	return names
}

// Builtin is the file of a built-in profile; ok is false when there is none
// of that name.
func Builtin(name string) (data []byte, ok bool) {
	if !namePattern.MatchString(name) {
		return nil, false
	}
	data, err := builtin.ReadFile("builtin/" + name + ".toml")
	return data, err == nil
}

// Load reads a profile by the name of a built-in, or else by path. A file
// that bears a built-in's name is reached as ./name. See Parse for section.
func Load(nameOrPath string, section func(kind string) (any, error)) (*Profile, error) {
	if data, ok := Builtin(nameOrPath); ok {
		return Parse(data, BuiltinSource, section)
	}
	data, err := readFile(nameOrPath)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("profiles: %q is neither a built-in profile nor a file: the built-ins are %s: %w", nameOrPath, strings.Join(Builtins(), ", "), fs.ErrNotExist)
	}
	if err != nil {
		return nil, fmt.Errorf("profiles: cannot read %s: %w", nameOrPath, err)
	}
	return Parse(data, nameOrPath, section)
}

// readFile reads no more than it takes to see that a file is too large.
func readFile(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, maxBytes+1))
}

// WriteFile encodes a profile and writes it as a whole or not at all. Without
// overwrite a file that is already there is left alone and the error is
// fs.ErrExist. The folder must exist.
func WriteFile(path string, p *Profile, overwrite bool) error {
	data, err := Encode(p)
	if err != nil {
		return err
	}
	if err := replace(path, data, overwrite); err != nil {
		return fmt.Errorf("profiles: cannot write %s: %w", path, err)
	}
	return nil
}

// put gives a finished temporary file its name. A hard link refuses a name
// that was taken meanwhile; file systems without links get a plain rename.
func put(tmp, path string, overwrite bool) error {
	if !overwrite {
		err := os.Link(tmp, path)
		if err == nil {
			return os.Remove(tmp)
		}
		if errors.Is(err, fs.ErrExist) {
			return err
		}
	}
	return os.Rename(tmp, path)
}

func replace(path string, data []byte, overwrite bool) (err error) {
	if !overwrite {
		if _, err := os.Lstat(path); err == nil {
			return fmt.Errorf("%w: choose another name, or say that it may be overwritten", fs.ErrExist)
		}
	}
	folder := filepath.Dir(path)
	tmp, err := os.CreateTemp(folder, "."+filepath.Base(path)+".*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			tmp.Close()
			os.Remove(tmp.Name())
		}
	}()
	if _, err := tmp.Write(data); err != nil {
		return err
	}
	if err := tmp.Chmod(0o644); err != nil {
		return err
	}
	if err := tmp.Sync(); err != nil {
		return err
	}
	if err := tmp.Close(); err != nil {
		return err
	}
	if err := put(tmp.Name(), path, overwrite); err != nil {
		return err
	}
	d, err := os.Open(folder)
	if err != nil {
		return nil // the file is whole; the folder's sync is a bonus
	}
	defer d.Close()
	_ = d.Sync() // not every file system can
	return nil
}
