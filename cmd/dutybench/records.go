package main

import (
	"github.com/spf13/cobra"
)

func newRecords(a *app) *cobra.Command {
	c := &cobra.Command{
		Use:   "records",
		Short: "List, find, show, judge again and verify the records that are kept",
	}
	group(c, a)
	c.AddCommand(newRecordsList(a), newRecordsFind(a), newRecordsShow(a), newRecordsReport(a), newRecordsHistory(a), newRecordsJudge(a),
		newRecordsVerify(a), newRecordsHead(a), newRecordsCountersign(a), newRecordsBundle(a), newRecordsExport(a), newRecordsBackup(a), newRecordsHandOver(a))
	return c
}
