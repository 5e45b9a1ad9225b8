package lot

import (
	"bytes"
	"encoding/json"
	"math"
	"slices"
	"strconv"
	"strings"

	"dutybench/bench/record"
	"dutybench/bench/result"
)

// Store is what a lot is read from.
type Store interface {
	List(f record.Filter) ([]record.Entry, error)
	Get(id record.ID) (*record.Record, error)
}

// briefer is a store that reads a record without its trace, and what time the
// trace covers: a lot needs no more.
type briefer interface {
	Brief(id record.ID) (r *record.Record, covered_s float64, err error)
}

// Load reads the tests of a lot. A record that cannot be read back is among
// them, with the reason: it does not count. What was known of it before is
// taken from have, by its name and hash.
func Load(s Store, name string, have []Test) ([]Test, error) {
	entries, err := s.List(record.Filter{Lot: name})
	if err != nil && len(entries) == 0 {
		return nil, err
	}
	known := make(map[record.ID]*Test, len(have))
	for i := range have {
		known[have[i].ID] = &have[i]
	}
	var out []Test
	for _, e := range entries {
		if t := known[e.ID]; t != nil && t.Hash == e.Hash {
			out = append(out, *t)
			continue
		}
		out = append(out, read(s, e))
	}
	return out, nil
}

// Outside is what was decided of serials outside a lot: each record of another
// lot or of none with a pass or a fail.
func Outside(s Store, name string, serials []string) ([]record.Entry, error) {
	var out []record.Entry
	seen := map[string]bool{"": true}
	for _, serial := range serials {
		key := Key(serial)
		if seen[key] {
			continue
		}
		seen[key] = true
		entries, err := s.List(record.Filter{Unit: strings.TrimSpace(serial)})
		if err != nil && len(entries) == 0 {
			return nil, err
		}
		for _, e := range entries {
			switch {
			case Key(e.At.Unit) != key, Key(e.At.Lot) == Key(name), e.Interrupted, e.Cancelled:
			case e.Verdict == result.Pass, e.Verdict == result.Fail:
				out = append(out, e)
			}
		}
	}
	return out, nil
}

func read(s Store, e record.Entry) Test {
	t, err := Read(s, e)
	if err != nil {
		t.Unread = err.Error()
	}
	return t
}

// Read is one record of a store as a test.
func Read(s Store, e record.Entry) (Test, error) {
	b, ok := s.(briefer)
	if !ok {
		r, err := s.Get(e.ID)
		if err != nil {
			return Test{Entry: e, Length_s: math.NaN()}, err
		}
		return newTest(e, r.Result, covered(r.Trace)), nil
	}
	r, covered_s, err := b.Brief(e.ID)
	if err != nil {
		return Test{Entry: e, Length_s: math.NaN()}, err
	}
	return newTest(e, r.Result, covered_s), nil
}

func newTest(e record.Entry, object []byte, covered_s float64) Test {
	t := Test{Entry: e, Length_s: covered_s}
	if object != nil {
		if err := json.Unmarshal(object, &t.Result); err != nil {
			t.Unread = "its result is no JSON object: " + err.Error()
		}
	}
	return t
}

// covered is the time from a trace's first row to its last, in seconds, read
// from these two rows alone; NaN when it is none.
func covered(csv []byte) float64 {
	column, first := -1, math.NaN()
	for line := range bytes.Lines(csv) {
		line = bytes.TrimRight(line, "\r\n")
		if len(line) == 0 || line[0] == '#' {
			continue
		}
		cells := bytes.Split(line, []byte(","))
		if column < 0 {
			column = slices.IndexFunc(cells, func(c []byte) bool { return string(bytes.TrimSpace(c)) == "t_s" })
			if column < 0 {
				return math.NaN()
			}
			continue
		}
		first = cell(cells, column)
		break
	}
	csv = bytes.TrimRight(csv, "\r\n")
	last := csv[bytes.LastIndexByte(csv, '\n')+1:]
	if column < 0 || len(last) == 0 {
		return math.NaN()
	}
	return cell(bytes.Split(last, []byte(",")), column) - first
}

func cell(cells [][]byte, i int) float64 {
	if i >= len(cells) {
		return math.NaN()
	}
	x, err := strconv.ParseFloat(string(bytes.TrimSpace(cells[i])), 64)
	if err != nil || math.IsInf(x, 0) {
		return math.NaN()
	}
	return x
}
