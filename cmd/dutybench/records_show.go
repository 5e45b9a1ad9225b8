package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"dutybench/bench/kinds"
	"dutybench/bench/record"
	"dutybench/bench/result"
	"dutybench/signal/trace"
)

// showFlags are how a record is shown.
type showFlags struct {
	page        string
	json, ascii bool
	width       int
}

func newRecordsShow(a *app) *cobra.Command {
	var f showFlags
	c := &cobra.Command{
		Use: "show ID", Short: "Show what a record says, by its name or number",
		Args: one("record, by its name or number"),
		RunE: a.do(func(_ *cobra.Command, args []string) error { return a.showRecord(args[0], f) }),
	}
	c.Flags().BoolVar(&f.json, "json", false, "print the result as one JSON object")
	c.Flags().StringVar(&f.page, "page", "", "write its page to `FILE`, - for standard output")
	textFlags(c, &f.width, &f.ascii)
	return c
}

func (a *app) showRecord(name string, f showFlags) error {
	if f.json && f.page == "-" {
		return usage("--json and --page - both want standard output; give the page a file")
	}
	if err := checkWidth(f.width); err != nil {
		return err
	}
	id, err := record.ParseID(name)
	if err != nil {
		return usage("%v", err)
	}
	store, err := a.standingStore()
	if err != nil {
		return err
	}
	rec, err := store.Get(id)
	if err != nil {
		return err
	}
	path := filepath.Join(store.Folder(rec.ID), "trace.csv")
	tr, err := trace.Read(bytes.NewReader(rec.Trace), path)
	if err != nil {
		return err
	}
	if rec.Result == nil {
		return fmt.Errorf("record %s was not judged; its trace is %s", rec.ID, path)
	}
	var r result.Result
	if err := json.Unmarshal(rec.Result, &r); err != nil {
		return fmt.Errorf("record %s: its result cannot be read: %w", rec.ID, err)
	}
	r.Record, r.Source = rec.ID.String(), path
	in := inputOf(rec, r, tr)
	in.TracePath = path
	if rec.Profile.Text != nil {
		if in.Profile, err = kinds.Parse(rec.Profile.Text, rec.Profile.Name); err != nil {
			fmt.Fprintln(a.stderr, "dutybench: the record's profile cannot be read by this program:", err)
		}
	}
	if page := store.PagePath(rec.ID); f.page == "" {
		if _, err := os.Stat(page); err == nil {
			in.Page = page
		}
	} else if err := writePage(a.stdout, &in, f.page); err != nil {
		return err
	}
	return tell(a.stdout, in, f.json, f.page == "-", a.textOptions(f.width, f.ascii))
}
