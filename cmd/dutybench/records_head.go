package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"dutybench/bench/record/ledger"
)

// headFlags are what is wanted of a log's head.
type headFlags struct {
	out, bench string
	line, key  bool
}

func newRecordsHead(a *app) *cobra.Command {
	var f headFlags
	c := &cobra.Command{
		Use: "head", Short: "Print the signed head of the log, to keep elsewhere",
		Long: `Head prints how many records the bench's log holds and the root hash that
stands for all of them, signed. Whoever keeps it, or the one line of it that is
printed on every report, can show later that something was changed or cut off:
records verify --head.

--key prints the bench's public key. Hand it out: with it, others know that a
bundle is from this bench.`,
		Example: `  dutybench records head --out 2026-11-26.head
  dutybench records head --line
  dutybench records head --key`,
		Args: cobra.NoArgs,
		RunE: a.do(func(*cobra.Command, []string) error { return a.printHead(f) }),
	}
	fl := c.Flags()
	fl.StringVar(&f.out, "out", "", "write it to `FILE`")
	fl.StringVar(&f.bench, "bench", "", "of the bench of this `KEY` word, where the store holds several")
	fl.BoolVar(&f.line, "line", false, "on one line without its signature, as on reports")
	fl.BoolVar(&f.key, "key", false, "the bench's public key instead")
	c.MarkFlagsMutuallyExclusive("line", "key")
	return c
}

func (a *app) printHead(f headFlags) error {
	s, err := a.standingStore()
	if err != nil {
		return err
	}
	defer a.close(s)
	var text []byte
	if f.key {
		key, err := s.Key(f.bench)
		if err != nil {
			return err
		}
		text = []byte(key + "\n")
		fmt.Fprintln(a.stderr, "Its fingerprint is", ledger.Fingerprint(key))
	} else {
		h, err := s.Head(f.bench)
		if err != nil {
			return err
		}
		if text = h.Signed; f.line {
			text = []byte(h.String() + "\n")
		}
	}
	return a.deliver(f.out, text)
}

// deliver writes to a file, or to standard output where none is named.
func (a *app) deliver(path string, data []byte) error {
	if path == "" || path == "-" {
		if _, err := a.stdout.Write(data); err != nil {
			return fmt.Errorf("writing: %w", err)
		}
		return nil
	}
	if err := writable(path); err != nil {
		return err
	}
	return writeFile(path, data)
}
