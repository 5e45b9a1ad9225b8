package upkeep

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/pelletier/go-toml/v2"
)

// ReadPlan reads the plan beside a store.
func ReadPlan(folder string) (Plan, error) {
	var p Plan
	err := readTOML(filepath.Join(folder, PlanFile), &p)
	if errors.Is(err, fs.ErrNotExist) {
		return p, errors.New("upkeep: no study is planned here: dutybench bench study plan --units A,B,C")
	}
	if err != nil {
		return p, err
	}
	return p, p.Check()
}

// WritePlan keeps a plan; it takes the place of the former one.
func WritePlan(folder string, p Plan) error {
	if err := p.Check(); err != nil {
		return err
	}
	return writeTOML(filepath.Join(folder, PlanFile), p)
}

// largest is how much of a file is read, in bytes (chosen, far beyond use).
const largest = 4 << 20

func readTOML(path string, v any) error {
	data, err := readFile(path)
	if err != nil {
		return fmt.Errorf("upkeep: %w", err)
	}
	d := toml.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return fmt.Errorf("upkeep: %s cannot be read: %w: put it right, or take it away", path, err)
	}
	return nil
}

// readFile reads a plain file of a bounded size: no device, which has no end,
// and no pipe, which nobody may write to.
func readFile(path string) ([]byte, error) {
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
	data, err := io.ReadAll(io.LimitReader(f, largest+1))
	if err == nil && len(data) > largest {
		err = fmt.Errorf("%s is larger than %d bytes, so it is none of ours", path, largest)
	}
	return data, err
}

// writeTOML puts a file in the place of the former one in one step.
func writeTOML(path string, v any) error {
	data, err := toml.Marshal(v)
	if err != nil {
		return fmt.Errorf("upkeep: writing %s: %w", path, err)
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".upkeep-*")
	if err != nil {
		return fmt.Errorf("upkeep: %w: may the store's folder be written to?", err)
	}
	_, err = f.Write(data)
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Chmod(f.Name(), 0o644)
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return errors.Join(fmt.Errorf("upkeep: writing %s: %w: is there room?", path, err), os.Remove(f.Name()))
	}
	return nil
}
