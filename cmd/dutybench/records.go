package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"github.com/spf13/cobra"

	"dutybench/bench/record"
)

func newRecords(a *app) *cobra.Command {
	c := &cobra.Command{
		Use:   "records",
		Short: "List, show and verify the records that are kept",
	}
	group(c, a)
	c.AddCommand(newRecordsList(a), newRecordsShow(a), newRecordsVerify(a))
	return c
}

// standingStore opens a store that is there already: looking at records makes
// no store.
func (a *app) standingStore() (*record.Dir, error) {
	where, err := record.Location(a.store, a.getenv)
	if err != nil {
		return nil, err
	}
	if info, err := os.Stat(where); err == nil && !info.IsDir() {
		return nil, fmt.Errorf("%s is no folder, so it is no store: name the folder with --store", where)
	} else if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("there is no store at %s: run a test first, or name the store with --store", where)
	} else if err != nil {
		return nil, fmt.Errorf("the store cannot be looked into: %w", err)
	}
	return record.Open(where)
}
