package store

import (
	"crypto/hmac"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"strings"

	"dutybench/bench/record"
	"dutybench/bench/record/ledger"
)

// A draft's row and each of its chunks carry a MAC by the bench's key: of what
// somebody else writes into the database, no record is made and signed. The
// draft's name and the chunk's number are in it, so none can take the place of
// another.

func draftMAC(key ledger.Key, name string, begun_ms int64, data []byte) []byte {
	return key.MAC("draft", []byte(name), number(begun_ms), data)
}

func chunkMAC(key ledger.Key, name string, place int64, data []byte) []byte {
	return key.MAC("chunk", []byte(name), number(place), data)
}

func number(n int64) []byte { return binary.BigEndian.AppendUint64(nil, uint64(n)) }

// vouched compares in constant time; no MAC at all vouches for nothing.
func vouched(have, want []byte) bool { return len(want) == hashBytes && hmac.Equal(have, want) }

// isDraft: a draft's name becomes a file's.
func isDraft(name string) bool {
	return name != "" && len(name) <= 64 && strings.Trim(name, "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567") == ""
}

// draftNames lists the drafts, the oldest first. One that cannot be a name is
// "-".
func (t *tx) draftNames() (names []string, err error) {
	err = t.each("SELECT coalesce("+capped("draft", maxName)+", '-') FROM drafts ORDER BY begun_ms, draft", nil, func(scan func(...any) error) error {
		var name string
		err := scan(&name)
		names = append(names, name)
		return err
	})
	return names, err
}

// draftRows is what a database holds of a test under way.
type draftRows struct {
	record record.Record
	chunks [][]byte
	// cut says why the chunks end before those in the table do; nil: they do not.
	cut error
}

// draftRows reads a draft: what was known at its start, and its chunks up to
// the first that is not as this bench wrote it. errNoDraft when it is not
// there.
func (t *tx) draftRows(name string, key ledger.Key) (*draftRows, error) {
	var there int
	if err := t.one("SELECT count(*) FROM drafts WHERE draft = ?", []any{name}, &there); err != nil {
		return nil, err
	}
	if there == 0 {
		return nil, errNoDraft
	}
	var begun_ms int64
	var data, mac []byte
	if err := t.one("SELECT begun_ms, "+capped("record", maxPart)+", "+capped("mac", hashBytes)+" FROM drafts WHERE draft = ?", []any{name}, &begun_ms, &data, &mac); err != nil {
		return nil, err
	}
	if !vouched(mac, draftMAC(key, name, begun_ms, data)) {
		return nil, notOurs(name)
	}
	d := &draftRows{}
	if err := json.Unmarshal(data, &d.record); err != nil {
		return nil, fmt.Errorf("store: what was known of the interrupted test %s cannot be read; take the program that wrote it: %w", name, err)
	}
	q := "SELECT place, " + capped("data", maxPart) + ", " + capped("mac", hashBytes) + " FROM chunks WHERE draft = ? ORDER BY place"
	return d, t.each(q, []any{name}, func(scan func(...any) error) error {
		var place int64
		var chunk, mac []byte
		if d.cut != nil {
			return nil
		}
		if err := scan(&place, &chunk, &mac); err != nil {
			return err
		}
		switch next := int64(len(d.chunks)); {
		case place != next:
			d.cut = fmt.Errorf("its chunk %d is missing", next)
		case !vouched(mac, chunkMAC(key, name, place, chunk)):
			d.cut = fmt.Errorf("its chunk %d is not as this bench wrote it", place)
		default:
			d.chunks = append(d.chunks, chunk)
		}
		return nil
	})
}

// notOurs says of a draft, whatever its name holds, that no record is made of it.
func notOurs(name string) error {
	return fmt.Errorf("store: the test under way %.80q was not written by this bench, or was changed since; no record is made of it: find out who writes into the store's folder. A backup leaves it out", name)
}

// drafts names what the tables of tests under way hold that this bench has not
// written. One that is under way is whole at every moment. Without the private
// key, only what needs no key is looked at.
func (v *verifier) drafts(bench string, key ledger.Key) {
	names, err := v.t.draftNames()
	if err != nil {
		v.say("table drafts", "it cannot be read: %v", err)
	}
	for _, name := range names {
		if v.full() {
			return
		}
		what := fmt.Sprintf("draft %.80q", name)
		if !isDraft(name) {
			v.say(what, "it was not written by this bench: its name is none")
			continue
		}
		if bench != "" && key == (ledger.Key{}) {
			continue
		}
		d, err := v.t.draftRows(name, key)
		switch {
		case err != nil:
			v.say(what, "%v", err)
		case d.cut != nil:
			v.say(what, "%v; what comes before it is kept if the test broke off", d.cut)
		}
	}
	var strays int
	if err := v.t.one("SELECT count(*) FROM chunks WHERE draft NOT IN (SELECT draft FROM drafts)", nil, &strays); err != nil || strays > 0 {
		v.say("table chunks", "%d of them belong to no test under way (%v)", strays, err)
	}
}
