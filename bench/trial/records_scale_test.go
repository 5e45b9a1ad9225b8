package trial_test

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/record/store"
)

// TestCampaignRecordsScale fills a store and measures, at three sizes, how
// long a person waits, how much memory it takes, and how the file grows. It
// asserts no times: machines differ.
func TestCampaignRecordsScale(t *testing.T) {
	sizes := map[string][]int{"sample": {3000, 10_000}, "full": {10_000, 30_000, 100_000}}[campaign()]
	if sizes == nil {
		t.Skip("a campaign: set DUTYBENCH_CAMPAIGN to sample or full")
	}
	const traced = 50 // one record in so many has its trace
	w, err := newWorkshop(load(t, "aux-pump-60w")[0], 3)
	require.NoError(t, err)
	if campaign() == "sample" {
		w.shorten(6000) // the full campaign has whole ones
	}
	dir := filepath.Join(t.TempDir(), "bench")
	var at []measured
	start := time.Now()
	for _, n := range sizes {
		s, err := store.Open(dir, store.Options{})
		require.NoError(t, err)
		require.NoError(t, w.fill(s, n, traced))
		require.NoError(t, s.Close())
		m := measured{Records: n, Filled: time.Since(start)}
		measure(t, dir, "look", &m)
		if campaign() == "full" || n == sizes[len(sizes)-1] {
			measure(t, dir, "verify", &m)
		}
		m.sizes(t, dir)
		at = append(at, m)
		if campaign() == "full" {
			fmt.Fprintf(os.Stderr, "records scaled: %d, %.1f min\n%s", n, time.Since(start).Minutes(), scaleTable(at))
		}
	}
	load, _ := os.ReadFile("/proc/loadavg")
	t.Logf("one record in %d with its trace, of %d rows at the median; load of the machine %s\n%s", traced, w.rows(), load, scaleTable(at))
	last := at[len(at)-1]
	assert.Empty(t, last.Wrong)
	assert.Less(t, last.Memory_MB, 200.0, "the bar is 100 MB; machines and builds differ")
}

// fill keeps tests until there are n of them, two batches at a time: one is
// packed while the other is written.
func (w *workshop) fill(s *store.Store, n, traced int) error {
	const batch = 500
	var mu sync.Mutex
	next := func() (rs []*record.Record, err error) {
		mu.Lock()
		defer mu.Unlock()
		for range min(batch, n-w.n) {
			r, err := w.next(w.n%traced == 0)
			if err != nil {
				return nil, err
			}
			rs = append(rs, r)
		}
		return rs, nil
	}
	return inParallel(2, func(int) error {
		for {
			rs, err := next()
			if err != nil || len(rs) == 0 {
				return err
			}
			if _, err := s.PutAll(rs); err != nil {
				return err
			}
		}
	})
}

// measured is what one size came to.
type measured struct {
	Records  int
	Filled   time.Duration // from the start on
	Waits    []wait
	Opened   time.Duration
	Verified time.Duration
	Checked  time.Duration // what processors worked for that
	// Peak memory of the process that looks things up, that of the one that
	// verifies, and that of one that does nothing.
	Memory_MB, VerifyMemory_MB, BareMemory_MB float64
	Wrong                                     string

	File_B, Trace_B, Traces, CSV_B int64
}

// wait is how long one kind of question took.
type wait struct {
	What          string
	Rows          int // of the last answer
	Median, P99th time.Duration
	// Worked is the processors' time, at the median.
	Worked time.Duration
}

// measure runs this program again as the one that looks.
func measure(t *testing.T, dir, what string, m *measured) {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	r, w, err := os.Pipe()
	require.NoError(t, err)
	defer r.Close()
	cmd := exec.Command(self)
	cmd.Env = append(os.Environ(), writerWhere+"="+dir, lookerWhat+"="+what, fmt.Sprintf("%s=%d", writerTests, m.Records))
	cmd.Stderr, cmd.ExtraFiles = os.Stderr, []*os.File{w}
	require.NoError(t, cmd.Start())
	require.NoError(t, w.Close())
	assert.NoError(t, json.NewDecoder(r).Decode(m))
	require.NoError(t, cmd.Wait())
}

// lookerWhat makes this program one that looks things up, or verifies.
const lookerWhat = "DUTYBENCH_TEST_LOOKER"

