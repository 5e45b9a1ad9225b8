package main

import (
	"bytes"
	"fmt"

	"github.com/spf13/cobra"

	"dutybench/bench/lot"
	"dutybench/bench/plot"
)

func newLotCard(a *app) *cobra.Command {
	var complaints, operators []string
	var out string
	c := &cobra.Command{
		Use: "card", Short: "Print the control words as barcodes, to hang beside the bench", Args: cobra.NoArgs,
		Long: `Card writes a page with the control words of a lot as barcodes (Code 128), so that
a hand scanner is all that the bench needs. Complaints that come often and the
operators' names get barcodes of their own.`,
		Example: `  dutybench lot card --out card.html
  dutybench lot card --complaint "no heat" --complaint noisy --operator M. --out card.html`,
		RunE: a.do(func(*cobra.Command, []string) error { return a.lotCard(complaints, operators, out) }),
	}
	c.Flags().StringArrayVar(&complaints, "complaint", nil, "`WORDS` of a complaint that comes often; more than once for several")
	c.Flags().StringArrayVar(&operators, "operator", nil, "`NAME` of an operator; more than once for several")
	c.Flags().StringVar(&out, "out", "-", "write the page to `FILE`, - for standard output")
	return c
}

func (a *app) lotCard(complaints, operators []string, out string) error {
	words := lotWords()
	for _, x := range []struct {
		flag, word, does string
		texts            []string
	}{{"complaint", wordComplaint, "of the next unit", complaints}, {"operator", wordOperator, "tests from now on", operators}} {
		for _, s := range x.texts {
			if err := cleanText(s); err != nil || s == "" {
				return usage("--%s %q is no text for the card: give letters on one line", x.flag, s)
			}
			words = append(words, lot.Word{Scan: x.word + " " + s, Does: x.does})
		}
	}
	var b bytes.Buffer
	if err := lot.Card(&b, words); err != nil {
		return err
	}
	if out != "-" {
		if err := writeFile(out, b.Bytes()); err != nil {
			return err
		}
		fmt.Fprintf(a.stderr, "The card is %s.\n", plot.Plain(out))
		return nil
	}
	if _, err := a.stdout.Write(b.Bytes()); err != nil {
		return fmt.Errorf("writing the card: %w", err)
	}
	return nil
}
