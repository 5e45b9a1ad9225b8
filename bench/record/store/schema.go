package store

import (
	"database/sql"
	"errors"
	"fmt"
	"strings"
)

// migrations bring a database from one form to the next; the number of a form
// is its place, from 1. One that was ever in use is not changed any more.
// {blob}, {int} and {table} stand for what the two databases call differently.
var migrations = []string{firstForm + indexes()}

const firstForm = `
CREATE TABLE benches (
	bench  TEXT PRIMARY KEY,
	public TEXT NOT NULL,
	own    {int} NOT NULL,
	size   {int} NOT NULL,
	head   {blob} NOT NULL
){table};
CREATE TABLE bodies (
	bench TEXT NOT NULL REFERENCES benches,
	seq   {int} NOT NULL,
	data  {blob} NOT NULL,
	PRIMARY KEY (bench, seq)
){strict};
CREATE TABLE records (
	bench TEXT NOT NULL,
	seq   {int} NOT NULL,
	sha256 {blob} NOT NULL,
	made_ms {int} NOT NULL,
	attempt {int} NOT NULL,
	interrupted {int} NOT NULL,
	doubted {int} NOT NULL,
{columns}	words TEXT NOT NULL,
	PRIMARY KEY (bench, seq),
	FOREIGN KEY (bench, seq) REFERENCES bodies
){table};
CREATE TABLE blobs (
	sha256 {blob} PRIMARY KEY,
	codec  {int} NOT NULL,
	bytes  {int} NOT NULL,
	data   {blob} NOT NULL
){strict};
CREATE TABLE parts (
	bench  TEXT NOT NULL,
	seq    {int} NOT NULL,
	name   TEXT NOT NULL,
	sha256 {blob} NOT NULL REFERENCES blobs,
	PRIMARY KEY (bench, seq, name),
	FOREIGN KEY (bench, seq) REFERENCES bodies
){table};
CREATE TABLE hashes (
	bench TEXT NOT NULL REFERENCES benches,
	place {int} NOT NULL,
	hash  {blob} NOT NULL,
	PRIMARY KEY (bench, place)
){table};
CREATE TABLE drafts (
	draft    TEXT PRIMARY KEY,
	begun_ms {int} NOT NULL,
	record   {blob} NOT NULL,
	mac      {blob} NOT NULL
){strict};
CREATE TABLE chunks (
	draft TEXT NOT NULL REFERENCES drafts,
	place {int} NOT NULL,
	data  {blob} NOT NULL,
	mac   {blob} NOT NULL,
	PRIMARY KEY (draft, place)
){strict};
CREATE TABLE servers (
	server TEXT PRIMARY KEY,
	handed {int} NOT NULL
){table};
`

// statements are a form's, as this database writes them.
func (b *base) statements(form string) []string {
	var columns strings.Builder
	for _, c := range finders {
		fmt.Fprintf(&columns, "\t%s TEXT NOT NULL,\n", c.name)
	}
	words := []string{"{columns}", columns.String(), "{blob}", "BLOB", "{int}", "INTEGER", "{table}", " STRICT, WITHOUT ROWID", "{strict}", " STRICT"}
	if b.pg {
		words = []string{"{columns}", columns.String(), "{blob}", "BYTEA", "{int}", "BIGINT", "{table}", "", "{strict}", ""}
	}
	var out []string
	for s := range strings.SplitSeq(strings.NewReplacer(words...).Replace(form), ";") {
		if s = strings.TrimSpace(s); s != "" {
			out = append(out, s)
		}
	}
	return out
}

// prepare brings the database to this program's form, and refuses one that is
// newer or none of ours.
func (b *base) prepare(readOnly bool) error {
	version, err := b.version()
	if err != nil {
		return err
	}
	switch {
	case version == len(b.forms):
		return b.asMade()
	case version > len(b.forms):
		return fmt.Errorf("store: %s was written by a newer program: its form is %d, this program knows forms up to %d; take the newer program, nothing was changed", b.name, version, len(b.forms))
	case readOnly:
		return fmt.Errorf("store: %s has form %d, this program's is %d; open it once for writing", b.name, version, len(b.forms))
	}
	if err := b.write(func(t *tx) error { return t.migrate() }); err != nil {
		return err
	}
	return b.asMade()
}

// version is the number of the form; 0 for an empty database.
func (b *base) version() (version int, err error) {
	err = b.read(func(t *tx) error {
		version, err = t.version()
		return err
	})
	return version, err
}

func (t *tx) version() (int, error) {
	q := "SELECT count(*), coalesce(sum(CASE WHEN name = 'schema' THEN 1 ELSE 0 END), 0) FROM sqlite_schema"
	if t.b.pg {
		q = "SELECT count(*), coalesce(sum(CASE WHEN table_name = 'schema' THEN 1 ELSE 0 END), 0) FROM information_schema.tables WHERE table_schema = current_schema()"
	}
	var tables, ours int
	if err := t.one(q, nil, &tables, &ours); err != nil {
		return 0, err
	}
	if tables == 0 {
		return 0, nil
	}
	strange := fmt.Errorf("store: %s is a database of something else; nothing was changed, give another place", t.b.name)
	if ours == 0 {
		return 0, strange
	}
	var version int
	if err := t.one("SELECT version FROM schema", nil, &version); errors.Is(err, sql.ErrNoRows) || err == nil && version < 1 {
		return 0, strange
	} else if err != nil {
		return 0, err
	}
	return version, nil
}

// migrate runs what is missing. Another program may have been first.
func (t *tx) migrate() error {
	if t.b.pg {
		// Until the end of this transaction; the number is ours alone by choice.
		if err := t.exec("SELECT pg_advisory_xact_lock(7240318)"); err != nil {
			return err
		}
	}
	version, err := t.version()
	if err != nil {
		return err
	}
	if version == 0 {
		for _, q := range t.b.statements("CREATE TABLE schema (version {int} NOT NULL){strict}; INSERT INTO schema VALUES (0)") {
			if err := t.exec(q); err != nil {
				return err
			}
		}
	}
	for ; version < len(t.b.forms); version++ {
		for _, q := range t.b.statements(t.b.forms[version]) {
			if err := t.exec(q); err != nil {
				return err
			}
		}
	}
	return t.exec("UPDATE schema SET version = ?", version)
}
