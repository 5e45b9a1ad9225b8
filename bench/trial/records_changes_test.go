package trial_test

import (
	"cmp"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// tampering is what came of a kind of change.
type tampering struct {
	n, found, named, records, same, others int
	missed                                 []string
}

// inDatabase opens the copy's database for a change made in SQL.
func inDatabase(t *testing.T, f func(dir string, db *sql.DB, rng *rand.Rand) (*change, error)) func(string, *rand.Rand) (*change, error) {
	return func(dir string, rng *rand.Rand) (*change, error) {
		db := openRaw(t, dir)
		c, err := f(dir, db, rng)
		return c, errors.Join(err, db.Close())
	}
}

// TestCampaignRecordsTamper changes copies of one store, one change each, and
// has each verified.
func TestCampaignRecordsTamper(t *testing.T) {
	n := map[string]int{"sample": 100, "full": 1000}[campaign()]
	if n == 0 {
		t.Skip("a campaign: set DUTYBENCH_CAMPAIGN to sample or full")
	}
	o := makeOriginal(t, 17)
	rows := func(f func(*sql.DB, *rand.Rand) (*change, error)) func(string, *rand.Rand) (*change, error) {
		return inDatabase(t, func(_ string, db *sql.DB, rng *rand.Rand) (*change, error) { return f(db, rng) })
	}
	// How often each is drawn, of 20 (chosen: what is easiest to do, most).
	ways := []struct {
		of20 int
		do   func(dir string, rng *rand.Rand) (*change, error)
	}{
		{5, rows(o.cell)}, {1, rows(o.remove)}, {1, rows(o.double)}, {2, rows(o.swap)}, {1, rows(o.middle)}, {1, rows(o.order)},
		{2, inDatabase(t, o.tail)}, {2, inDatabase(t, o.forge)}, {4, o.raw}, {1, o.keys},
	}
	rng := rand.New(rand.NewPCG(killSeed, 7))
	kinds := map[string]*tampering{}
	nothing := 0
	for done := 0; done < n*7/10; {
		w := rng.IntN(20)
		way := 0
		for w >= ways[way].of20 {
			w -= ways[way].of20
			way++
		}
		dir := t.TempDir()
		require.NoError(t, o.copyTo(dir))
		c, err := ways[way].do(dir, rng)
		if errors.Is(err, errNothing) {
			nothing++
			require.NoError(t, os.RemoveAll(dir))
			continue
		}
		require.NoError(t, err)
		out := o.judge(dir, c)
		require.NoError(t, os.RemoveAll(dir))
		k := kinds[c.kind]
		if k == nil {
			k = &tampering{}
			kinds[c.kind] = k
		}
		if out.same {
			k.same++
			if os.Getenv("DUTYBENCH_EXPLAIN") != "" {
				t.Logf("nothing came of it: %s, %s", c.kind, c.what)
			}
			continue
		}
		done++
		k.n++
		if len(c.records) > 0 {
			k.records++
		}
		if out.found {
			k.found++
		}
		if out.found && len(c.records) > 0 && out.named {
			k.named++
		}
		if out.others && len(c.records) > 0 {
			k.others++
		}
		if !out.named {
			k.missed = append(k.missed, fmt.Sprintf("%s (of %v)\n      %s", c.what, c.records, cmp.Or(out.by, "not found")))
		}
	}
	b := makeBundle(t, o)
	for done := 0; done < n*3/10; {
		data, c, seqs := b.change(rng)
		if b.same(data) {
			nothing++
			continue
		}
		done++
		found, by := b.judge(t, data, c)
		k := kinds[c.kind]
		if k == nil {
			k = &tampering{}
			kinds[c.kind] = k
		}
		k.n++
		named := found && b.named(by, seqs)
		if found {
			k.found++
		}
		if len(seqs) > 0 {
			k.records++
			if named {
				k.named++
			}
		}
		if !named {
			k.missed = append(k.missed, fmt.Sprintf("%s (of %v)\n      %s", c.what, seqs, cmp.Or(strings.Join(by, "\n      "), "not found")))
		}
	}
	t.Logf("%d changes; %d more changed nothing and were drawn again\n%s", n, nothing, tamperTable(kinds))
	for kind, k := range kinds {
		assert.Equal(t, k.n, k.found, "%s:\n    %s", kind, strings.Join(k.missed, "\n    "))
		assert.Equal(t, k.records, k.named, "%s:\n    %s", kind, strings.Join(k.missed, "\n    "))
	}
}

func tamperTable(kinds map[string]*tampering) string {
	var b strings.Builder
	var sum tampering
	line := func(name string, k *tampering) {
		fmt.Fprintf(&b, "  %-52s %5d %6d %10d %6d %10d %10d\n", name, k.n, k.found, k.records, k.named, k.others, k.same)
	}
	fmt.Fprintf(&b, "  %-52s %5s %6s %10s %6s %10s %10s\n", "change", "n", "found", "a record's", "named", "others too", "no effect")
	for _, name := range slices.Sorted(maps.Keys(kinds)) {
		k := kinds[name]
		line(name, k)
		for to, n := range map[*int]int{&sum.n: k.n, &sum.found: k.found, &sum.records: k.records, &sum.named: k.named, &sum.others: k.others, &sum.same: k.same} {
			*to += n
		}
	}
	line("all", &sum)
	return b.String() + "  a record's, named: changes to what belongs to a record, and that one was named; others too: and another one beside it\n" +
		"  no effect: not found, and the store gives out to the byte what it gave out before; not counted in n\n"
}
