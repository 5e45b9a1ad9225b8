package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"dutybench/bench/record"
)

func newRecordsVerify(a *app) *cobra.Command {
	return &cobra.Command{
		Use: "verify", Short: "Check that every record is whole and in its place", Args: cobra.NoArgs,
		RunE: a.do(func(*cobra.Command, []string) error { return a.verifyRecords() }),
	}
}

func (a *app) verifyRecords() error {
	store, err := a.standingStore()
	if err != nil {
		return err
	}
	damages, err := store.Verify()
	if err != nil {
		return err
	}
	for _, d := range damages {
		a.status = exitError
		if _, err := fmt.Fprintln(a.stdout, d); err != nil {
			return fmt.Errorf("writing what is damaged: %w", err)
		}
	}
	if len(damages) > 0 {
		return nil
	}
	entries, err := store.List(record.Filter{})
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(a.stdout, "%s: %d records, all whole and in their places.\n", store.Path(), len(entries))
	return err
}
