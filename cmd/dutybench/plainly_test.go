package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestPlainly(t *testing.T) {
	_, missing := os.Open("/no/such/file")
	for want, err := range map[string]error{
		"there is no record 9; list what there is":           fmt.Errorf("store: there is no record 9; list what there is: %w", fs.ErrNotExist),
		"the head: it is no head":                            fmt.Errorf("bundle: the head: %w", errors.New("ledger: it is no head")),
		"it failed (no root)\nand this":                      errors.Join(fmt.Errorf("it failed (%w)", errors.New("ledger: no root")), errors.New("store: record: and this")),
		"the key cannot be read: " + missing.Error():         fmt.Errorf("the key cannot be read: %w", missing),
		"record 9 of bench: a store of its own, trace: none": errors.New("record 9 of bench: a store of its own, trace: none"),
	} {
		assert.Equal(t, want, plainly(err))
	}
	d := newDesk(t)
	d.call("run", "--fault", short)
	c := d.call("records", "show", "99")
	assert.Equal(t, exitError, c.status)
	assert.NotContains(t, c.stderr, "file does not exist")
	assert.NotContains(t, c.stderr, "store: ")
	c = d.call("run", "--profile", "none")
	assert.NotContains(t, c.stderr, "file does not exist")
	assert.Contains(t, c.stderr, "neither a built-in profile nor a file")
}
