package store

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/stdlib"
)

// connectWait is how long a server may take to answer at first.
const connectWait = 10 * time.Second

// openPostgres opens a server's database, and unless it is only read brings
// it to this program's form. No error shows the password.
func openPostgres(where string, readOnly bool, patience time.Duration) (*base, error) {
	name := redact(where)
	c, err := pgx.ParseConfig(where)
	if err != nil {
		// What pgx says may quote the address.
		return nil, fmt.Errorf("store: %s is no address of a PostgreSQL server; write postgres://USER@HOST/DATABASE", name)
	}
	name = fmt.Sprintf("postgres://%s:%d/%s", c.Host, c.Port, c.Database)
	if c.ConnectTimeout == 0 {
		c.ConnectTimeout = connectWait
	}
	// What is committed is on the server's disk, whatever its own settings say.
	c.RuntimeParams["synchronous_commit"] = "on"
	c.RuntimeParams["application_name"] = "dutybench"
	// A bench must not wait for ever for another's lock.
	c.RuntimeParams["lock_timeout"] = fmt.Sprint(lockWait.Milliseconds())
	db := stdlib.OpenDB(*c)
	db.SetMaxOpenConns(4)
	db.SetConnMaxIdleTime(time.Minute)
	b := &base{db: db, name: name, pg: true, forms: migrations, patience: patience}
	wait, cancel := context.WithTimeout(context.Background(), min(connectWait, cmp.Or(patience, connectWait)))
	defer cancel()
	var encoding string
	if err := db.QueryRowContext(wait, "SHOW server_encoding").Scan(&encoding); err != nil {
		return nil, errors.Join(&away{name, err}, db.Close())
	}
	if encoding != "UTF8" {
		return nil, errors.Join(fmt.Errorf("store: the database %s keeps text as %s; make one with encoding UTF8", name, encoding), db.Close())
	}
	if err := b.prepare(readOnly); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return b, nil
}

// away says that a server does not answer. The driver's own words name user,
// host and reason, but no password.
type away struct {
	server string
	err    error
}

func (e *away) Error() string {
	why := e.err.Error()
	var refused *pgconn.ConnectError
	if errors.As(e.err, &refused) && refused.Unwrap() != nil {
		why = refused.Unwrap().Error()
	}
	// The driver tries with and without encryption, and tells of each.
	var tries []string
	for line := range strings.Lines(why) {
		if line = strings.TrimSpace(line); !slices.Contains(tries, line) {
			tries = append(tries, line)
		}
	}
	why = strings.Join(tries, "; ")
	return fmt.Sprintf("store: the server %s does not answer (%s); the bench can test into its own folder meanwhile and hand over later", e.server, why)
}
func (e *away) Unwrap() error { return e.err }

// redact gives an address that cannot be read otherwise without its user,
// password and parameters.
func redact(address string) string {
	u, err := url.Parse(address)
	if err != nil || u.Host == "" && u.Path == "" {
		return "the server's address"
	}
	return u.Scheme + "://" + u.Host + u.Path
}
