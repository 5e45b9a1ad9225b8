// Package store keeps records in a database: SQLite in a folder of the bench,
// or PostgreSQL for many benches.
package store

import (
	_ "github.com/jackc/pgx/v5/stdlib" // the server store
	_ "modernc.org/sqlite"             // the bench's own store
)
