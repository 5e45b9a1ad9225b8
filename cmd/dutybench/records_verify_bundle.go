package main

import (
	"errors"
	"fmt"
	"strings"

	"dutybench/bench/plot"
	"dutybench/bench/record/bundle"
	"dutybench/bench/record/ledger"
)

// verifyBundle checks a bundle, without a store.
func (a *app) verifyBundle(f verifyFlags, keys []string) error {
	x := bundle.Expectations{Keys: keys}
	for _, where := range f.heads {
		text, err := headText(where)
		if err != nil {
			return err
		}
		h, err := ledger.Unverified(text)
		if err != nil {
			return err
		}
		x.Older = append(x.Older, h)
	}
	b, err := bundle.Open(f.bundle)
	if err != nil {
		return err
	}
	defer a.close(b)
	p := a.ticking("record")
	x.Progress = p.tick
	c, err := b.Verify(x)
	p.end()
	if err != nil {
		return err
	}
	if !c.Whole() {
		a.status = exitError
	}
	if err := a.writeLines(bundleText(c)); err != nil {
		return err
	}
	if c.Whole() {
		if err := a.writeLines(bundleNext(f, c)); err != nil {
			return err
		}
	}
	if f.extract == "" {
		return nil
	}
	if !c.Whole() {
		return errors.New("the bundle is not unpacked, as it is not whole")
	}
	return b.Extract(f.extract)
}

// bundleNext is how to go on with a bundle that is whole. No store is needed.
func bundleNext(f verifyFlags, c *bundle.Check) string {
	var b strings.Builder
	keys := ""
	for _, k := range f.keys {
		keys += " --key " + shellWord(k)
	}
	which := ""
	if len(c.Records) > 1 {
		which = fmt.Sprintf(" %d", c.Records[0].ID.Seq)
	}
	b.WriteString("\nTo judge again what is in it, as it was judged, and to make a report:\n")
	fmt.Fprintf(&b, "  dutybench records judge %s --as-kept%s\n", shellWord(f.bundle), keys)
	fmt.Fprintf(&b, "  dutybench records report %s%s --version claim%s\n", shellWord(f.bundle), which, keys)
	return b.String()
}

// bundleText is what came of a bundle, in words.
func bundleText(c *bundle.Check) string {
	var b strings.Builder
	for _, d := range c.Damages {
		b.WriteString(plot.Plain(d.String()) + "\n")
	}
	for i := range c.Records {
		_ = writeEntry(&b, &c.Records[i], false) // a Builder takes everything
	}
	part := func(title string, list []string) {
		if len(list) == 0 {
			return
		}
		b.WriteString("\n" + title + "\n")
		for _, s := range list {
			fill(&b, "  -", s, 4, textWidth)
		}
	}
	part("Proved:", c.Proved)
	part("Not proved:", c.Open)
	if c.Key != "" {
		trusted := "it came with the bundle"
		if c.Trusted {
			trusted = "you gave it too"
		}
		fmt.Fprintf(&b, "\nKey of bench %s, fingerprint %s: %s.\n", c.Bench, ledger.Fingerprint(c.Key), trusted)
	}
	if c.Whole() {
		fmt.Fprintf(&b, "The bundle is whole: %s.\n", records(len(c.Records)))
	} else {
		b.WriteString("The bundle is NOT whole, or does not prove what was asked for: see above.\n")
	}
	return b.String()
}