// lookAround is that program.
func lookAround(dir, what string, n int, voice *os.File) error {
	var m measured
	m.BareMemory_MB = peak_MB()
	start := time.Now()
	s, err := store.Open(dir, store.Options{})
	if err != nil {
		return err
	}
	m.Opened = time.Since(start)
	if what == "verify" {
		before := cpuTime()
		start = time.Now()
		damages, err := s.Verify()
		if err != nil || len(damages) > 0 {
			m.Wrong = fmt.Sprint(damages, err)
		}
		m = measured{Verified: time.Since(start), Checked: cpuTime() - before, VerifyMemory_MB: peak_MB(), Wrong: m.Wrong}
		return json.NewEncoder(voice).Encode(struct {
			Verified, Checked time.Duration
			VerifyMemory_MB   float64
			Wrong             string
		}{m.Verified, m.Checked, m.VerifyMemory_MB, m.Wrong})
	}
	entries, err := s.List(record.Filter{Newest: true, Limit: 400, Skip: n / 3})
	if err != nil {
		return err
	}
	var units, claims, lots, often []string
	for _, e := range entries {
		units, lots = append(units, e.At.Unit), append(lots, e.At.Lot)
		if e.At.Claim != "" {
			claims = append(claims, e.At.Claim)
		}
		if e.At.Attempt > 1 {
			often = append(often, e.At.Unit)
		}
	}
	list := func(f func(i int) record.Filter) func(int) (int, error) {
		return func(i int) (int, error) {
			e, err := s.List(f(i))
			return len(e), err
		}
	}
	causes := func(f func(i int) record.Filter) func(int) (int, error) {
		return func(i int) (int, error) {
			c, err := s.Causes(f(i))
			return len(c), err
		}
	}
	for _, q := range []struct {
		what string
		ask  func(i int) (int, error)
	}{
		{"list, the newest 50", list(func(i int) record.Filter { return record.Filter{Newest: true, Limit: 50} })},
		{"list, 50 further back", list(func(i int) record.Filter { return record.Filter{Newest: true, Limit: 50, Skip: 50 * i} })},
		{"find by serial", list(func(i int) record.Filter { return record.Filter{Unit: units[i%len(units)]} })},
		{"find by claim", list(func(i int) record.Filter { return record.Filter{Claim: claims[i%len(claims)]} })},
		{"history of a serial that came back", list(func(i int) record.Filter { return record.Filter{Unit: often[i%len(often)]} })},
		{"find by lot, all of it", list(func(i int) record.Filter { return record.Filter{Lot: lots[i%len(lots)]} })},
		{"find by person, newest 50", list(func(i int) record.Filter { return record.Filter{Person: "C. Cruz", Newest: true, Limit: 50} })},
		{"find by words, newest 50", list(func(i int) record.Filter { return record.Filter{Words: "in the cold", Newest: true, Limit: 50} })},
		{"find by words that stand nowhere", list(func(i int) record.Filter { return record.Filter{Words: "xyzzy"} })},
		{"one day's records", list(func(i int) record.Filter {
			return record.Filter{Since: entries[i].When.Add(-24 * time.Hour), Before: entries[i].When}
		})},
		{"ranked causes, all", causes(func(i int) record.Filter { return record.Filter{} })},
		{"ranked causes of a lot", causes(func(i int) record.Filter { return record.Filter{Lot: lots[i%len(lots)]} })},
		{"ranked causes of a complaint", causes(func(i int) record.Filter { return record.Filter{Complaint: "noisy"} })},
		{"show one, whole", func(i int) (int, error) {
			r, err := s.Get(entries[i].ID)
			if err != nil {
				return 0, err
			}
			return len(r.Trace), nil
		}},
	} {
		w := wait{What: q.what}
		var took, worked []time.Duration
		for i := range 101 {
			start, before := time.Now(), cpuTime()
			rows, err := q.ask(i)
			if err != nil {
				return fmt.Errorf("%s: %w", q.what, err)
			}
			took, worked = append(took, time.Since(start)), append(worked, cpuTime()-before)
			w.Rows = rows
		}
		slices.Sort(took)
		slices.Sort(worked)
		w.Median, w.P99th, w.Worked = took[50], took[99], worked[50]
		m.Waits = append(m.Waits, w)
	}
	m.Memory_MB = peak_MB()
	m.Records = n
	if err := s.Close(); err != nil {
		return err
	}
	return json.NewEncoder(voice).Encode(struct {
		Waits                    []wait
		Opened                   time.Duration
		Memory_MB, BareMemory_MB float64
	}{m.Waits, m.Opened, m.Memory_MB, m.BareMemory_MB})
}

