package trial_test

import (
	"bytes"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"

	"dutybench/bench/record/ledger"
)

// place is a row of a table: its values, and how to find it.
type place struct {
	table   string
	columns []string
	values  []any
}

// draw picks a row of any table that has one.
func (o *original) draw(db *sql.DB, rng *rand.Rand) (*place, error) {
	names := slices.Sorted(maps.Keys(o.tables))
	for {
		p := &place{table: names[rng.IntN(len(names))]}
		p.columns = o.tables[p.table]
		err := p.read(db, "ORDER BY 1, 2 LIMIT 1 OFFSET ?", rng.IntN(o.rows(db, p.table)+1))
		if !errors.Is(err, sql.ErrNoRows) {
			return p, err
		}
	}
}

func (o *original) rows(db *sql.DB, table string) (n int) {
	_ = db.QueryRow("SELECT count(*) FROM " + table).Scan(&n)
	return n
}

func (p *place) read(db *sql.DB, which string, args ...any) error {
	p.values = make([]any, len(p.columns))
	into := make([]any, len(p.columns))
	for i := range into {
		into[i] = &p.values[i]
	}
	order := strings.Replace(which, "ORDER BY 1, 2", "ORDER BY "+strings.Join(p.columns[:min(2, len(p.columns))], ", "), 1)
	return db.QueryRow("SELECT "+strings.Join(p.columns, ", ")+" FROM "+p.table+" "+order, args...).Scan(into...)
}

// where picks the row by all that it holds.
func (p *place) where() (string, []any) {
	var parts []string
	for _, c := range p.columns {
		parts = append(parts, c+" IS ?")
	}
	return " WHERE " + strings.Join(parts, " AND "), p.values
}

func (p *place) value(column string) any {
	if i := slices.Index(p.columns, column); i >= 0 {
		return p.values[i]
	}
	return nil
}

// records names the records to which the row belongs, by what the tables say
// themselves.
func (o *original) records(db *sql.DB, p *place) (ids []string) {
	if seq, ok := p.value("seq").(int64); ok {
		return []string{o.id(int(seq))}
	}
	if at, ok := p.value("place").(int64); ok && p.table == "hashes" {
		for seq := 1; seq <= o.n; seq++ { // a leaf is a record's, what is above it is of several
			if at == ledger.Stored(int64(seq)-1) {
				return []string{o.id(seq)}
			}
		}
		return nil
	}
	sum := p.value("sha256")
	if sum == nil || o.tables["parts"] == nil {
		return nil
	}
	rows, err := db.Query("SELECT seq FROM parts WHERE sha256 = ?", sum)
	if err != nil {
		return nil
	}
	defer rows.Close()
	for rows.Next() {
		var seq int
		if rows.Scan(&seq) == nil {
			ids = append(ids, o.id(seq))
		}
	}
	return ids
}

// other is a value near by that differs.
func other(v any, rng *rand.Rand) any {
	switch v := v.(type) {
	case int64:
		return []int64{v + 1, v - 1, 1 - v, v + 1000, -v, rng.Int64()}[rng.IntN(6)]
	case string:
		b := []byte(v)
		if len(b) == 0 {
			return []string{"x", " "}[rng.IntN(2)]
		}
		i := rng.IntN(len(b))
		switch rng.IntN(5) {
		case 0:
			return v[:i] + v[i+1:]
		case 1:
			return v[:i] + "x" + v[i:]
		case 2:
			b[i] ^= 0x20
		case 3:
			return ""
		default:
			b[i] = "0123456789abcdefghijklmnop"[rng.IntN(26)]
		}
		return string(b)
	case []byte:
		b := bytes.Clone(v)
		switch k := rng.IntN(6); {
		case len(b) == 0:
			return []byte{0}
		case k == 0:
			return b[:len(b)-1]
		case k == 1:
			return append(b, byte(rng.Uint32()))
		case k == 2:
			return []byte{}
		default:
			b[rng.IntN(len(b))] ^= 1 << rng.IntN(8)
		}
		return b
	}
	return int64(1)
}

