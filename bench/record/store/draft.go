package store

import (
	"bytes"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"

	"dutybench/bench/record"
	"dutybench/bench/record/container"
	"dutybench/bench/record/ledger"
	"dutybench/signal/trace"
)

// draftFolder holds a lock for each test under way, by the name of its draft.
const draftFolder = "drafts"

// draft is the record of a test under way. Its lock says that the program
// that writes it lives.
type draft struct {
	s    *Store
	name string
	key  ledger.Key
	r    record.Record // as it was known at the start
	lock *os.File

	mu    sync.Mutex
	n     int // chunks
	ended bool
}

// Begin opens the record of a test that is about to run; without room on the
// disk it refuses. The bench's first test makes its key, in the same steps as
// its first record would.
func (s *Store) Begin(r *record.Record) (record.Draft, error) {
	if err := s.Writable(); err != nil {
		return nil, err
	}
	d := &draft{s: s, name: rand.Text(), r: *r}
	if d.r.When.IsZero() {
		d.r.When = s.o.Now()
	}
	data, err := json.Marshal(&d.r)
	if err != nil {
		return nil, fmt.Errorf("store: the test cannot be written down: %w", err)
	}
	if d.lock, err = lockedFile(s.draftLock(d.name), 0); err != nil {
		return nil, err
	}
	settle := func() error { return nil }
	// Recover takes no draft whose lock is not there.
	if err = syncFolder(filepath.Join(s.folder, draftFolder)); err != nil {
		return nil, errors.Join(fmt.Errorf("store: the test's lock cannot be brought to the disk: %w", err), d.letGo())
	}
	err = s.own.write(func(t *tx) (err error) {
		if d.key, settle, err = s.signer(t, ""); err != nil {
			return err
		}
		begun_ms := d.r.When.UnixMilli()
		return t.exec("INSERT INTO drafts (draft, begun_ms, record, mac) VALUES (?, ?, ?, ?)", d.name, begun_ms, data, draftMAC(d.key, d.name, begun_ms, data))
	})
	if err != nil {
		return nil, errors.Join(err, d.letGo())
	}
	_ = settle() // the key's name is made good by the next writer
	return d, nil
}

func (s *Store) draftLock(name string) string {
	return filepath.Join(s.folder, draftFolder, name+".lock")
}

// letGo gives the lock back.
func (d *draft) letGo() error {
	d.ended = true
	return errors.Join(os.Remove(d.lock.Name()), d.lock.Close())
}

var errEnded = errors.New("store: this test's record is closed already")

// Append keeps rows: on the disk when it returns, as one transaction.
func (d *draft) Append(rows *trace.Trace) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.ended {
		return errEnded
	}
	data, err := container.Block(rows)
	if err != nil {
		return fmt.Errorf("store: the samples cannot be kept: %w", err)
	}
	mac := chunkMAC(d.key, d.name, int64(d.n), data)
	err = d.s.own.write(func(t *tx) error {
		// One that is there was kept though its commit seemed to fail; this one holds its rows too.
		return t.exec("INSERT INTO chunks (draft, place, data, mac) VALUES (?, ?, ?, ?) ON CONFLICT (draft, place) DO UPDATE SET data = excluded.data, mac = excluded.mac", d.name, d.n, data, mac)
	})
	if err == nil {
		d.n++
	}
	return err
}

// Finish makes a record of it, in one step with the end of the draft. After
// an error the draft stands as it was. Should another program have made a
// record of the draft, as one on another machine that shares the folder may,
// the whole record is kept beside that.
func (d *draft) Finish(r *record.Record) (record.ID, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.ended {
		return record.ID{}, errEnded
	}
	kept, err := d.s.keep([]*record.Record{r}, d.name)
	if errors.Is(err, errNoDraft) {
		kept, err = d.s.keep([]*record.Record{r}, "")
	}
	if err != nil {
		return record.ID{}, err
	}
	*r = *kept[0]
	_ = d.letGo() // Recover removes a lock without a draft
	d.s.handOn()
	return r.ID, nil
}

// Drop forgets it.
func (d *draft) Drop() error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.ended {
		return nil
	}
	if err := d.s.own.write(func(t *tx) error { return t.endDraft(d.name) }); err != nil {
		return err
	}
	return d.letGo()
}

// errNoDraft: another program has made a record of it.
var errNoDraft = errors.New("store: this test's record was closed by another program")

// endDraft removes a draft.
func (t *tx) endDraft(name string) error {
	var there int
	if err := t.one("SELECT count(*) FROM drafts WHERE draft = ?", []any{name}, &there); err != nil {
		return err
	}
	if there == 0 {
		return errNoDraft
	}
	if err := t.exec("DELETE FROM chunks WHERE draft = ?", name); err != nil {
		return err
	}
	return t.exec("DELETE FROM drafts WHERE draft = ?", name)
}

// joined is the CSV of chunks, up to the first that cannot be read, with why
// they end there as its comment "ended"; cut says why there are no more of
// them. The comments are those of the chunks.
func joined(chunks [][]byte, why string, cut error) ([]byte, error) {
	whole, err := container.Join(chunks)
	if whole == nil {
		return nil, fmt.Errorf("store: of an interrupted test nothing can be read any more: %w", err)
	}
	switch {
	case err != nil:
		why += "; what followed cannot be read any more"
	case cut != nil:
		why += "; what followed is left out: " + cut.Error()
	}
	whole.Meta = append(slices.Clone(whole.Meta), trace.Entry{Key: "ended", Value: why})
	var out bytes.Buffer
	if err := trace.Write(&out, whole); err != nil {
		return nil, fmt.Errorf("store: the samples of an interrupted test cannot be joined: %w", err)
	}
	return out.Bytes(), nil
}
