package store

import (
	"errors"
	"fmt"
	"path/filepath"

	"dutybench/bench/record/ledger"
)

// errHeld: another has the lock.
var errHeld = errors.New("another program holds it; end that one and try again")

// Room_B is how much room the disk must have before a test starts, in bytes.
// Chosen: a minute at 20 kHz with three columns is under 10 MB as a container;
// it is written as chunks, once more as the record, and both again in the
// database's log, so 40 MB, and the rest is for photos.
const Room_B = 64 << 20

func folderOf(path string) string { return filepath.Dir(path) }

// Writable says, before a test, whether the store will take its record: the
// disk has room, the database can be written, and the last record and the
// bench's key are there to go on from.
func (s *Store) Writable() error {
	if err := s.writable(); err != nil {
		return err
	}
	if err := s.room(); err != nil {
		return err
	}
	ready := errors.New("ready")
	err := s.own.write(func(t *tx) error {
		key, err := s.standingKey(t)
		if err != nil {
			return err
		}
		if key != (ledger.Key{}) {
			if _, err := t.last(benchOf(key)); err != nil {
				return err
			}
		}
		// Written, and taken back.
		if err := t.exec("INSERT INTO servers (server, handed) VALUES ('', 0)"); err != nil {
			return err
		}
		return ready
	})
	if errors.Is(err, ready) {
		return nil
	}
	return err
}

// standingKey is the bench's key if it has one already.
func (s *Store) standingKey(t *tx) (ledger.Key, error) {
	bench, _, err := t.ownBench()
	if err != nil {
		return ledger.Key{}, err
	}
	if bench == "" {
		return ledger.Key{}, s.unclaimed(t)
	}
	key, _, err := s.signer(t, "")
	return key, err
}

// room refuses when the disk is nearly full.
func (s *Store) room() error {
	have, err := free(s.folder)
	if err != nil {
		return fmt.Errorf("store: the free space of %s cannot be told: %w", s.folder, err)
	}
	if have < s.o.Room_B {
		return fmt.Errorf("store: the disk of %s has %d MB left and a test needs %d; free it, or name another store", s.folder, have>>20, s.o.Room_B>>20)
	}
	return nil
}
