package judge_test

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/judge"
	"dutybench/bench/kind/pump"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// atOnce does n things, as many at a time as there are cores, each worker with
// a number of its own.
func atOnce(n int, do func(worker, i int) error) error {
	next, errs := make(chan int), make([]error, runtime.GOMAXPROCS(0))
	var wg sync.WaitGroup
	for worker := range errs {
		wg.Go(func() {
			for i := range next {
				if err := do(worker, i); err != nil && errs[worker] == nil {
					errs[worker] = err
				}
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// archive writes n traces of a minute at 2 kHz, 2.9 MB each.
func archive(b *testing.B, n int) (paths []string, size int64) {
	b.Helper()
	dir := b.TempDir()
	for i := range n {
		paths = append(paths, filepath.Join(dir, fmt.Sprintf("unit-%03d.csv", i)))
	}
	require.NoError(b, atOnce(n, func(_, i int) error { return os.WriteFile(paths[i], sweep(100+i), 0o600) }))
	for _, p := range paths {
		info, err := os.Stat(p)
		require.NoError(b, err)
		size += info.Size()
	}
	return paths, size
}

// judgeAll judges as the program does: one trace a core, each read into the
// memory of the one before.
func judgeAll(paths []string, p *profiles.Profile) error {
	readers := make([]trace.Reader, runtime.GOMAXPROCS(0))
	return atOnce(len(paths), func(worker, i int) error {
		readers[worker].Unhashed = true
		tr, err := readers[worker].ReadFile(paths[i], nil)
		if err != nil {
			return err
		}
		r, err := judge.Judge(tr, p, pump.Kind{}, judge.Options{})
		if err == nil && r.Verdict == "" {
			err = fmt.Errorf("%s: no verdict", paths[i])
		}
		return err
	})
}

// csvOneCore takes the same files apart with the standard library on one core.
func csvOneCore(paths []string) error {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	for _, path := range paths {
		f, err := os.Open(path)
		if err != nil {
			return err
		}
		err = csvAlone(f)
		f.Close()
		if err != nil {
			return err
		}
	}
	return nil
}

// BenchmarkArchive judges an archive of 110 traces (8 with -short) from its
// files with all cores, and reads the same files with encoding/csv and
// strconv on one. Its own figures are those of judging; csv_MB/s is the
// standard library's rate and times_csv how many times that judging reaches.
// peak_MB is the most memory that the process had while it judged, where the
// system tells it.
//
//	go test -run xxx -bench Archive -benchtime 3x ./bench/judge
func BenchmarkArchive(b *testing.B) {
	n := 110
	if testing.Short() {
		n = 8
	}
	p := learned(b)
	paths, size := archive(b, n)
	var judging, reading time.Duration
	var mallocs, peak_kB uint64
	var before, after runtime.MemStats
	b.SetBytes(size)
	for b.Loop() {
		b.StopTimer()
		forget()
		runtime.ReadMemStats(&before)
		start := time.Now()
		b.StartTimer()
		err := judgeAll(paths, p)
		b.StopTimer()
		judging += time.Since(start)
		runtime.ReadMemStats(&after)
		mallocs, peak_kB = mallocs+after.Mallocs-before.Mallocs, max(peak_kB, peakMemory_kB())
		require.NoError(b, err)
		start = time.Now()
		require.NoError(b, csvOneCore(paths))
		reading += time.Since(start)
		b.StartTimer()
	}
	rate := func(d time.Duration) float64 { return float64(size) * float64(b.N) / 1e6 / d.Seconds() }
	b.ReportMetric(rate(reading), "csv_MB/s")
	b.ReportMetric(reading.Seconds()/judging.Seconds(), "times_csv")
	b.ReportMetric(float64(mallocs)/float64(b.N)/float64(n*sweepRows), "allocs/sample")
	if peak_kB > 0 {
		b.ReportMetric(float64(peak_kB)/1024, "peak_MB")
	}
}

// forget gives back what is free and begins a new peak of memory.
func forget() {
	debug.FreeOSMemory()
	_ = os.WriteFile("/proc/self/clear_refs", []byte("5"), 0) // proc(5); not everywhere allowed
}

// peakMemory_kB is the most memory that the process had; 0 where the system
// does not say.
func peakMemory_kB() uint64 {
	status, _ := os.ReadFile("/proc/self/status")
	for line := range strings.Lines(string(status)) {
		if rest, ok := strings.CutPrefix(line, "VmHWM:"); ok {
			kB, _ := strconv.ParseUint(strings.TrimSuffix(strings.TrimSpace(rest), " kB"), 10, 64)
			return kB
		}
	}
	return 0
}

// mostPerSample_B is how many bytes a judgement may allocate for each further
// sample of a longer trace. A copy of one column takes 8.
const mostPerSample_B = 4.0

// A trace twice as long, with the same steps, is judged with the same few
// allocations: none of them is for a sample. What a judgement needs in
// proportion it takes from the one before.
func TestJudgingAllocatesNothingASample(t *testing.T) {
	if testing.Short() {
		t.Skip("under the race detector, which runs the short tests, pools forget on purpose")
	}
	p := learned(t)
	short, long := read(t, sweep(100)), read(t, slowSweep(100, 2))
	defer debug.SetGCPercent(debug.SetGCPercent(-1)) // a collection empties pools,
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))  // and each processor has its own
	spent := func(tr *trace.Trace) (bytes, allocs float64) {
		var before, after runtime.MemStats
		const runs = 5
		for i := range 2 + runs {
			if i == 2 { // warm
				runtime.ReadMemStats(&before)
			}
			r, err := judge.Judge(tr, p, pump.Kind{}, judge.Options{})
			require.NoError(t, err)
			require.NotEqual(t, result.Verdict(""), r.Verdict)
		}
		runtime.ReadMemStats(&after)
		return float64(after.TotalAlloc-before.TotalAlloc) / runs, float64(after.Mallocs-before.Mallocs) / runs
	}
	longB, longN := spent(long)
	shortB, shortN := spent(short)
	more := float64(long.Len() - short.Len())
	t.Logf("%d samples: %.0f B in %.0f allocations; %d samples: %.0f B in %.0f; %.3f B and %.5f allocations a further sample",
		short.Len(), shortB, shortN, long.Len(), longB, longN, (longB-shortB)/more, (longN-shortN)/more)
	assert.Less(t, (longB-shortB)/more, mostPerSample_B)
	assert.Less(t, (longN-shortN)/more, 0.002)
}
