package bundle

import (
	"fmt"
	"slices"
	"strings"

	"dutybench/bench/record/ledger"
)

// sentences says in words what is proved and what is not.
func (v *verifying) sentences() {
	n := len(v.Records)
	var proved []string
	switch {
	case n == 0:
	case v.Trusted:
		proved = append(proved, fmt.Sprintf("%s whole, and in its place in the log of bench %s, which holds %d. The log's head is signed by the key that you gave.", count(n), v.Bench, v.Head.Size))
	default:
		proved = append(proved, fmt.Sprintf("%s whole, and in its place in a log of %d under the name of bench %s.", count(n), v.Head.Size, v.Bench))
	}
	for _, k := range v.x.Keys {
		size, ok := v.signed[strings.TrimSpace(k)]
		if name, err := ledger.KeyName(k); err == nil && ok {
			proved = append(proved, fmt.Sprintf("%s, whose key you gave, countersigned the log when it held %d records: since then, nobody can have changed those, not even who holds the bench's key. Of the records here, %d are among them.", name, size, v.upTo(size)))
		}
	}
	v.Proved = append(proved, v.Proved...)
	if n := v.upTo(v.covered); n > 0 && n < len(v.Records) {
		v.Proved = append(v.Proved, fmt.Sprintf("Of the records here, the first %d were there when the newest head that you kept was made.", n))
	}

	if !v.Trusted {
		v.open("Whose log it is: the bundle vouches for itself only. Compare the fingerprint of its key, %s, with one that you have from the bench itself, or give the bench's public key.", ledger.Fingerprint(v.Key))
	}
	for _, h := range slices.Concat(v.older, []ledger.Head{v.Head}) {
		for _, name := range others(v, h) {
			v.open("That %s countersigned %d records: the signature's key is not one that you gave.", name, h.Size)
		}
	}
	if len(v.x.Older) == 0 && len(v.signed) == 0 {
		v.open("That this is the only log: who holds the bench's key could have made another one before. A head that was kept (from a report, or countersigned) would show it.")
	}
	v.open("That every test was put into the log, that the right unit was on the bench, and that what a person typed is true.")
	for _, s := range v.back {
		v.open("When: %s. One of the two times is wrong; the order is not.", s)
	}
	switch {
	case v.doubts == 1:
		v.open("When: one record says itself that its clock is in doubt.")
	case v.doubts > 1:
		v.open("When: %d records say themselves that their clock is in doubt.", v.doubts)
	case len(v.back) == 0:
		v.open("When: the times are the bench's own clock's. The log proves their order.")
	}
}

// upTo counts the records here that stand among the first of the log.
func (v *verifying) upTo(size int64) (n int) {
	for i := range v.Records {
		if int64(v.Records[i].ID.Seq) <= size {
			n++
		}
	}
	return n
}

func (v *verifying) open(format string, a ...any) { v.Open = append(v.Open, fmt.Sprintf(format, a...)) }

func count(n int) string {
	if n == 1 {
		return "1 record is"
	}
	return fmt.Sprintf("%d records are each", n)
}

// others are the names of signatures on a head that nobody from elsewhere
// vouches for.
func others(v *verifying, h ledger.Head) []string {
	if h.Signed == nil {
		return nil
	}
	one, err := ledger.ParseHead(h.Signed, slices.Concat([]string{v.Key}, v.x.Keys)...)
	if err != nil {
		return nil
	}
	return one.Unchecked
}
