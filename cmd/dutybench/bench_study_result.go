package main

import (
	"bytes"
	"errors"
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"

	"dutybench/bench/plot"
	"dutybench/bench/upkeep"
)

func newBenchStudyResult(a *app) *cobra.Command {
	var page string
	var asJSON, ascii, keep bool
	c := &cobra.Command{
		Use:   "result",
		Short: "Show what a finished study found, and keep it for later tests",
		Args:  cobra.NoArgs,
		RunE:  a.do(func(*cobra.Command, []string) error { return a.studyResult(page, asJSON, ascii, keep) }),
	}
	fl := c.Flags()
	fl.BoolVar(&keep, "keep", true, "let later tests on this rig with this profile take the figures into their uncertainty")
	fl.StringVar(&page, "page", "", "write the result as a page to `FILE`")
	fl.BoolVar(&asJSON, "json", false, "print one JSON object")
	fl.BoolVar(&ascii, "ascii", false, "plain letters and signs only")
	return c
}

// studyResult is the whole of `bench study result`.
func (a *app) studyResult(page string, asJSON, ascii, keep bool) error {
	s, err := a.ownStore()
	if err != nil {
		return err
	}
	defer a.close(s)
	g, err := a.followStudy(s)
	if err != nil {
		return err
	}
	o, err := g.Result()
	if errors.Is(err, upkeep.ErrUnfinished) {
		return usage("%v", err)
	}
	if err != nil {
		return err
	}
	if keep {
		if err := upkeep.AddGauge(s.Folder(), o.Keep()); err != nil {
			return err
		}
	}
	if page != "" {
		var b bytes.Buffer
		if err := o.Page(&b, program()); err != nil {
			return err
		}
		if err := writeFile(page, b.Bytes()); err != nil {
			return err
		}
	}
	if asJSON {
		return writeJSON(a.stdout, o.JSON())
	}
	if err := o.WriteText(a.stdout, ascii || !a.unicode()); err != nil {
		return err
	}
	if keep {
		fmt.Fprintf(a.stdout, "\nKept in %s: tests on rig %s with profile %s take these figures into their uncertainty.\n",
			plot.Plain(filepath.Join(s.Folder(), upkeep.GaugeFile)), plot.Plain(o.Rig), plot.Plain(o.Setting.Profile))
	}
	return nil
}
