package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"dutybench/bench/plot"
	"dutybench/bench/record"
	"dutybench/bench/record/bundle"
	"dutybench/bench/record/ledger"
)

// openedBundle is a bundle that was verified whole, as a source of records.
type openedBundle struct {
	*bundle.Bundle
	*bundle.Check
	path string
}

// bundleObject is where records came from, as scripts get it.
type bundleObject struct {
	File        string `json:"file"`
	Fingerprint string `json:"key_fingerprint"`
	// Trusted says that a key that did not come with the bundle vouches for
	// it; if not, it vouches for itself only.
	Trusted bool `json:"trusted"`
}

// keyFlag defines --key for records out of a bundle.
func keyFlag(c *cobra.Command, keys *[]string) {
	c.Flags().StringArrayVar(keys, "key", nil, "`FILE` or public key of the bench, which must have signed the bundle; may be repeated")
}

// fromBundle takes a bundle off the front of a command's arguments; path is
// empty where they name records of the store.
func fromBundle(args []string) (path string, rest []string) {
	if len(args) == 0 {
		return "", args
	}
	if strings.EqualFold(filepath.Ext(args[0]), ".zip") {
		return args[0], args[1:]
	}
	if _, err := record.ParseID(strings.TrimPrefix(args[0], traceScheme)); err != nil {
		if info, err := os.Stat(args[0]); err == nil && info.Mode().IsRegular() {
			return args[0], args[1:]
		}
	}
	return "", args
}

// openBundle opens a bundle and verifies all of it: nothing is taken from one
// that is not whole, or that the keys given did not sign.
func (a *app) openBundle(path string, keyWords []string) (*openedBundle, error) {
	keys, err := publicKeys(keyWords)
	if err != nil {
		return nil, err
	}
	b, err := bundle.Open(path)
	if err != nil {
		return nil, err
	}
	p := a.ticking("record")
	c, err := b.Verify(bundle.Expectations{Keys: keys, Progress: p.tick})
	p.end()
	if err == nil && !c.Whole() {
		err = fmt.Errorf("nothing is taken from %s, as it is not whole or not signed by the key you gave: %s; dutybench records verify %s tells more", path, c.Damages[0], shellWord(path))
	}
	if err != nil {
		a.close(b)
		return nil, err
	}
	return &openedBundle{b, c, path}, nil
}

// names are the records in it, as judge takes them.
func (b *openedBundle) names() (out []string) {
	for i := range b.Records {
		out = append(out, b.Records[i].ID.String())
	}
	return out
}

// get reads a record by its name or number.
func (b *openedBundle) get(name string) (*record.Record, error) {
	id, err := record.ParseID(strings.TrimPrefix(name, traceScheme))
	if err != nil {
		return nil, err
	}
	for i := range b.Records {
		if e := &b.Records[i]; e.ID.Seq == id.Seq && (id.Bench == "" || id.Bench == e.ID.Bench) {
			return b.Get(e)
		}
	}
	return nil, fmt.Errorf("there is no record %s in %s; it holds %s", name, b.path, b.listed())
}

// listed names some of the records in it.
func (b *openedBundle) listed() string {
	const most = 5
	names := b.names()
	if more := len(names) - most; more > 0 {
		names = append(names[:most], fmt.Sprintf("%d more", more))
	}
	return strings.Join(names, ", ")
}

// vouched says who vouches for what is taken from the bundle.
func (b *openedBundle) vouched() string {
	if b.Trusted {
		return fmt.Sprintf("Bundle %s is whole, and its log is signed by the key of bench %s that you gave.", plot.Plain(b.path), b.Bench)
	}
	return fmt.Sprintf("Bundle %s is whole, but vouches for itself only: no key of bench %s was given. Compare the fingerprint of its key, %s, with one that you have from the bench, or give the bench's public key with --key.",
		plot.Plain(b.path), b.Bench, ledger.Fingerprint(b.Key))
}

func (b *openedBundle) object() *bundleObject {
	return &bundleObject{b.path, ledger.Fingerprint(b.Key), b.Trusted}
}
