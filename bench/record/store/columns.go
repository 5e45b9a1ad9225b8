package store

import (
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"

	"dutybench/bench/record"
)

// finder is a column of the table records by which records are found. It
// holds the text as fold gives it.
type finder struct {
	name  string
	entry func(*record.Entry) string
	ask   func(*record.Filter) string // nil: asked for in another way
}

// finders stand in the order of how few records they pick, as is common in a
// workshop (chosen): of several asked for, the first leads the search.
var finders = []finder{
	{"seal", func(e *record.Entry) string { return e.At.Seal }, func(f *record.Filter) string { return f.Seal }},
	{"unit", func(e *record.Entry) string { return e.At.Unit }, func(f *record.Filter) string { return f.Unit }},
	{"claim", func(e *record.Entry) string { return e.At.Claim }, func(f *record.Filter) string { return f.Claim }},
	{"job", func(e *record.Entry) string { return e.At.Order }, func(f *record.Filter) string { return f.Order }},
	{"lot", func(e *record.Entry) string { return e.At.Lot }, func(f *record.Filter) string { return f.Lot }},
	{"date_code", func(e *record.Entry) string { return e.At.DateCode }, func(f *record.Filter) string { return f.DateCode }},
	{"customer", func(e *record.Entry) string { return e.At.Customer }, func(f *record.Filter) string { return f.Customer }},
	{"part_number", func(e *record.Entry) string { return e.At.PartNumber }, func(f *record.Filter) string { return f.PartNumber }},
	{"complaint", func(e *record.Entry) string { return e.At.Complaint }, func(f *record.Filter) string { return f.Complaint }},
	{"cause", func(e *record.Entry) string { return string(e.Cause) }, func(f *record.Filter) string { return string(f.Cause) }},
	{"operator", func(e *record.Entry) string { return e.At.Operator }, func(f *record.Filter) string { return f.Operator }},
	{"received_by", func(e *record.Entry) string { return e.At.ReceivedBy }, nil},
	{"opened_by", func(e *record.Entry) string { return e.At.OpenedBy }, nil},
	{"returned_by", func(e *record.Entry) string { return e.At.ReturnedBy }, nil},
	{"revision", func(e *record.Entry) string { return e.At.Revision }, func(f *record.Filter) string { return f.Revision }},
	{"profile", func(e *record.Entry) string { return e.Profile.Name }, func(f *record.Filter) string { return f.Profile }},
	{"rig", func(e *record.Entry) string { return e.Rig.Name }, func(f *record.Filter) string { return f.Rig }},
	{"purpose", func(e *record.Entry) string { return e.Purpose }, func(f *record.Filter) string { return f.Purpose }},
	{"kind", func(e *record.Entry) string { return e.At.Kind }, func(f *record.Filter) string { return f.Kind }},
	{"verdict", func(e *record.Entry) string { return string(e.Verdict) }, func(f *record.Filter) string { return string(f.Verdict) }},
}

// common is the first of the finders that pick many records. Their indexes
// hold the time too, so that bounding it need not look at each row.
const common = "complaint"

// counted are those of them by which causes are ranked: one more index each, in
// which counting finds all it needs.
var counted = []string{"complaint", "customer", "operator", "profile", "rig", "purpose", "kind"}

// indexes are made for every column but where it is empty: most of what can
// be told of a unit is told of few.
func indexes() string {
	var b strings.Builder
	many, more := false, ""
	for _, c := range finders {
		if many = many || c.name == common; many {
			more = ", made_ms"
		}
		fmt.Fprintf(&b, "CREATE INDEX records_%s ON records (%s, bench, seq%s) WHERE %s <> '';\n", c.name, c.name, more, c.name)
		if slices.Contains(counted, c.name) {
			fmt.Fprintf(&b, "CREATE INDEX records_%s_came_to ON records (%s, verdict, cause, made_ms) WHERE %s <> '';\n", c.name, c.name, c.name)
		}
	}
	b.WriteString("CREATE INDEX records_made ON records (bench, seq, made_ms);\n")
	b.WriteString("CREATE INDEX records_came_to ON records (verdict, cause, made_ms);\n")
	b.WriteString("CREATE INDEX records_interrupted ON records (bench, seq) WHERE interrupted <> 0;\n")
	return b.String()
}

// words is the text in which words are looked for.
func words(e *record.Entry) string {
	return fold(e.At.Notes + "\n" + e.At.Complaint + "\n" + e.At.PriorOpening)
}

// maxMark is the length of a mark in characters.
const maxMark = 256

// mark is what stands in a finder's column: the folded text's first 256
// characters, because an index of PostgreSQL takes no more than 2704 bytes
// (PostgreSQL 15, "index row size exceeds btree version 4 maximum 2704").
// Texts that differ only after them are found together.
func mark(s string) string {
	s = fold(s)
	n := 0
	for i := range s {
		if n++; n > maxMark {
			return s[:i]
		}
	}
	return s
}

// fold makes texts equal that differ only in the case of letters: each letter
// becomes the first in Unicode's order that differs from it only so. A zero
// byte, which PostgreSQL does not take, becomes the sign for what cannot be read.
func fold(s string) string {
	return strings.Map(func(r rune) rune {
		if r == 0 {
			return unicode.ReplacementChar
		}
		first := r
		for next := unicode.SimpleFold(r); next != r; next = unicode.SimpleFold(next) {
			first = min(first, next)
		}
		return first
	}, s)
}

// row is what the table records says of an entry, in the order of columns.
func row(e *record.Entry) []any {
	out := []any{e.ID.Bench, e.ID.Seq, unhex(e.Hash), e.When.UnixMilli(), e.At.Attempt, flag(e.Interrupted), flag(e.ClockDoubt != "")}
	for _, c := range finders {
		out = append(out, mark(c.entry(e)))
	}
	return append(out, words(e))
}

// rowColumns are the columns of row.
func rowColumns() string {
	names := []string{"bench", "seq", "sha256", "made_ms", "attempt", "interrupted", "doubted"}
	for _, c := range finders {
		names = append(names, c.name)
	}
	return strings.Join(append(names, "words"), ", ")
}

// places is n question marks with commas between.
func places(n int) string { return strings.TrimSuffix(strings.Repeat("?, ", n), ", ") }

func flag(b bool) int {
	if b {
		return 1
	}
	return 0
}

// ceilMs is a time in whole milliseconds since 1970, rounded up: records keep
// no finer time.
func ceilMs(t time.Time) int64 {
	ms := t.UnixMilli()
	if t.After(time.UnixMilli(ms)) {
		ms++
	}
	return ms
}
