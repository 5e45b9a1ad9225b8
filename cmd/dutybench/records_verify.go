package main

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"dutybench/bench/plot"
	"dutybench/bench/record"
	"dutybench/bench/record/ledger"
	"dutybench/bench/record/store"
)

// verifyFlags are what a person knows from elsewhere.
type verifyFlags struct {
	bundle, extract string
	heads, keys     []string
}

func newRecordsVerify(a *app) *cobra.Command {
	var f verifyFlags
	c := &cobra.Command{
		Use:   "verify [FILE.zip]",
		Short: "Check that every record is whole and in its place, in the store or in a bundle",
		Long: `Verify reads everything in the store and names each record that was altered,
removed, swapped or put in between. A FILE.zip, as records bundle makes it, is
checked without any store.

The records alone cannot show that somebody with the bench's private key wrote
all of them anew. What you have from elsewhere can:
  --head  a head of the log that you kept: a file from records head, with its
          signatures, or the line off a printed report, in quotes. The log must
          begin with what that head names. The line bears no signature: it is
          worth what the page is worth that you have it from.
  --key   a public key, or a file with one: the bench's, which must be the one
          that signed, or that of somebody who countersigned.
Both may be given several times.

Exit status: 0 all is whole and what was asked for is proved; 1 it is not, and
what is wrong is named, or an error; 2 wrong usage.`,
		Example: `  dutybench records verify
  dutybench records verify --head "dutybench/k3v7q2m9xw 412 47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU="
  dutybench records verify claim-4711.zip --key bench.key.pub --head kept.head`,
		Args: cobra.MaximumNArgs(1),
		RunE: a.do(func(_ *cobra.Command, args []string) error {
			if len(args) == 1 {
				if f.bundle != "" {
					return usage("--bundle and an argument both name a bundle; give one")
				}
				f.bundle = args[0]
			}
			keys, err := publicKeys(f.keys)
			if err != nil {
				return err
			}
			if f.bundle != "" {
				return a.verifyBundle(f, keys)
			}
			if f.extract != "" {
				return usage("--extract unpacks a bundle; name one")
			}
			return a.verifyRecords(f, keys)
		}),
	}
	fl := c.Flags()
	fl.StringVar(&f.bundle, "bundle", "", "check the bundle in `FILE` and no store")
	fl.StringArrayVar(&f.heads, "head", nil, "`FILE` or line with a head that you kept; may be repeated")
	fl.StringArrayVar(&f.keys, "key", nil, "`FILE` or public key that you have from elsewhere; may be repeated")
	fl.StringVar(&f.extract, "extract", "", "also unpack the bundle into the new folder `DIR`")
	return c
}

// verifyRecords checks the store.
func (a *app) verifyRecords(f verifyFlags, keys []string) error {
	s, err := a.storeToVerify()
	if err != nil {
		return err
	}
	defer a.close(s)
	v := &storeCheck{app: a, keys: keys}
	older, err := v.kept(s, f.heads)
	if err != nil {
		return err
	}
	if err := v.trust(s); err != nil {
		return err
	}
	var damages []record.Damage
	err = a.patiently("Reading every record", func() (err error) {
		damages, err = s.Verify(older...)
		return err
	})
	if err != nil {
		return err
	}
	for i, d := range damages {
		if i == mostDamages {
			v.say("... and %d more.", len(damages)-i)
			break
		}
		v.wrong(d)
	}
	if v.failed != nil || a.status != 0 {
		return v.failed
	}
	counts, err := s.Causes(record.Filter{})
	if err != nil {
		return err
	}
	n := 0
	for _, c := range counts {
		n += c.N
	}
	v.say("%s: %d records, all whole and in their places.", placeName(s), n)
	for _, p := range v.proved {
		v.say("%s", p)
	}
	v.open(s, len(f.heads) > 0 || len(keys) > 0)
	return v.failed
}

// mostDamages is how many are named on the screen (chosen).
const mostDamages = 100

