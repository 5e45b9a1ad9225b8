package upkeep

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"

	"github.com/pelletier/go-toml/v2"

	"dutybench/bench/plainfile"
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
	data, err := plainfile.Read(path, largest)
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

// writeTOML puts a file in the place of the former one in one step.
func writeTOML(path string, v any) error {
	data, err := toml.Marshal(v)
	if err != nil {
		return fmt.Errorf("upkeep: writing %s: %w", path, err)
	}
	if err := plainfile.Write(path, data, 0o644); err != nil {
		return fmt.Errorf("upkeep: %w", err)
	}
	return nil
}
