package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"dutybench/bench/plot"
	"dutybench/bench/record/bundle"
	"dutybench/bench/record/ledger"
)

// countersignFlags are those of who signs another's head.
type countersignFlags struct {
	keyFile, makeKey, out, bundle string
	keys, since                   []string
}

func newRecordsCountersign(a *app) *cobra.Command {
	var f countersignFlags
	c := &cobra.Command{
		Use:   "countersign HEADFILE",
		Short: "Add a signature of your own to another bench's head",
		Long: `Countersign is for somebody else than the bench: a warranty desk, a customer, an
insurer. It checks that the head is signed by the bench, whose public key you
give with --key, and adds your signature. It needs no store.

Keep the head that comes out, and give it back to the bench. From then on nobody
can change the records up to it without your signed head showing it, not even
who holds the bench's key. What you say with it is that you saw this head on
that day, and no more; you have seen no record.

Countersign only logs that go on from what you signed last: --since LAST-HEAD
with --bundle FILE.zip, which the bench made with records bundle --since
LAST-HEAD, checks that first.`,
		Example: `  dutybench records countersign bench.head --key bench.key.pub --key-file desk.key --make-key warranty-desk --out signed.head
  dutybench records countersign new.head --key bench.key.pub --key-file desk.key --since signed.head --bundle new.zip`,
		Args: one("file with the bench's signed head"),
		RunE: a.do(func(_ *cobra.Command, args []string) error { return a.countersign(args[0], f) }),
	}
	fl := c.Flags()
	fl.StringVar(&f.keyFile, "key-file", "", "`FILE` with your own private key")
	fl.StringVar(&f.makeKey, "make-key", "", "make that key first, under `NAME`")
	fl.StringArrayVar(&f.keys, "key", nil, "`FILE` or public key of the bench")
	fl.StringArrayVar(&f.since, "since", nil, "`FILE` with the head that you signed last")
	fl.StringVar(&f.bundle, "bundle", "", "`FILE` that proves that the log goes on from there")
	fl.StringVar(&f.out, "out", "", "write the countersigned head to `FILE`")
	return c
}

func (a *app) countersign(path string, f countersignFlags) error {
	if f.keyFile == "" {
		return usage("say with which key: --key-file FILE, and --make-key NAME to make it now")
	}
	if len(f.since) > 0 != (f.bundle != "") {
		return usage("--since and --bundle go together: the bundle proves that the log goes on from that head")
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return fmt.Errorf("the head cannot be read: %w", err)
	}
	h, err := ledger.Unverified(text)
	if err != nil {
		return err
	}
	if h.Signed == nil {
		return errors.New("a line off a report bears no signature, so it cannot be countersigned; ask the bench for records head --out FILE")
	}
	keys, err := publicKeys(f.keys)
	if err != nil {
		return err
	}
	if len(keys) != 1 {
		return usage("give the bench's public key, one, with --key; get it from the bench itself, and not with the head")
	}
	if h, err = ledger.ParseHead(text, keys[0]); err != nil {
		return err
	}
	if err := goesOn(h, keys[0], f); err != nil {
		return err
	}
	key, err := a.signingKey(f)
	if err != nil {
		return err
	}
	signed, err := key.Countersign(h, keys[0])
	if err != nil {
		return err
	}
	return a.deliver(f.out, signed.Signed)
}

// signingKey loads the key, or makes it.
func (a *app) signingKey(f countersignFlags) (ledger.Key, error) {
	if f.makeKey == "" {
		key, err := ledger.LoadKey(f.keyFile)
		if errors.Is(err, fs.ErrNotExist) {
			return key, fmt.Errorf("%w; --make-key NAME makes it", err)
		}
		return key, err
	}
	if strings.HasPrefix(f.makeKey, ledger.Origin("")) {
		return ledger.Key{}, usage("--make-key %q: names that begin so are those of benches", f.makeKey)
	}
	key, err := ledger.NewKey(f.makeKey)
	if err != nil {
		return key, err
	}
	if err := key.Save(f.keyFile); err != nil {
		return key, fmt.Errorf("%w; leave --make-key out to use a key that is there", err)
	}
	fmt.Fprintf(a.stderr, "Made %s, which only you may read: keep a copy where only you can reach it. Hand out %s.pub; its fingerprint is %s.\n",
		f.keyFile, f.keyFile, ledger.Fingerprint(key.Public()))
	return key, nil
}

// goesOn is nil where the log extends what was signed last.
func goesOn(h ledger.Head, benchKey string, f countersignFlags) error {
	if f.bundle == "" {
		return nil
	}
	x := bundle.Expectations{Keys: []string{benchKey}, Older: []ledger.Head{h}}
	for _, where := range f.since {
		text, err := headText(where)
		if err != nil {
			return err
		}
		last, err := ledger.Unverified(text)
		if err != nil {
			return err
		}
		x.Older = append(x.Older, last)
	}
	b, err := bundle.Open(f.bundle)
	if err != nil {
		return err
	}
	defer b.Close()
	c, err := b.Verify(x)
	if err != nil {
		return err
	}
	if c.Whole() && (c.Head.Size != h.Size || c.Head.Root != h.Root) {
		return fmt.Errorf("the bundle is of the log's head of %d records, and the one to sign is of %d; ask for both anew", c.Head.Size, h.Size)
	}
	if !c.Whole() {
		return fmt.Errorf("it is not countersigned, as the bundle does not prove that the log goes on from what you signed last: %s", plot.Plain(c.Damages[0].String()))
	}
	return nil
}
