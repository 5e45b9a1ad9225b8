package store

import (
	"context"
	"crypto/sha256"
	"fmt"
	"net/url"
	"os"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/record/storetest"
)

func TestSQLite(t *testing.T) {
	storetest.Run(t, func(t *testing.T, place string) record.Store { return opened(t, place) })
}

func TestPostgres(t *testing.T) {
	storetest.Run(t, func(t *testing.T, place string) record.Store {
		return served(t, schema(t, place), place)
	})
}

// served opens a server for a bench.
func served(t *testing.T, url, folder string) *Store {
	t.Helper()
	s, err := Open(url, Options{Folder: folder})
	require.NoError(t, err)
	t.Cleanup(func() {
		n, err := s.Behind()
		assert.NoError(t, err)
		assert.Zero(t, n, "records that are not on the server")
		assert.NoError(t, s.Close())
	})
	return s
}

// schema is the address of a part of the test server, made for this name.
func schema(t *testing.T, name string) string {
	t.Helper()
	where := os.Getenv("DUTYBENCH_POSTGRES")
	if where == "" {
		t.Skip("DUTYBENCH_POSTGRES names no server; .ci/postgres starts one")
	}
	short := fmt.Sprintf("t%x", sha256.Sum256([]byte(name)))[:20]
	c, err := pgx.Connect(context.Background(), where)
	require.NoError(t, err)
	defer c.Close(context.Background())
	_, err = c.Exec(context.Background(), "CREATE SCHEMA IF NOT EXISTS "+short)
	require.NoError(t, err)
	u, err := url.Parse(where)
	require.NoError(t, err)
	q := u.Query()
	q.Set("search_path", short)
	u.RawQuery = q.Encode()
	return u.String()
}
