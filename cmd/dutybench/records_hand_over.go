package main

import (
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"dutybench/bench/record/store"
)

func newRecordsHandOver(a *app) *cobra.Command {
	return &cobra.Command{
		Use: "hand-over", Short: "Hand this bench's records over to the server that --store names, each once",
		Args: cobra.NoArgs,
		RunE: a.do(func(*cobra.Command, []string) error { return a.handOverByHand() }),
	}
}

func (a *app) handOverByHand() error {
	p, err := a.place()
	if err != nil {
		return err
	}
	if p.server == "" {
		return usage("say to which server: --store postgres://USER@HOST/DATABASE, or the same in DUTYBENCH_STORE")
	}
	own, err := a.ownStore()
	if err != nil {
		return err
	}
	defer a.close(own)
	n, err := a.handOver(own, p, 0)
	if err != nil {
		return fmt.Errorf("%d records were handed over, then it failed: %w", n, err)
	}
	_, err = fmt.Fprintf(a.stdout, "%s handed over; the server has all of this bench.\n", records(n))
	return err
}

// handOver gives the server what it lacks of this bench's records. patience 0
// is the store's.
func (a *app) handOver(own *store.Store, p storePlace, patience time.Duration) (int, error) {
	server, err := store.Open(p.server, store.Options{Now: a.now, Patience: patience})
	if err != nil {
		return 0, err
	}
	defer a.close(server)
	return store.HandOver(own, server)
}

// records is how many, in words.
func records(n int) string {
	if n == 1 {
		return "1 record"
	}
	return fmt.Sprintf("%d records", n)
}