// open says what a store by itself cannot show: its key, and unless something
// from elsewhere was given, that it is worth as much as the folder is.
func (v *storeCheck) open(s *store.Store, compared bool) {
	if h, err := s.Head(""); err == nil {
		if key, err := s.Key(h.Bench); err == nil {
			v.say("Key of bench %s, fingerprint %s.", h.Bench, ledger.Fingerprint(key))
		}
	}
	if compared || v.failed != nil {
		return
	}
	v.failed = v.writeLines(fill80("Not proved: that this is the bench's own key and its only log. Whoever can write where the records are can put a whole new log under a key of their own in their place, or an older copy. What you kept elsewhere shows that: give --key with the bench's public key, and --head with the newest head, or the line off a report.") + "\n")
}

// storeToVerify opens the store for reading only: looking for what is wrong
// changes nothing, and one that is refused for writing can be looked at too.
// Only records of the former form are taken over first.
func (a *app) storeToVerify() (*store.Store, error) {
	p, err := a.place()
	if err != nil {
		return nil, err
	}
	if _, err := os.Stat(filepath.Join(p.folder, "records.db")); err != nil || p.server != "" {
		return a.standingStore()
	}
	return store.Open(p.folder, store.Options{ReadOnly: true, Now: a.now})
}

func placeName(s *store.Store) string {
	if s.Folder() == "" {
		return "the server"
	}
	return s.Folder()
}

// storeCheck is one check of a store under way.
type storeCheck struct {
	*app
	keys   []string
	signed []string // those of keys that signed something
	proved []string
	failed error // of printing
}

func (v *storeCheck) say(format string, args ...any) {
	if _, err := fmt.Fprintf(v.stdout, format+"\n", args...); err != nil && v.failed == nil {
		v.failed = fmt.Errorf("writing what was found: %w", err)
	}
}

// wrong names one thing that is not as it should be.
func (v *storeCheck) wrong(d record.Damage) {
	v.status = exitError
	v.say("%s", plot.Plain(d.String()))
}

// kept reads the heads from elsewhere and checks their signatures.
func (v *storeCheck) kept(s *store.Store, heads []string) ([]ledger.Head, error) {
	var out []ledger.Head
	for _, where := range heads {
		text, err := headText(where)
		if err != nil {
			return nil, err
		}
		h, err := ledger.Unverified(text)
		if err != nil {
			return nil, err
		}
		if h.Signed == nil {
			v.proved = append(v.proved, fmt.Sprintf("The log begins with the %d records that the line names.", h.Size))
			out = append(out, h)
			continue
		}
		key, err := s.Key(h.Bench)
		if err == nil {
			h, err = ledger.ParseHead(text, append([]string{key}, v.keys...)...)
		}
		if err != nil {
			v.wrong(record.Damage{Record: "head " + where, Problem: err.Error()})
			continue
		}
		out = append(out, h)
		v.proved = append(v.proved, fmt.Sprintf("The log begins with the %d records that the head you kept names.", h.Size))
		for _, k := range v.keys {
			if one, err := ledger.ParseHead(text, key, k); err == nil && len(one.By) == 2 {
				v.signed = append(v.signed, k)
				v.proved = append(v.proved, fmt.Sprintf("%s countersigned them.", one.By[1]))
			}
		}
	}
	return out, nil
}

// trust holds the store's keys to those from elsewhere.
func (v *storeCheck) trust(s *store.Store) error {
	for _, k := range v.keys {
		if bench, ok := ledger.KeyBench(k); ok {
			own, err := s.Key(bench)
			if err == nil && own == k {
				v.proved = append(v.proved, fmt.Sprintf("The log of bench %s is signed by the key that you gave.", bench))
				continue
			}
			if err == nil {
				v.wrong(record.Damage{Record: "bench " + bench, Problem: fmt.Sprintf("its log is signed by a key with the fingerprint %s; the one that you gave has %s", ledger.Fingerprint(own), ledger.Fingerprint(k))})
				continue
			}
		}
		found := false
		for _, x := range v.signed {
			found = found || x == k
		}
		if !found {
			name, _ := ledger.KeyName(k)
			return fmt.Errorf("nothing here is signed by %s, whose key you gave; give the head that was countersigned with --head", name)
		}
	}
	return nil
}
