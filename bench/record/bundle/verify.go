package bundle

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"

	"dutybench/bench/record"
	"dutybench/bench/record/ledger"
)

// Expectations are what whoever checks a bundle knows from elsewhere.
type Expectations struct {
	// Keys are public keys that did not come with the bundle: the bench's own,
	// and those of who countersigned. Each must have signed.
	Keys []string
	// Older are heads that were kept: signed ones, or lines off a report.
	Older []ledger.Head
	// Progress, when not nil, is told how many records are looked at.
	Progress func(done, of int)
}

// Check is what came of a bundle.
type Check struct {
	Bench string
	Head  ledger.Head
	Key   string // the bundle's key of the bench
	// Trusted says that the key is one that did not come with the bundle.
	Trusted bool
	Records []record.Entry // that are whole and in their places
	// Proved and Open are sentences: what the bundle proves, and what it does
	// not.
	Proved, Open []string
	// Damages name what is wrong, and what was expected and is not proved.
	Damages []record.Damage
}

// Whole says that nothing is wrong, and all that was expected is proved.
func (c *Check) Whole() bool { return len(c.Damages) == 0 }

// Verify checks everything in the bundle. The error is of reading the file;
// what is wrong with the bundle is in Damages.
func (b *Bundle) Verify(x Expectations) (*Check, error) {
	v := &verifying{Bundle: b, x: x}
	for _, k := range x.Keys {
		if _, err := ledger.KeyName(k); err != nil {
			return nil, err
		}
	}
	known := v.log()
	if err := v.form(); err != nil {
		return nil, fmt.Errorf("bundle: it cannot be read: %w", err)
	}
	if known {
		v.trust()
		v.extensions()
		v.records()
		v.sentences()
	}
	return &v.Check, nil
}

// verifying is one check under way.
type verifying struct {
	*Bundle
	Check
	x     Expectations
	keys  []string
	older []ledger.Head // those in the bundle that its log extends
	// signed are names of trusted keys, with how far into the log the newest
	// head goes that each signed.
	signed map[string]int64
	// covered is how far the heads that were kept go.
	covered int64
	doubts  int
	back    []string // records made by the clock before the one before
}

func (v *verifying) damage(who, format string, a ...any) {
	v.Damages = append(v.Damages, record.Damage{Record: who, Problem: fmt.Sprintf(format, a...)})
}

func (v *verifying) wrong(who string, err error) { v.damage(who, "%v", clause(err)) }

// clause is an error of the rooms below without their word before it.
func clause(err error) error {
	if s, ok := strings.CutPrefix(err.Error(), "ledger: "); ok {
		return errors.New(s)
	}
	if s, ok := strings.CutPrefix(err.Error(), "record: "); ok {
		return errors.New(s)
	}
	return err
}

// form holds the archive to its one form, and README.txt to its text.
func (v *verifying) form() error {
	names, err := strange(v.r, v.size, v.zip.File)
	if err != nil {
		return err
	}
	for _, name := range names {
		who := v.path
		if seq, what, ok := recordOf(name); ok {
			who, name = v.who(seq), what
		}
		if name == "" {
			name = "its end"
		}
		v.damage(who, "%.80s is not packed the way a bundle is, so that other tools may see other files", name)
	}
	text, err := v.bytes(v.zip.File[0])
	if err != nil || string(text) != readme {
		v.damage(readmeFile, "it is not the text of bundle format 1; do not follow what it says")
	}
	return nil
}

// log reads head and keys, without which nothing else can be checked.
func (v *verifying) log() bool {
	signed, err := v.bytes(v.zip.File[1])
	if err != nil {
		v.wrong(headFile, err)
		return false
	}
	text, err := v.bytes(v.zip.File[2])
	if err != nil {
		v.wrong(keysFile, err)
		return false
	}
	v.keys = strings.Split(strings.TrimSuffix(string(text), "\n"), "\n")
	if strings.Join(v.keys, "\n")+"\n" != string(text) || len(v.keys) > 100 {
		v.damage(keysFile, "it is not a list of public keys")
		return false
	}
	for i, k := range v.keys {
		if _, err := ledger.KeyName(k); err != nil || strings.TrimSpace(k) != k || slices.Contains(v.keys[:i], k) {
			v.damage(keysFile, "it is not a list of public keys, each once")
			return false
		}
	}
	if v.Head, err = ledger.ParseHead(signed, slices.Concat(v.keys, v.x.Keys)...); err != nil {
		v.wrong(headFile, err)
		return false
	}
	v.Bench, v.Key = v.Head.Bench, v.keys[0]
	return true
}

