package main

import (
	"fmt"

	"github.com/spf13/cobra"
)

func newRecordsBackup(a *app) *cobra.Command {
	return &cobra.Command{
		Use: "backup FILE", Short: "Write a whole copy of this bench's store to a new file, also while it is in use",
		Long: `Backup writes a copy of this bench's own store: all records, the log and its
heads. To bring it back, put it into an empty folder as records.db. The bench's
private key, bench.key, is not in it: keep that apart, where only its owner reads.`,
		Args: one("file to write the copy to"),
		RunE: a.do(func(_ *cobra.Command, args []string) error { return a.backup(args[0]) }),
	}
}

func (a *app) backup(path string) error {
	if path == "-" {
		return usage("backup - is not possible: give the name of a file")
	}
	if err := writable(path); err != nil {
		return err
	}
	s, err := a.standingStore()
	if err != nil {
		return err
	}
	defer a.close(s)
	if err := s.Backup(path); err != nil {
		return err
	}
	_, err = fmt.Fprintf(a.stdout, "%s holds a whole copy of %s. Keep bench.key apart from it.\n", path, s.Folder())
	return err
}
