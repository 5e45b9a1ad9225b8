package folder

import (
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"time"

	"dutybench/bench/record"
)

// link is what the chain needs of one record.
type link struct {
	seq            int
	hash, previous string
	when           time.Time
	bad            string // what is wrong with it; empty when nothing is
}

// Verify reads everything and names what is wrong. It starts from the last
// record, whose hash the head holds, and goes back: each record that is whole
// vouches for the one before it.
func (s *Store) Verify() ([]record.Damage, error) {
	h, herr := s.head()
	seqs, strange, err := s.numbers()
	if err != nil {
		return nil, err
	}
	var out []record.Damage
	say := func(what, format string, a ...any) {
		out = append(out, record.Damage{Record: what, Problem: fmt.Sprintf(format, a...)})
	}
	for _, name := range strange {
		say("records/"+name, "it is no record and does not belong here")
	}
	switch {
	case herr != nil:
		say("head.json", "it is damaged (%v), so the last record is vouched for by nothing", herr)
	case h.Seq == 0 && len(seqs) > 0 && (len(seqs) > 1 || seqs[0] != 1):
		say("head.json", "it is missing, so the last record is vouched for by nothing")
	}

	chain := make([]link, 0, len(seqs))
	for i, seq := range seqs {
		before := 0
		if i > 0 {
			before = seqs[i-1]
		}
		if seq > before+1 {
			chain = append(chain, gap(before+1, seq-1)...)
		}
		chain = append(chain, s.link(seq))
	}
	if n := len(seqs); h.Seq > 0 && (n == 0 || seqs[n-1] < h.Seq) {
		last := 0
		if n > 0 {
			last = seqs[n-1]
		}
		chain = append(chain, gap(last+1, h.Seq)...)
	}
	check(chain, h)
	for _, l := range chain {
		if l.bad != "" {
			say(record.ID{Bench: s.bench, Seq: l.seq}.String(), "%s", l.bad)
		}
	}
	return out, nil
}

// gap is the records that are missing, both ends included. A stray number
// must not make it endless: from the thousandth on they are named as one.
func gap(from, to int) []link {
	const each = 1000
	var out []link
	for seq := from; seq <= to; seq++ {
		if len(out) == each {
			out = append(out, link{seq: to, bad: fmt.Sprintf("it is missing, and all before it from %06d on", seq)})
			break
		}
		out = append(out, link{seq: seq, bad: "it is missing"})
	}
	return out
}

// link reads one record as far as the chain needs it.
func (s *Store) link(seq int) link {
	r, _, err := s.read(seq)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return link{seq: seq, bad: "it is missing"}
	case err != nil:
		return link{seq: seq, bad: err.Error()}
	case r.ID.Bench != s.bench:
		return link{seq: seq, bad: "it is a record of another bench, " + r.ID.Bench}
	}
	return link{seq: seq, hash: r.Hash, previous: r.Previous, when: r.When}
}

// check goes back along the chain from the head.
func check(chain []link, h headFile) {
	vouched := false // for the record at i: the head's, or beyond it
	for i, l := range slices.Backward(chain) {
		after := i+1 < len(chain)
		next := func() *link { return &chain[i+1] }
		switch {
		case l.bad != "":
			vouched = false
		case l.seq == h.Seq && l.hash != h.Hash:
			chain[i].bad = "it is not the record that the head holds the hash of"
			vouched = false
		case l.seq == h.Seq && !l.when.Equal(h.When):
			chain[i].bad = "it was not made at the time that the head says"
			vouched = false
		case l.seq == h.Seq:
			vouched = true
			if after && next().bad == "" && next().previous != l.hash {
				next().bad = "it does not follow from the last record that the head knows"
			}
		case !after || next().bad != "":
			vouched = false
		case next().previous == l.hash:
			// It is worth as much as the one after it.
		case vouched:
			chain[i].bad = fmt.Sprintf("it is not the record that %06d holds the hash of", next().seq)
			vouched = false
		default:
			next().bad = fmt.Sprintf("it does not follow from record %06d: one of the two was changed, and nothing vouches for either", l.seq)
		}
	}
	for i := 1; i < len(chain); i++ {
		if chain[i].bad != "" && chain[i-1].bad == "" {
			chain[i].bad += fmt.Sprintf("; nothing vouches for record %06d any more", chain[i-1].seq)
		}
	}
}