// who names a record, as it should be named.
func (v *verifying) who(seq int) string {
	if v.Bench == "" {
		return fmt.Sprintf("record %06d", seq)
	}
	return record.ID{Bench: v.Bench, Seq: seq}.String()
}

// trust compares the bench's key with those from elsewhere.
func (v *verifying) trust() {
	var own []string
	for _, k := range v.x.Keys {
		if bench, ok := ledger.KeyBench(k); ok && bench == v.Bench {
			own = append(own, strings.TrimSpace(k))
		}
	}
	v.Trusted = slices.Contains(own, v.Key)
	if len(own) > 0 && !v.Trusted {
		v.damage(headFile, "it is signed by a key with the fingerprint %s, and the key of bench %s that you gave has %s: somebody made a log under this bench's name, or the bench has a new key, which its owner can say",
			ledger.Fingerprint(v.Key), v.Bench, ledger.Fingerprint(own[0]))
	}
	v.signed = map[string]int64{}
	v.countersigned(v.Head)
}

// countersigned notes who of the trusted signed a head beside the bench.
func (v *verifying) countersigned(h ledger.Head) {
	for _, k := range v.x.Keys {
		k = strings.TrimSpace(k)
		if k == v.Key || h.Signed == nil {
			continue
		}
		// By is by name; the key itself must have signed.
		if one, err := ledger.ParseHead(h.Signed, v.Key, k); err == nil && len(one.By) == 2 {
			v.signed[k] = max(v.signed[k], h.Size)
		}
	}
}

// extensions checks the older heads: those in the bundle, then those that were
// kept.
func (v *verifying) extensions() {
	for i := range v.Bundle.older {
		name := olderName(i, headFile)
		h, err := v.extension(v.zip.File[3+2*i], v.zip.File[4+2*i])
		if err != nil {
			v.wrong(name, err)
			continue
		}
		v.older = append(v.older, h)
		v.countersigned(h)
	}
	for _, k := range v.x.Keys {
		k = strings.TrimSpace(k)
		bench, _ := ledger.KeyBench(k)
		name, _ := ledger.KeyName(k)
		if _, ok := v.signed[k]; bench != v.Bench && !ok {
			v.damage(headFile, "nothing in the bundle is signed by %s, whose key you gave", name)
		}
	}
	for _, h := range v.x.Older {
		if err := v.kept(h); err != nil {
			v.wrong(fmt.Sprintf("kept head of %d records", h.Size), err)
			continue
		}
		v.Proved = append(v.Proved, fmt.Sprintf("The log begins with the %d records that the head you kept names: of them, nothing was altered or removed since, and nothing put in between.", h.Size))
		v.covered = max(v.covered, h.Size)
	}
}

// extension reads one older head of the bundle with its proof.
func (v *verifying) extension(head, proof *zipFile) (ledger.Head, error) {
	text, err := v.bytes(head)
	if err != nil {
		return ledger.Head{}, err
	}
	h, err := ledger.Unverified(text)
	if err != nil {
		return h, err
	}
	if h.Signed != nil {
		if h, err = ledger.ParseHead(text, slices.Concat(v.keys, v.x.Keys)...); err != nil {
			return h, err
		}
	} else if h.String()+"\n" != string(text) {
		return h, errors.New("it is not written the way a bundle has it")
	}
	if text, err = v.bytes(proof); err != nil {
		return h, err
	}
	p, err := parseProof(text)
	if err != nil || !bytes.Equal(extensionText(p), text) {
		return h, errors.New("its proof is not one")
	}
	return h, ledger.CheckExtension(v.Head, h, p)
}

// kept is nil where a head from elsewhere is one that the log extends.
func (v *verifying) kept(h ledger.Head) error {
	if h.Signed != nil {
		if _, err := ledger.ParseHead(h.Signed, v.Key); err != nil {
			return err
		}
	}
	if h.Bench != v.Bench {
		return fmt.Errorf("it is of bench %s, and the bundle of %s", h.Bench, v.Bench)
	}
	for _, other := range slices.Concat(v.older, []ledger.Head{v.Head}) {
		switch {
		case other.Size == h.Size && other.Root == h.Root:
			return nil
		case other.Size == h.Size:
			return fmt.Errorf("it is of another log: the bundle's has at %d records the root %s, and the kept one %s; one of the two was forged by whoever holds the bench's key", h.Size, other.Root, h.Root)
		}
	}
	if h.Size > v.Head.Size {
		return fmt.Errorf("the bundle's log holds %d records only: it was made before that head, or its tail was cut; ask for a new one", v.Head.Size)
	}
	return fmt.Errorf("the bundle does not prove that its log begins with it; ask for one that was made since this head (records bundle --since)")
}