// peak_MB is the most memory that this process has had (proc(5), VmHWM), in
// millions of bytes; NaN where it is not told.
func peak_MB() float64 {
	text, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return math.NaN()
	}
	for line := range strings.Lines(string(text)) {
		var kB float64
		if _, err := fmt.Sscanf(line, "VmHWM: %f kB", &kB); err == nil {
			return kB * 1024 / 1e6
		}
	}
	return math.NaN()
}

// sizes reads how large the file is and what its traces take.
func (m *measured) sizes(t *testing.T, dir string) {
	t.Helper()
	info, err := os.Stat(filepath.Join(dir, "records.db"))
	require.NoError(t, err)
	m.File_B = info.Size()
	db := openRaw(t, dir)
	defer db.Close()
	require.NoError(t, db.QueryRow(`SELECT count(*), coalesce(sum(length(b.data)), 0), coalesce(sum(b.bytes), 0) FROM blobs b
		WHERE b.sha256 IN (SELECT sha256 FROM parts WHERE name LIKE 'trace%') AND b.bytes > 1000`).Scan(&m.Traces, &m.Trace_B, &m.CSV_B))
}

// scaleTable is for people; the last column is where the trend leads.
func scaleTable(at []measured) string {
	var b strings.Builder
	row := func(what string, of func(m *measured) string, million string) {
		fmt.Fprintf(&b, "  %-38s", what)
		for i := range at {
			fmt.Fprintf(&b, " %20s", of(&at[i]))
		}
		fmt.Fprintf(&b, " %14s\n", million)
	}
	trend := func(of func(m *measured) float64) float64 {
		if len(at) < 2 {
			return math.NaN()
		}
		x, y := &at[len(at)-2], &at[len(at)-1]
		if of(x) == 0 {
			return math.NaN() // only the last was measured
		}
		// A straight line through the last two sizes: what grows by the record
		// grows so, and what does not stays.
		// Noise of the machine may let it fall: then it stays.
		slope := max(0, of(y)-of(x)) / float64(y.Records-x.Records)
		return of(y) + slope*float64(1_000_000-y.Records)
	}
	ms := func(x float64) string {
		if math.IsNaN(x) {
			return ""
		}
		return fmt.Sprintf("%.1f", x)
	}
	row("records", func(m *measured) string { return fmt.Sprint(m.Records) }, "to 1,000,000")
	row("of these with traces", func(m *measured) string { return fmt.Sprint(m.Traces) }, "")
	for i, w := range at[0].Waits {
		row(w.What+", ms", func(m *measured) string {
			w := m.Waits[i]
			return fmt.Sprintf("%.2f / %.1f (%.2f)", w.Median.Seconds()*1e3, w.P99th.Seconds()*1e3, w.Worked.Seconds()*1e3)
		}, "("+ms(trend(func(m *measured) float64 { return m.Waits[i].Worked.Seconds() * 1e3 }))+")")
	}
	second := func(d time.Duration) string { return fmt.Sprintf("%.2f", d.Seconds()) }
	row("open, s", func(m *measured) string { return second(m.Opened) }, ms(trend(func(m *measured) float64 { return m.Opened.Seconds() })))
	row("verify, s", func(m *measured) string { return second(m.Verified) + " (" + second(m.Checked) + ")" }, "("+ms(trend(func(m *measured) float64 { return m.Checked.Seconds() }))+")")
	row("filled since the start, s", func(m *measured) string { return second(m.Filled) }, "")
	row("most memory, looking up, MB", func(m *measured) string { return ms(m.Memory_MB) }, ms(trend(func(m *measured) float64 { return m.Memory_MB })))
	row("most memory, verifying, MB", func(m *measured) string { return ms(m.VerifyMemory_MB) }, ms(trend(func(m *measured) float64 { return m.VerifyMemory_MB })))
	row("of these before the store is open, MB", func(m *measured) string { return ms(m.BareMemory_MB) }, "")
	row("file, MB", func(m *measured) string { return ms(float64(m.File_B) / 1e6) }, ms(trend(func(m *measured) float64 { return float64(m.File_B) / 1e6 })))
	row("a record without its trace, kB", func(m *measured) string {
		return fmt.Sprintf("%.2f", float64(m.File_B-m.Trace_B)/float64(m.Records)/1e3)
	}, "")
	row("a trace, kB", func(m *measured) string { return fmt.Sprintf("%.1f", float64(m.Trace_B)/float64(max(m.Traces, 1))/1e3) }, "")
	row("its CSV, kB", func(m *measured) string { return fmt.Sprintf("%.1f", float64(m.CSV_B)/float64(max(m.Traces, 1))/1e3) }, "")
	return b.String() + "  times of a question: median / 99 % of 101 (and at the median, what processors worked for it), in a process of its own\n"
}
