package record

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"
)

// notBefore is a time that a rightly set clock has passed.
var notBefore = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)

// Put keeps a record: written to a folder aside, synced, and renamed into its
// place, under a lock that other processes respect. On an error nothing is
// kept and its number is free for the next. r gets its ID, hash, predecessor
// and whatever the store defaulted.
func (d *Dir) Put(r *Record) (ID, error) {
	if len(r.Trace) == 0 {
		return ID{}, errors.New("record: there is no trace to keep")
	}
	if r.When.IsZero() {
		r.When = time.Now()
	}
	b, err := bodyOf(r)
	if err != nil {
		return ID{}, err
	}
	unlock, err := d.lock()
	if err != nil {
		return ID{}, err
	}
	defer unlock()
	if err := d.clean(); err != nil {
		return ID{}, problem(err)
	}
	if b.Bench, err = d.makeKey(); err != nil {
		return ID{}, err
	}
	last, err := d.last()
	if err != nil {
		return ID{}, problem(err)
	}
	b.Seq, b.Previous = last.Seq+1, last.Hash
	b.doubt(last)
	whole, data, err := settle(b)
	if err != nil {
		return ID{}, fmt.Errorf("record: the record cannot be written down: %w", err)
	}
	if len(data) > maxBody {
		return ID{}, fmt.Errorf("record: notes and rig facts are larger than %d bytes; shorten them", maxBody)
	}
	sum := hash(data)
	if err := d.place(b.Seq, r, data, sum); err != nil {
		return ID{}, problem(err)
	}
	// The record is kept. A head that cannot be written is made good by the
	// next Put, which looks for records beyond it.
	_ = d.writeHead(head{Format, b.Seq, sum, whole.When})
	kept := whole.record(sum)
	kept.Trace, kept.Result, kept.Profile.Text = r.Trace, r.Result, r.Profile.Text
	*r = *kept
	return r.ID, nil
}

func problem(err error) error {
	return fmt.Errorf("record: nothing was kept; check the store's folder and its free space: %w", err)
}

// doubt adds what the store sees against the wall clock.
func (b *body) doubt(last head) {
	add := func(s string) {
		if b.ClockDoubt != "" {
			b.ClockDoubt += "; "
		}
		b.ClockDoubt += s
	}
	if b.When.Before(notBefore) {
		add("the clock stands before 2026 and was hardly set")
	}
	if b.When.Before(last.When) {
		add(fmt.Sprintf("the clock stands before that of record %06d, made earlier", last.Seq))
	}
}

// place writes a record's folder and renames it into its place.
func (d *Dir) place(seq int, r *Record, data []byte, sum string) (err error) {
	if err := d.may("make folder"); err != nil {
		return err
	}
	tmp, err := os.MkdirTemp(filepath.Join(d.path, "tmp"), "put-")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			os.RemoveAll(tmp)
		}
	}()
	if err := os.Chmod(tmp, 0o755); err != nil {
		return err
	}
	files := []struct {
		name string
		data []byte
	}{
		{traceFile, r.Trace}, {profileFile, r.Profile.Text}, {resultFile, r.Result},
		{bodyFile, data}, {sumFile, sumLine(sum)},
	}
	for _, f := range files {
		if f.data == nil {
			continue
		}
		if err := d.write(filepath.Join(tmp, f.name), f.data); err != nil {
			return err
		}
	}
	if err := d.sync(tmp); err != nil {
		return err
	}
	target := d.folder(seq)
	if _, err := os.Lstat(target); err == nil {
		return fmt.Errorf("%s is in the way and is no record of this bench; move it out of the store", target)
	}
	if err := d.may("rename folder"); err != nil {
		return err
	}
	if err := os.Rename(tmp, target); err != nil {
		return err
	}
	if err := d.sync(filepath.Dir(target)); err != nil {
		// Not known to be on the disk: take it back.
		return errors.Join(err, os.Rename(target, tmp))
	}
	return nil
}

// sumLine is the one line of record.sha256, in the form that sha256sum reads.
func sumLine(sum string) []byte { return []byte(sum + "  " + bodyFile + "\n") }

// makeKey is the bench's key, made now when this is the first record.
func (d *Dir) makeKey() (string, error) {
	key, err := d.Key()
	if key != "" || err != nil {
		return key, err
	}
	if seqs, _, err := d.numbers(); err != nil {
		return "", err
	} else if len(seqs) > 0 {
		return "", fmt.Errorf("record: %s is missing beside its records; bring it back from a copy, any record of this store names the key", filepath.Join(d.path, "bench.json"))
	}
	key = newKey()
	if err := d.replace("bench.json", bench{Format, key}); err != nil {
		return "", problem(err)
	}
	return key, nil
}

// last is the last record: what head.json says, and the records that follow
// it, which a kill between placing a record and writing the head leaves.
func (d *Dir) last() (head, error) {
	h, err := d.readHead()
	if err != nil || h.Seq == 0 {
		// Lost or damaged: the highest record that reads stands for it.
		h = head{}
		seqs, _, err := d.numbers()
		if err != nil {
			return head{}, err
		}
		for i := len(seqs) - 1; i >= 0; i-- {
			if b, sum, err := d.readBody(seqs[i]); err == nil && b.Seq == seqs[i] {
				return head{Format, b.Seq, sum, b.When}, nil
			}
		}
		if n := len(seqs); n > 0 {
			return head{}, errors.New("no record of the store can be read; verify it and bring it back from a copy")
		}
		return h, nil
	}
	for {
		b, sum, err := d.readBody(h.Seq + 1)
		if err != nil || b.Seq != h.Seq+1 || b.Previous != h.Hash {
			return h, nil
		}
		h = head{Format, b.Seq, sum, b.When}
	}
}

func (d *Dir) writeHead(h head) error { return d.replace("head.json", h) }
