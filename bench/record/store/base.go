package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"sync"
	"time"
)

// base is one database.
type base struct {
	db   *sql.DB
	name string // for messages: without password
	pg   bool
	// patience is how long one exchange may take; 0: see ctx.
	patience time.Duration
	// forms lead to this program's form, in their order: migrations.
	forms []string
	// writer keeps this process's writers in line, so that they need not wait
	// for each other by polling.
	writer sync.Mutex
}

func (b *base) close() error {
	if b == nil {
		return nil
	}
	return b.db.Close()
}

// tx is one transaction. Its statements are written with ? for parameters.
type tx struct {
	b   *base
	in  *sql.Tx
	ctx context.Context
}

// read gives f one unchanging view.
func (b *base) read(f func(*tx) error) error {
	return b.run(&sql.TxOptions{ReadOnly: true, Isolation: b.snapshot()}, f)
}

// write gives f the database to itself, or on a server the rows that it
// locks. What f did is on the disk when write returns nil, else nothing is.
func (b *base) write(f func(*tx) error) error {
	b.writer.Lock()
	defer b.writer.Unlock()
	return b.run(&sql.TxOptions{}, f)
}

// snapshot is the isolation under which one view holds for all statements.
func (b *base) snapshot() sql.IsolationLevel {
	if b.pg {
		return sql.LevelRepeatableRead
	}
	return sql.LevelDefault
}

func (b *base) run(o *sql.TxOptions, f func(*tx) error) error {
	c, cancel := b.ctx()
	defer cancel()
	return b.runIn(c, o, f)
}

func (b *base) runIn(c context.Context, o *sql.TxOptions, f func(*tx) error) error {
	in, err := b.db.BeginTx(c, o)
	if err != nil {
		return b.problem(err)
	}
	if err := f(&tx{b, in, c}); err != nil {
		return errors.Join(err, undone(in.Rollback()))
	}
	if err := in.Commit(); err != nil {
		return b.problem(errors.Join(err, undone(in.Rollback())))
	}
	return nil
}

// undone leaves out that a transaction had ended by itself.
func undone(err error) error {
	if errors.Is(err, sql.ErrTxDone) {
		return nil
	}
	return err
}

// bound writes a statement's parameters as the database wants them.
func (b *base) bound(q string) string {
	if !b.pg {
		return q
	}
	var out strings.Builder
	for n := 1; ; n++ {
		head, rest, ok := strings.Cut(q, "?")
		out.WriteString(head)
		if !ok {
			return out.String()
		}
		out.WriteString("$" + strconv.Itoa(n))
		q = rest
	}
}

// capped asks for a column only where it is no longer than may be, else for
// NULL: a database from elsewhere must not fill the memory.
func capped(column string, most int) string {
	return fmt.Sprintf("CASE WHEN length(%s) <= %d THEN %s END", column, most, column)
}

// The longest that columns may be, in bytes or characters.
const (
	maxName   = 80
	maxPublic = 4096
	maxHead   = 1 << 16
	hashBytes = 32
)

func (t *tx) exec(q string, args ...any) error {
	_, err := t.in.ExecContext(t.ctx, t.b.bound(q), args...)
	return t.b.problem(err)
}

// one reads one row; sql.ErrNoRows when there is none.
func (t *tx) one(q string, args []any, into ...any) error {
	return t.b.problem(t.in.QueryRowContext(t.ctx, t.b.bound(q), args...).Scan(into...))
}

// each calls f for every row.
func (t *tx) each(q string, args []any, f func(scan func(...any) error) error) error {
	rows, err := t.in.QueryContext(t.ctx, t.b.bound(q), args...)
	if err != nil {
		return t.b.problem(err)
	}
	defer rows.Close()
	for rows.Next() {
		if err := f(rows.Scan); err != nil {
			return t.b.problem(err)
		}
	}
	return t.b.problem(rows.Err())
}

// trouble is an error of the database with what to do about it.
type trouble struct {
	base string
	err  error
}

func (e *trouble) Error() string { return fmt.Sprintf("store: %s: %v%s", e.base, e.err, advice(e.err)) }
func (e *trouble) Unwrap() error { return e.err }

// problem names the database in an error, once.
func (b *base) problem(err error) error {
	var known *trouble
	if err == nil || errors.Is(err, sql.ErrNoRows) || errors.As(err, &known) {
		return err
	}
	return &trouble{b.name, err}
}