func equal(a, b any) bool {
	x, ok := a.([]byte)
	y, ok2 := b.([]byte)
	if ok && ok2 {
		return bytes.Equal(x, y)
	}
	return a == b
}

// cell changes one value of one row.
func (o *original) cell(db *sql.DB, rng *rand.Rand) (*change, error) {
	p, err := o.draw(db, rng)
	if err != nil {
		return nil, err
	}
	i := rng.IntN(len(p.columns))
	v := other(p.values[i], rng)
	if equal(v, p.values[i]) {
		return nil, errNothing
	}
	c := &change{kind: "value of " + p.table, what: p.table + "." + p.columns[i] + fmt.Sprintf(": %.40q to %.40q", p.values[i], v), records: o.records(db, p)}
	where, args := p.where()
	return c, once(db, "UPDATE "+p.table+" SET "+p.columns[i]+" = ?"+where, append([]any{v}, args...)...)
}

// once does what must change a row; what the database refuses is no change.
func once(db *sql.DB, q string, args ...any) error {
	r, err := db.Exec(q, args...)
	if err != nil {
		return fmt.Errorf("%w: %w", errNothing, err)
	}
	if n, _ := r.RowsAffected(); n == 0 {
		return errNothing
	}
	return nil
}

// remove takes a row away.
func (o *original) remove(db *sql.DB, rng *rand.Rand) (*change, error) {
	p, err := o.draw(db, rng)
	if err != nil {
		return nil, err
	}
	where, args := p.where()
	return &change{kind: "row removed from " + p.table, what: fmt.Sprintf("%.60q", p.values), records: o.records(db, p)},
		once(db, "DELETE FROM "+p.table+where, args...)
}

// double puts a row in that is another one with some values changed.
func (o *original) double(db *sql.DB, rng *rand.Rand) (*change, error) {
	p, err := o.draw(db, rng)
	if err != nil {
		return nil, err
	}
	c := &change{kind: "row put into " + p.table}
	for range 1 + rng.IntN(3) {
		i := rng.IntN(len(p.columns))
		p.values[i] = other(p.values[i], rng)
	}
	c.what = fmt.Sprintf("%.60q", p.values)
	if seq, ok := p.value("seq").(int64); ok && seq >= 1 && seq <= int64(o.n) && p.value("bench") == any(o.bench) {
		c.records = []string{o.id(int(seq))}
	}
	return c, once(db, "INSERT INTO "+p.table+" ("+strings.Join(p.columns, ", ")+") VALUES (?"+strings.Repeat(", ?", len(p.columns)-1)+")", p.values...)
}

// swap gives two rows of a table each other's value in one column.
func (o *original) swap(db *sql.DB, rng *rand.Rand) (*change, error) {
	a, err := o.draw(db, rng)
	if err != nil {
		return nil, err
	}
	b := &place{table: a.table, columns: a.columns}
	if err := b.read(db, "ORDER BY 1, 2 LIMIT 1 OFFSET ?", rng.IntN(o.rows(db, a.table))); err != nil {
		return nil, err
	}
	i := rng.IntN(len(a.columns))
	if equal(a.values[i], b.values[i]) {
		return nil, errNothing
	}
	c := &change{kind: "values swapped in " + a.table, what: a.table + "." + a.columns[i] + fmt.Sprintf(": %.40q and %.40q", a.values[i], b.values[i]),
		records: append(o.records(db, a), o.records(db, b)...)}
	// Over a value that nobody has, as keys must differ at all times.
	var between any = int64(-77)
	switch a.values[i].(type) {
	case string:
		between = "between"
	case []byte:
		between = []byte("between")
	}
	whereA, argsA := a.where()
	whereB, argsB := b.where()
	set := func(p *place, where string, args []any, v any) error {
		return once(db, "UPDATE "+p.table+" SET "+p.columns[i]+" = ?"+where, append([]any{v}, args...)...)
	}
	if err := set(a, whereA, argsA, between); err != nil {
		return nil, err
	}
	if err := set(b, whereB, argsB, a.values[i]); err != nil {
		return nil, err
	}
	argsA = slices.Clone(argsA)
	argsA[i] = between
	return c, set(a, whereA, argsA, b.values[i])
}
