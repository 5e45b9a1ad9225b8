package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"dutybench/bench/lot"
	"dutybench/bench/plot"
	"dutybench/bench/record"
)

func newLotList(a *app) *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use: "list", Short: "List the lots, newest last", Args: cobra.NoArgs,
		RunE: a.do(func(*cobra.Command, []string) error { return a.listLots(asJSON) }),
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object a lot")
	return c
}

func (a *app) listLots(asJSON bool) error {
	store, err := a.standingStore()
	if err != nil {
		return err
	}
	defer a.close(store)
	entries, damaged := store.List(record.Filter{})
	lots := lot.Lots(entries)
	if len(lots) == 0 && damaged == nil {
		fmt.Fprintf(a.stderr, "No record belongs to a lot yet; %s begins one.\n", a.command("lot NAME"))
	}
	for _, l := range lots {
		if asJSON {
			if err := writeJSON(a.stdout, l); err != nil {
				return err
			}
			continue
		}
		line := fmt.Sprintf("%s  %s  %s, %d good", l.To.Local().Format("2006-01-02 15:04"), plot.Plain(l.Lot), plural(l.Units, "unit"), l.Good)
		if l.Doubtful > 0 {
			line += fmt.Sprintf(", %d doubtful", l.Doubtful)
		}
		if l.Open > 0 {
			line += fmt.Sprintf(", %d still to be tested", l.Open)
		}
		if _, err := fmt.Fprintf(a.stdout, "%s  %s\n", line, plot.Plain(l.Profile)); err != nil {
			return fmt.Errorf("writing the list: %w", err)
		}
	}
	return damaged
}
