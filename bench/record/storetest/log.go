package storetest

import (
	"math"
	"strings"
	"sync"

	"dutybench/bench/record"
	"dutybench/bench/record/ledger"
	"dutybench/signal/trace"
)

// log: each head vouches for each record, and extends each head before.
func (s *suite) log() {
	var heads []ledger.Head
	const n = 9
	for range n {
		r := s.put(Sample("A1"))
		h, err := s.store.Head("")
		s.must(err)
		key, err := s.store.Key(r.ID.Bench)
		s.must(err)
		parsed, err := ledger.ParseHead(h.Signed, key)
		s.must(err)
		s.same(int64(r.ID.Seq), parsed.Size, "size")
		s.same(r.ID.Bench, parsed.Bench, "bench")
		heads = append(heads, h)
	}
	last := heads[n-1]
	for seq := 1; seq <= n; seq++ {
		body, err := s.store.Body(record.ID{Seq: seq})
		s.must(err)
		p, err := ledger.Inclusion(n, seq, s.store.Hashes(""))
		s.must(err)
		s.must(ledger.CheckInclusion(last, seq, body, p))
		e, err := ledger.Extension(int64(seq), n, s.store.Hashes(last.Bench))
		s.must(err)
		s.must(ledger.CheckExtension(last, heads[seq-1], e))
	}
	s.clean(heads...)
}

// older: a head that the log does not extend is damage.
func (s *suite) older() {
	for range 3 {
		s.put(Sample("A1"))
	}
	h, err := s.store.Head("")
	s.must(err)
	s.clean(h)
	for what, change := range map[string]func(*ledger.Head){
		"tail was cut":   func(h *ledger.Head) { h.Size++ },
		"another root":   func(h *ledger.Head) { h.Root[0]++ },
		"another size":   func(h *ledger.Head) { h.Size = 2 },
		"unknown bench":  func(h *ledger.Head) { h.Bench = "k3v7q2m9xw" },
		"huge and false": func(h *ledger.Head) { h.Size = math.MaxInt64 },
	} {
		old := h
		change(&old)
		damage, err := s.store.Verify(old)
		s.must(err)
		if len(damage) != 1 {
			s.Errorf("%s: %v", what, damage)
		}
	}
}

// rows are samples as a bench hands them over while it measures.
func rows(from, n int) *trace.Trace {
	t := &trace.Trace{Meta: []trace.Entry{{Key: "trace", Value: "1"}}}
	columns := []trace.Column{{Name: "t_s"}, {Name: "duty_pct"}, {Name: "current_A"}}
	for i := range n {
		for c, v := range []float64{float64(from+i) / 1000, 50, 0.25} {
			columns[c].Values = append(columns[c].Values, v)
		}
	}
	t.Columns = columns
	return t
}

func (s *suite) draftFinished() {
	r := Sample("A1")
	d, err := s.store.Begin(r)
	s.must(err)
	for i := range 3 {
		s.must(d.Append(rows(10*i, 10)))
	}
	s.clean()
	s.seqs(record.Filter{}, "a test under way is no record")
	id, err := d.Finish(r)
	s.must(err)
	s.same(1, id.Seq, "number")
	got, err := s.store.Get(id)
	s.must(err)
	s.same(r, got, "record")
	if _, err := d.Finish(Sample("A1")); err == nil {
		s.Error("finished twice")
	}
	if d.Append(rows(30, 1)) == nil {
		s.Error("rows after the end")
	}
	s.clean()
}

func (s *suite) draftDropped() {
	d, err := s.store.Begin(Sample("A1"))
	s.must(err)
	s.must(d.Append(rows(0, 10)))
	// What cannot be kept leaves the draft as it was.
	bad := Sample("A1")
	bad.Trace = nil
	if _, err := d.Finish(bad); err == nil || !strings.Contains(err.Error(), "trace") {
		s.Errorf("a record without a trace: %v", err)
	}
	s.must(d.Append(rows(10, 10)))
	s.must(d.Drop())
	s.seqs(record.Filter{}, "nothing is kept")
	s.same(1, s.put(Sample("A1")).ID.Seq, "number")
	s.clean()
}

// writers: several hands at once, also on the very first record.
func (s *suite) writers() {
	const hands, each = 4, 5
	var all sync.WaitGroup
	for i := range hands {
		store := s.store
		if i > 0 {
			store = s.another()
		}
		all.Go(func() {
			for range each {
				if _, err := store.Put(Sample("A1")); err != nil {
					s.Error(err)
					return
				}
				damage, err := store.Verify() // meanwhile, others write
				if err != nil || len(damage) > 0 {
					s.Error(err, damage)
					return
				}
			}
		})
	}
	all.Wait()
	s.clean()
	var want []int
	for seq := 1; seq <= hands*each; seq++ {
		want = append(want, seq)
	}
	s.seqs(record.Filter{}, "no gap, none twice", want...)
}
