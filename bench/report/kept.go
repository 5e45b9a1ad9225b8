package report

import (
	"bytes"
	"encoding/base32"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"dutybench/bench/plot"
	"dutybench/bench/record"
	"dutybench/bench/record/ledger"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// Kept is a record, and what a report of it needs beside.
type Kept struct {
	Record *record.Record
	// Head of its bench's log when the report is made; the zero value when
	// it is not at hand.
	Head ledger.Head
	// Key is the bench's public key; empty when it is not at hand.
	Key string
	// Profile is the record's own, read; nil when it has none or it cannot
	// be read.
	Profile *profiles.Profile
	Issued  time.Time
	Program string // that makes the report
	// Wet and Cautions are of the unit's kind, as in an Input.
	Wet      bool
	Cautions []string
}

// Version is how much a report says.
type Version string

// The versions: one page for the job card, or all of it for a claim.
const (
	Card  Version = "card"
	Claim Version = "claim"
)

// Compose makes the content of a report from a record alone. A record whose
// test broke off or was not judged gives a report too, that says so first.
func Compose(k Kept, v Version) (*Document, error) {
	if k.Record == nil {
		return nil, fmt.Errorf("report: there is no record to report")
	}
	c, err := newContent(k, v)
	if err != nil {
		return nil, err
	}
	switch v {
	case Card:
		return c.card()
	case Claim:
		return c.claim(), nil
	}
	return nil, fmt.Errorf("report: there is no version %q; there are %s and %s", v, Card, Claim)
}

// content is a record in words, from which both versions take theirs.
type content struct {
	Kept
	version Version
	in      Input
	r       result.Result
	judged  bool
	broken  []string // what of the record could not be read
}

func newContent(k Kept, v Version) (*content, error) {
	rec := k.Record
	c := &content{Kept: k, version: v}
	tr, err := trace.Read(bytes.NewReader(rec.Trace), "trace.csv")
	switch {
	case len(bytes.TrimSpace(rec.Trace)) == 0:
		c.broken = append(c.broken, "The record holds no samples.")
	case err != nil:
		c.broken = append(c.broken, sentence("the record's trace cannot be read: "+err.Error()))
	default:
		c.in.Trace = tr
	}
	if rec.Result != nil {
		if err := json.Unmarshal(rec.Result, &c.r); err != nil {
			return nil, fmt.Errorf("report: the result of record %s cannot be read: %w", rec.ID, err)
		}
	}
	c.r = readable(c.r)
	c.judged = c.r.Error == "" && c.r.Verdict != ""
	c.r.Unit, c.r.Kind, c.r.Record = orElse(c.r.Unit, rec.At.Unit), orElse(c.r.Kind, rec.At.Kind), rec.ID.String()
	if c.r.Profile.Name == "" {
		c.r.Profile = result.Profile{Name: rec.Profile.Name, Revision: rec.Profile.Revision, SHA256: rec.Profile.SHA256}
	}
	c.in.Result, c.in.Profile, c.in.Simulated = c.r, k.Profile, rec.Rig.Simulated || rec.Rig.Name == "sim"
	c.in.Wet, c.in.Cautions = k.Wet, k.Cautions
	return c, nil
}

func orElse(s, other string) string {
	if s != "" {
		return s
	}
	return other
}

// Code is the short form of a record's hash for people to read out: 20
// letters, 100 bits of it, in groups of four. It is empty for what is no hash.
func Code(recordHash string) string {
	h, err := hex.DecodeString(recordHash)
	if err != nil || len(h) < 13 {
		return ""
	}
	s := base32.StdEncoding.EncodeToString(h)[:20]
	return strings.Join([]string{s[:4], s[4:8], s[8:12], s[12:16], s[16:]}, "-")
}

// IsCode says whether a code that a person typed is that of the hash: case,
// blanks and hyphens do not count.
func IsCode(typed, recordHash string) bool {
	code := Code(recordHash)
	return code != "" && squeeze(typed) == squeeze(code)
}

func squeeze(s string) string {
	return strings.ToUpper(strings.NewReplacer("-", "", " ", "", "\t", "").Replace(s))
}

// number is unmistakable: the record, the version, and when it was issued.
func (c *content) number() string {
	return fmt.Sprintf("%s-%s-%s", c.Record.ID, c.version, c.Issued.UTC().Format("20060102T150405Z"))
}

// document begins a report: what both versions share.
func (c *content) document(title string) *Document {
	w := c.Record.Workshop
	d := &Document{Title: title, Number: c.number(), Issued: c.Issued}
	d.Issuer = []string{orNot(w.Name, "workshop not stated"), orNot(w.Address, "address not stated"), orNot(w.Contact, "contact not stated")}
	d.Stands = "Not issued under accreditation."
	d.End = "End of report " + d.Number
	d.Foot = "Report " + d.Number
	d.add(c.verdict())
	return d
}

// orNot is words that a person typed, or others where there are none.
func orNot(s, none string) string {
	if s = strings.TrimSpace(plot.Plain(s)); s == "" {
		return none
	}
	return s
}

// fact is one key with a typed value; what is not known is said so.
func fact(key, value string) Fact { return Fact{key, orNot(value, "not stated")} }

// told are only the facts that somebody stated.
func told(facts ...Fact) []Fact {
	var out []Fact
	for _, f := range facts {
		if v := strings.TrimSpace(plot.Plain(f.Value)); v != "" {
			out = append(out, Fact{f.Key, v})
		}
	}
	return out
}
