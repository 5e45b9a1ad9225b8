package store

import (
	"database/sql"
	"path/filepath"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
)

// newer is what a later program might do.
const newer = "ALTER TABLE records ADD COLUMN more TEXT NOT NULL DEFAULT ''; CREATE TABLE extra (x {int} NOT NULL){strict}"

// A database is brought from one form to the next with all it holds, or stays
// as it was; afterwards the older program refuses it and says what to do.
func migrated(t *testing.T, b *base, again func() error) {
	b.forms = append(b.forms[:len(b.forms):len(b.forms)], newer, "CREATE TABLE half (x {int}); nonsense")
	require.Error(t, b.prepare(false))
	assert.NoError(t, again(), "a step that fails takes back all of them")
	assert.ErrorContains(t, b.prepare(true), "open it once for writing")

	b.forms = b.forms[:len(b.forms)-1]
	require.NoError(t, b.prepare(false))
	require.NoError(t, b.prepare(false), "once only")
	var n int
	require.NoError(t, b.read(func(t *tx) error {
		return t.one("SELECT count(*) FROM records WHERE more = ''", nil, &n)
	}))
	assert.Equal(t, 1, n)
	assert.ErrorContains(t, again(), "take the newer program, nothing was changed")
}

func TestMigration(t *testing.T) {
	folder := begun(t)
	b, err := openSQLite(filepath.Join(folder, databaseFile), false)
	require.NoError(t, err)
	defer b.close()
	migrated(t, b, func() error {
		s, err := Open(folder, Options{})
		if err == nil {
			defer s.Close()
			_, err = s.Get(record.ID{Seq: 1})
		}
		return err
	})
}

func TestServersMigration(t *testing.T) {
	where := schema(t, t.Name()+t.TempDir())
	s := opened(t, begun(t))
	_, err := HandOver(s, server(t, where))
	require.NoError(t, err)
	c, err := pgx.ParseConfig(where)
	require.NoError(t, err)
	var db *sql.DB = stdlib.OpenDB(*c)
	defer db.Close()
	migrated(t, &base{db: db, name: "server", pg: true, forms: migrations}, func() error {
		s, err := Open(where, Options{})
		if err == nil {
			err = s.Close()
		}
		return err
	})
}
