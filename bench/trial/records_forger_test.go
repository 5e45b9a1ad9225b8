package trial_test

import (
	"bytes"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/mod/sumdb/tlog"

	"dutybench/bench/record/ledger"
)

// keyed are the tables that hold a record's rows by its number.
func (o *original) keyed() (out []string) {
	for _, name := range []string{"records", "parts", "bodies"} {
		if o.tables[name] != nil {
			out = append(out, name)
		}
	}
	return out
}

func (o *original) all(db *sql.DB, q string, args ...any) error {
	for _, table := range o.keyed() {
		if _, err := db.Exec(strings.ReplaceAll(q, "{table}", table), args...); err != nil {
			return fmt.Errorf("%w: %w", errNothing, err)
		}
	}
	return nil
}

// middle takes a whole record out, and may close the gap.
func (o *original) middle(db *sql.DB, rng *rand.Rand) (*change, error) {
	k := 1 + rng.IntN(o.n-1)
	c := &change{kind: "record removed", what: o.id(k), records: []string{o.id(k)}}
	if err := o.all(db, "DELETE FROM {table} WHERE seq = ?", k); err != nil {
		return nil, err
	}
	if rng.IntN(2) == 0 {
		c.kind, c.what = "record removed, rest renumbered", c.what+", and the rest renumbered"
		for i := k + 1; i <= o.n; i++ {
			if err := o.all(db, "UPDATE {table} SET seq = ? WHERE seq = ?", i-1, i); err != nil {
				return nil, err
			}
		}
	}
	return c, nil
}

// order gives two whole records each other's number, or one another number.
func (o *original) order(db *sql.DB, rng *rand.Rand) (*change, error) {
	a, b := 1+rng.IntN(o.n), 1+rng.IntN(o.n)
	if a == b {
		b = o.n + 1 + rng.IntN(3)
	}
	c := &change{kind: "records swapped", what: fmt.Sprintf("%d and %d", a, b), records: []string{o.id(a), o.id(b)}}
	if b > o.n {
		c.kind = "record renumbered"
	}
	for _, step := range [][2]int{{a, -1}, {b, a}, {-1, b}} {
		if err := o.all(db, "UPDATE {table} SET seq = ? WHERE seq = ?", step[1], step[0]); err != nil {
			return nil, err
		}
	}
	return c, nil
}

// tail cuts records off the end with all that speaks of them; the head is
// left, or changed back to an older one that the bench itself had signed, or
// signed anew by who has the key.
func (o *original) tail(dir string, db *sql.DB, rng *rand.Rand) (*change, error) {
	size := rng.IntN(o.n)
	how := rng.IntN(3)
	if how == 1 {
		size = int(o.older[0].Size)
	}
	c := &change{what: fmt.Sprintf("%d of %d left", size, o.n)}
	if err := o.all(db, "DELETE FROM {table} WHERE seq > ?", size); err != nil {
		return nil, err
	}
	if err := once(db, "DELETE FROM hashes WHERE place >= ?", ledger.Stored(int64(size))); err != nil {
		return nil, err
	}
	if err := once(db, "UPDATE benches SET size = ?", size); err != nil {
		return nil, err
	}
	switch how {
	case 0:
		c.kind = "tail cut, head left"
		return c, nil
	case 1:
		c.kind, c.heads = "tail cut, an older head put back", true
		return c, once(db, "UPDATE benches SET head = ?", o.older[0].Signed)
	}
	c.kind, c.heads = "tail cut, signed by the holder of the key", true
	key, err := ledger.LoadKey(filepath.Join(dir, "bench.key"))
	if err != nil {
		return nil, err
	}
	return c, o.sign(db, key, size)
}

// sign puts a head of what the hashes now say.
func (o *original) sign(db *sql.DB, key ledger.Key, size int) error {
	root, err := ledger.Root(int64(size), tlog.HashReaderFunc(func(places []int64) (out []ledger.Hash, err error) {
		for _, p := range places {
			var h []byte
			if err := db.QueryRow("SELECT hash FROM hashes WHERE place = ?", p).Scan(&h); err != nil {
				return nil, err
			}
			out = append(out, ledger.Hash(h))
		}
		return out, nil
	}))
	if err != nil {
		return err
	}
	head, err := key.Sign(o.bench, int64(size), root)
	if err != nil {
		return err
	}
	return once(db, "UPDATE benches SET head = ?", head.Signed)
}

// forge changes what a record says and redoes every hash that nobody signed:
// that of the record, those of all behind it, and the whole tree.
func (o *original) forge(dir string, db *sql.DB, rng *rand.Rand) (*change, error) {
	k := 1 + rng.IntN(o.n)
	c := &change{what: o.id(k)}
	previous := ""
	var bodies [][]byte
	for seq := 1; seq <= o.n; seq++ {
		var body []byte
		if err := db.QueryRow("SELECT data FROM bodies WHERE seq = ?", seq).Scan(&body); err != nil {
			return nil, err
		}
		was := bytes.Clone(body)
		if seq == k {
			body = bytes.Replace(body, []byte(`"operator": "K. Writer"`), []byte(`"operator": "K. Wraith"`), 1)
			if bytes.Equal(body, was) {
				return nil, errNothing
			}
			if err := once(db, "UPDATE records SET operator = 'K. WRAITH' WHERE seq = ?", seq); err != nil {
				return nil, err
			}
		}
		if seq > k {
			at := bytes.Index(body, []byte(`"previous": "`))
			copy(body[at+len(`"previous": "`):], previous)
		}
		sum := sha256.Sum256(body)
		previous = hex.EncodeToString(sum[:])
		if !bytes.Equal(body, was) {
			if err := once(db, "UPDATE bodies SET data = ? WHERE seq = ?", body, seq); err != nil {
				return nil, err
			}
			if err := once(db, "UPDATE records SET sha256 = ? WHERE seq = ?", sum[:], seq); err != nil {
				return nil, err
			}
		}
		bodies = append(bodies, body)
	}
	var tree []ledger.Hash
	for i, body := range bodies {
		more, err := ledger.Append(int64(i), body, tlog.HashReaderFunc(func(places []int64) (out []ledger.Hash, err error) {
			for _, p := range places {
				out = append(out, tree[p])
			}
			return out, nil
		}))
		if err != nil {
			return nil, err
		}
		tree = append(tree, more...)
	}
	for p, h := range tree {
		if err := once(db, "UPDATE hashes SET hash = ? WHERE place = ?", h[:], p); err != nil {
			return nil, err
		}
	}
	switch rng.IntN(3) {
	case 0:
		c.kind = "record forged, all hashes redone"
		return c, nil
	case 1:
		c.kind, c.heads = "record forged, signed by the holder of the key", true
		key, err := ledger.LoadKey(filepath.Join(dir, "bench.key"))
		if err != nil {
			return nil, err
		}
		return c, o.sign(db, key, o.n)
	}
	// Another key under the same name, in the database and beside it.
	c.kind, c.public = "record forged, signed by another key", true
	key, err := ledger.NewKey(ledger.Origin(o.bench))
	if err != nil {
		return nil, err
	}
	for _, name := range []string{"bench.key", "bench.key.pub"} {
		if err := os.Remove(filepath.Join(dir, name)); err != nil {
			return nil, err
		}
	}
	if err := key.Save(filepath.Join(dir, "bench.key")); err != nil {
		return nil, err
	}
	if err := once(db, "UPDATE benches SET public = ?", key.Public()); err != nil {
		return nil, err
	}
	return c, o.sign(db, key, o.n)
}
