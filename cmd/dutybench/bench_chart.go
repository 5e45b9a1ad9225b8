package main

import (
	"bytes"

	"github.com/spf13/cobra"

	"dutybench/bench/record"
	"dutybench/bench/upkeep"
)

func newBenchChart(a *app) *cobra.Command {
	var c upkeep.Chosen
	var page string
	var asJSON, ascii bool
	cmd := &cobra.Command{
		Use:   "chart",
		Short: "Show the check unit's charts: values, steps, drift",
		Long: `Chart shows what the check unit says of the bench, over all its tests: single
values and the step from one to the next (individuals and moving range), and a
weighted average for drift (EWMA). Limits are made from the first tests, and
anew where rig file, calibration or profile changed.

Exit status: 0 the newest test lies inside, or there are no limits yet; 5 it
lies out: the bench is out of control; 1 error.`,
		Example: `  dutybench bench chart
  dutybench bench chart --page check.html
  dutybench bench chart --unit CHECK-1 --finding full_current --json`,
		Args: cobra.NoArgs,
		RunE: a.do(func(*cobra.Command, []string) error { return a.chartBench(c, page, asJSON, ascii) }),
	}
	fl := cmd.Flags()
	fl.StringVar(&c.Unit, "unit", "", "`SERIAL` of the check unit (default: that of the last check)")
	fl.StringVar(&c.Rig, "rig", "", "`NAME` of the rig, as records show it (default: that of the last check)")
	fl.StringArrayVar(&c.Findings, "finding", nil, "`NAME` of a finding to chart, as often as wanted; the more, the wider the limits (default: four that say most of the bench)")
	fl.IntVar(&c.Baseline, "baseline", upkeep.Baseline, "`N` first tests that the limits rest on")
	fl.StringVar(&page, "page", "", "write the charts as a page to `FILE`, - for standard output")
	fl.BoolVar(&asJSON, "json", false, "print one JSON object")
	fl.BoolVar(&ascii, "ascii", false, "plain letters and signs only")
	return cmd
}

// chartBench is the whole of `bench chart`.
func (a *app) chartBench(c upkeep.Chosen, page string, asJSON, ascii bool) error {
	if page == "-" && asJSON {
		return usage("--json and --page - both want standard output; give the page a file")
	}
	s, err := a.standingStore()
	if err != nil {
		return err
	}
	defer a.close(s)
	if len(c.Findings) == 0 {
		kind, err := checkedKind(s, c)
		if err != nil {
			return err
		}
		if c.Findings = charted(kind); len(c.Findings) == 0 {
			return usage("say which findings of a %s to chart: --finding NAME", kind)
		}
	}
	h, err := watchBench(s, c)
	if err != nil {
		return err
	}
	if h.Out {
		a.status = exitBench
	}
	if page != "" {
		var b bytes.Buffer
		if err := h.Page(&b, program()); err != nil {
			return err
		}
		if page == "-" {
			_, err := a.stdout.Write(b.Bytes())
			return err
		}
		if err := writeFile(page, b.Bytes()); err != nil {
			return err
		}
	}
	if asJSON {
		return writeJSON(a.stdout, h.JSON())
	}
	return h.WriteText(a.stdout, ascii || !a.unicode())
}

// checkedKind is the kind of the check unit.
func checkedKind(s upkeep.Source, c upkeep.Chosen) (string, error) {
	entries, err := s.List(record.Filter{Purpose: upkeep.CheckUnit, Unit: c.Unit, Rig: c.Rig, Newest: true, Limit: 1})
	if err != nil {
		return "", err
	}
	if len(entries) == 0 {
		return "", usage("%v", upkeep.ErrNoCheck)
	}
	return entries[0].At.Kind, nil
}
