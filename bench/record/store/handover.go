package store

import (
	"context"
	"database/sql"
	"errors"
	"time"

	"dutybench/bench/record/ledger"
)

// HandOver gives the server all records of this bench that it lacks, in their
// order, and says how many. A batch is one transaction on the server, which
// locks the bench there, so that each record arrives exactly once however
// often a connection breaks and whoever hands over at the same time. A server
// that holds another history of this bench is refused.
func HandOver(from, to *Store) (n int, err error) {
	if from.own == nil || to.server == nil {
		return 0, errors.New("store: records are handed over from a bench's folder to a server; name both")
	}
	c, cancel := context.Background(), func() {}
	if to.o.Patience > 0 {
		c, cancel = context.WithTimeout(c, to.o.Patience)
	}
	defer cancel()
	return from.handOver(c, to.server)
}

// again is how long a server that could not be had is left alone.
const again = time.Minute

// handOn hands over after a record was kept, if there is a server and it can
// be had. It holds nobody up for long: the rest goes with the next.
func (s *Store) handOn() {
	s.mu.Lock()
	away := s.away
	s.mu.Unlock()
	if s.server == nil || s.own == nil || s.o.ReadOnly || time.Now().Before(away) {
		return
	}
	wait, cancel := context.WithTimeout(context.Background(), connectWait)
	defer cancel()
	_, err := s.handOver(wait, s.server)
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.refused = err; err != nil {
		s.away = time.Now().Add(again)
	}
}

// Behind is how many of the bench's records the server lacks. The error says
// why the last hand-over failed, or why the server does not say; the records
// are kept in the bench's folder all the same.
func (s *Store) Behind() (int, error) {
	if s.own == nil || s.server == nil {
		return 0, nil
	}
	s.mu.Lock()
	refused := s.refused
	s.mu.Unlock()
	n, err := s.lacks()
	return n, errors.Join(refused, err)
}

// Waiting is how many of this bench's records the server lacks. The error says
// that the server holds another history of this bench, so that one name stands
// for two records, or that its own database is lost.
func (s *Store) Waiting() (n int, err error) {
	if s.server == nil || s.own == nil {
		return 0, s.lost
	}
	bench, err := s.bench()
	if err != nil || bench == "" {
		return 0, err
	}
	return n, s.server.read(func(to *tx) error {
		there := benchState{bench: bench}
		q := "SELECT coalesce(" + capped("public", maxPublic) + ", ''), size, " + capped("head", maxHead) + " FROM benches WHERE bench = ?"
		known := to.one(q, []any{bench}, &there.public, &there.size, &there.head)
		if known != nil && !errors.Is(known, sql.ErrNoRows) {
			return known
		}
		// Only now: this view has all that the server's has.
		return s.own.read(func(from *tx) error {
			_, public, err := from.ownBench()
			if err != nil {
				return err
			}
			head, err := from.head(bench)
			if err != nil {
				return err
			}
			n = int(max(head.Size-there.size, 0))
			if known != nil {
				return nil
			}
			return to.same(from, there, head, public)
		})
	})
}

func (s *Store) lacks() (int, error) {
	var have, there int
	err := s.own.read(func(t *tx) error {
		return t.one("SELECT coalesce(max(size), 0) FROM benches WHERE own = 1", nil, &have)
	})
	if err != nil {
		return 0, err
	}
	bench, err := s.bench()
	if err != nil || bench == "" {
		return 0, err
	}
	err = s.server.read(func(t *tx) error {
		return t.one("SELECT coalesce(max(size), 0) FROM benches WHERE bench = ?", []any{bench}, &there)
	})
	return max(have-there, 0), err
}

// handed remembers how much a server has confirmed.
func (s *Store) handed(server string, size int64) error {
	if s.o.ReadOnly || size == 0 {
		return nil
	}
	var known int64
	err := s.own.read(func(t *tx) error {
		return t.one("SELECT coalesce(max(handed), 0) FROM servers WHERE server = ?", []any{server}, &known)
	})
	if err != nil || known >= size {
		return err
	}
	return s.own.write(func(t *tx) error {
		return t.exec("INSERT INTO servers (server, handed) VALUES (?, ?) ON CONFLICT (server) DO UPDATE SET handed = excluded.handed WHERE servers.handed < excluded.handed", server, size)
	})
}

// handedHeads are heads of the bench's own log that the server's must extend:
// of as many records as it has of them, and of as many as it confirmed.
func (s *Store) handedHeads(v *verifier) (heads []ledger.Head, err error) {
	name := "bench " + v.own
	return heads, s.own.read(func(t *tx) error {
		own, err := t.head(v.own)
		if err != nil {
			v.say(name, "what the server holds of it cannot be compared: %v", err)
			return nil
		}
		// Only now: the server has what this view has, or more.
		var there, handed int64
		err = s.server.read(func(t *tx) error {
			return t.one("SELECT coalesce(max(size), 0) FROM benches WHERE bench = ?", []any{v.own}, &there)
		})
		if err != nil {
			return err
		}
		if err := t.one("SELECT coalesce(max(handed), 0) FROM servers WHERE server = ?", []any{s.server.name}, &handed); err != nil {
			return err
		}
		if handed > own.Size {
			v.say(name, "the table of servers says that %d records were handed over, of %d", handed, own.Size)
		}
		for _, size := range []int64{min(own.Size, there), min(own.Size, handed)} {
			if size <= 0 || len(heads) > 0 && heads[0].Size == size {
				continue
			}
			root, err := ledger.Root(size, t.hashes(v.own))
			if err != nil {
				v.say(name, "what the server holds of it cannot be compared: %v", err)
				continue
			}
			heads = append(heads, ledger.Head{Bench: v.own, Size: size, Root: root})
		}
		return nil
	})
}
