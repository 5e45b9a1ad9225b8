package store

import (
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
)

// asMade refuses a database that holds more or less than this program makes:
// a trigger or a view in the name of a table would change what is written
// or read.
func (b *base) asMade() error {
	if b.pg {
		return nil // who may change the server's tables may change its rows
	}
	memory, err := sql.Open("sqlite", ":memory:")
	if err != nil {
		return fmt.Errorf("store: the database's form cannot be checked: %w", err)
	}
	defer memory.Close()
	memory.SetMaxOpenConns(1)
	fresh := &base{db: memory, name: "memory", forms: b.forms}
	if err := fresh.write(func(t *tx) error { return t.migrate() }); err != nil {
		return err
	}
	want, err := fresh.schema()
	if err != nil {
		return err
	}
	have, err := b.schema()
	if err != nil {
		return err
	}
	if maps.Equal(want, have) {
		return nil
	}
	for _, name := range slices.Sorted(maps.Keys(want)) {
		if have[name] != want[name] {
			return fmt.Errorf("store: %s is damaged: its %s is not as this program makes it; bring it back from a backup", b.name, name)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(have)) {
		if _, ok := want[name]; !ok {
			return fmt.Errorf("store: %s is not as this program made it: it holds the %s; bring it back from a backup", b.name, name)
		}
	}
	return errors.New("store: the database's form cannot be told")
}

// schema is what an SQLite database is made of.
func (b *base) schema() (map[string]string, error) {
	out := map[string]string{}
	err := b.read(func(t *tx) error {
		n := 0
		return t.each("SELECT type, name, coalesce(sql, '') FROM sqlite_schema LIMIT 1000", nil, func(scan func(...any) error) error {
			var kind, name, q string
			if err := scan(&kind, &name, &q); err != nil {
				return err
			}
			if n++; n == 1000 {
				return errors.New("it is made of more parts than a store is; bring it back from a backup")
			}
			if !ofItself(kind, name, q) {
				out[kind+" "+name] = q
			}
			return nil
		})
	})
	return out, err
}

// ofItself says what SQLite makes by itself: indexes of keys and tables for
// its own counts. No trigger or view is, whatever its name.
func ofItself(kind, name, q string) bool {
	switch kind {
	case "index":
		return q == "" && strings.HasPrefix(name, "sqlite_autoindex_")
	case "table":
		return slices.Contains([]string{"sqlite_sequence", "sqlite_stat1", "sqlite_stat3", "sqlite_stat4"}, name)
	}
	return false
}
