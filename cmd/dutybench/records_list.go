package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"dutybench/bench/plot"
	"dutybench/bench/record"
)

func newRecordsList(a *app) *cobra.Command {
	return &cobra.Command{
		Use: "list", Short: "List the records, newest last", Args: cobra.NoArgs,
		RunE: a.do(func(*cobra.Command, []string) error { return a.listRecords() }),
	}
}

func (a *app) listRecords() error {
	store, err := a.standingStore()
	if err != nil {
		return err
	}
	entries, damaged := store.List(record.Filter{})
	if len(entries) == 0 && damaged == nil {
		fmt.Fprintf(a.stderr, "No records yet in %s.\n", store.Path())
	}
	for _, e := range entries {
		cause, verdict := string(e.Cause), string(e.Verdict)
		if verdict == "" {
			verdict = "not judged"
		}
		profile := e.Profile.Name
		if simulated(e.Rig) {
			profile += "  simulated"
		}
		if _, err := fmt.Fprintf(a.stdout, "%s  %s  %-9s %-13s %s  %s\n", e.ID, e.When.Local().Format("2006-01-02 15:04"),
			verdict, dash(cause), dash(plot.Plain(e.At.Unit)), profile); err != nil {
			return fmt.Errorf("writing the list: %w", err)
		}
	}
	return damaged
}

func dash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}
