package trial_test

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/guard"
	"dutybench/bench/judge"
	"dutybench/bench/kind"
	"dutybench/bench/kinds"
	"dutybench/bench/result"
	"dutybench/bench/rig"
	"dutybench/bench/run"
	"dutybench/bench/sim"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// benchCase is one test on a bench with a fault of its own.
type benchCase struct {
	seed     uint64
	unit     string // fault of the unit; empty: a good one
	severity float64
	fault    sim.Armed // At counts from when the rig is open; no name: none
}

// benchTold is what came of it.
type benchTold struct {
	benchCase
	result    result.Result
	trip      *guard.Trip
	early     bool // ended before its plan, and not because enough was known
	energised bool
	said      string // sentences of faults, doubts, warnings and trip
	doubts    []run.Fault
	samples   int
	lasted    time.Duration
	reached   bool          // the test was still on when the fault came
	off       time.Duration // from the fault to the supply's last going off
	met       time.Duration // from the guard's rule being met to that
	err       error         // of the run
}

// watched is a switch that knows when it was last opened.
type watched struct {
	*guard.Pins
	now    func() time.Duration
	closed bool
	opened time.Duration
}

// Set takes note.
func (w *watched) Set(p guard.Path, lease time.Duration) error {
	err := w.Pins.Set(p, lease)
	if on := p != guard.NoPath; w.closed && !on {
		w.opened = w.now()
		w.closed = on
	} else if on {
		w.closed = true
	}
	return err
}

// carryBench tests a unit of the profile's type the way the program does it.
func carryBench(p *profiles.Profile, c benchCase) (t benchTold, err error) {
	t.benchCase = c
	k, err := kinds.Named(p.Kind)
	if err != nil {
		return t, err
	}
	o, err := kinds.Bench(p, kinds.Simulated{Seed: c.seed, Fault: c.unit, Severity: c.severity})
	if err != nil {
		return t, err
	}
	wiring := kinds.Wiring(p, &o)
	b := sim.NewBench(o)
	sw := &watched{Pins: guard.NewPins(b.Switch, nil, nil), now: b.Clock().Now}
	r, err := rig.New(rig.Sim, b, wiring, rig.Options{Stands: true, Switch: sw})
	if err != nil {
		return t, err
	}
	defer r.Close()
	begun := r.Clock.Now()
	c.fault.At += begun
	if c.fault.Name != "" {
		if err := b.Arm(c.fault); err != nil {
			return t, err
		}
	}
	plan, d := k.Plan(p), (*judge.Decider)(nil)
	if q, ok := k.(kind.Quick); ok {
		plan, d = q.Quick(p), &judge.Decider{Profile: p, Kind: k}
	}
	out, rerr := run.Run(context.Background(), r, plan, p, run.Options{Unit: fmt.Sprintf("sim-%d", c.seed), Program: "simulation", Decider: d})
	if out == nil {
		return t, rerr
	}
	t.trip, t.energised, t.samples, t.err = out.Trip, b.World.Energised(), out.Trace.Len(), rerr
	t.early, t.doubts = out.Ended != "", out.Doubts
	t.lasted = r.Clock.Now() - begun
	t.reached = c.fault.Name != "" && c.fault.At <= r.Clock.Now()
	if out.Trip != nil && sw.opened >= c.fault.At {
		t.off = sw.opened - c.fault.At
		t.met = sw.opened - out.Trip.Met
	}
	for _, f := range slices.Concat(out.Faults, out.Doubts) {
		t.said += f.Sentence + " " + f.Next + "\n"
	}
	t.said += strings.Join(out.Warnings, "\n")
	if out.Trip != nil {
		t.said += out.Trip.Reason + " " + out.Trip.Next
	}
	var csv bytes.Buffer
	if out.Trace.Len() > 0 {
		if err := trace.Write(&csv, out.Trace); err != nil {
			return t, err
		}
	}
	if tr, rerr := trace.Read(&csv, "trace.csv"); rerr == nil {
		judged, jerr := judge.Judge(tr, p, k, judge.Options{})
		if jerr != nil {
			return t, jerr
		}
		t.result = run.Merge(*judged, out)
	} else {
		t.result = run.Merge(run.Unjudged(out.Trace, p), out)
	}
	return t, nil
}

// drawBench draws a fault at a time, severity and length, and the unit that it
// comes upon: nine in ten of them good, the others with one of those faults. It
// comes within so long.
func drawBench(rng *rand.Rand, fault string, units []string, within time.Duration) benchCase {
	c := benchCase{seed: rng.Uint64N(1 << 32), fault: sim.Armed{Name: fault, Severity: rng.Float64(), Seed: rng.Uint64()}}
	if rng.IntN(3) == 0 {
		c.fault.Severity = 1
	}
	if rng.IntN(8) > 0 { // else there from before the test
		c.fault.At = time.Duration(rng.Float64() * float64(within))
	}
	if rng.IntN(3) == 0 {
		c.fault.For = time.Duration(1e6 * math.Pow(1e4, rng.Float64())) // 1 ms to 10 s
	}
	if rng.IntN(10) == 0 {
		c.unit, c.severity = units[rng.IntN(len(units))], 0.5+rng.Float64()/2
	}
	return c
}

// wrong says what of a test breaks the rule for benches at fault; empty when
// nothing does. without is the same test on a whole bench.
func (t *benchTold) wrong(without func() (benchTold, error)) (string, error) {
	r := &t.result
	switch {
	case t.energised && !strings.Contains(t.said, "welded") && !strings.Contains(t.said, "by hand"):
		return "ended with supply on, untold", nil
	case t.energised && t.fault.Name != "switch-welded":
		return "ended with supply on", nil
	case r.Verdict != result.Pass && r.NextStep == "":
		return "no next step", nil
	case t.samples == 0 && t.reached && t.fault.At > 100*time.Millisecond:
		return "no trace", nil
	case r.Exit() == 5:
		return "", nil
	case r.Exit() == 4 && r.Cause == nil && t.fault.Name == "stop-pressed":
		return "", nil
	case t.unit == "" && r.Verdict == result.Pass:
		return "", nil
	}
	// What the same unit gets on a whole bench, it may get here too.
	w, err := without()
	if err != nil {
		return "", err
	}
	same := w.result.Verdict == r.Verdict && (w.result.Cause == nil) == (r.Cause == nil) && (r.Cause == nil || *r.Cause == *w.result.Cause)
	switch {
	case same:
		return "", nil
	case r.Verdict == result.Pass:
		return "passed a unit that a whole bench does not", nil
	case r.Cause == nil:
		return "no cause", nil
	}
	return fmt.Sprintf("blamed %s", *r.Cause), nil
}

// benchRow is a line of the table.
type benchRow struct {
	n, reached, passed, bench, wiring, other, early int
	off, met                                        []time.Duration
	wrong                                           []string
}

// Faults of the bench at random times, of random severity and length, upon
// good and faulty units. DUTYBENCH_CAMPAIGN is full (5,000 tests, some 25
// minutes on two cores), sample (100), or empty (a few). DUTYBENCH_BENCHRUNS is
// another number of tests, DUTYBENCH_BENCHFAULT a list of the only faults to
// draw, DUTYBENCH_BENCHSEED another seed.
func TestCampaignBench(t *testing.T) {
	n := map[string]int{"": 6, "sample": 100, "full": 5000}[campaign()]
	seed := uint64(20)
	p := load(t, "aux-pump-60w", "aux-pump-20w", "aux-pump-130w")
	if s := os.Getenv("DUTYBENCH_BENCHRUNS"); s != "" {
		_, err := fmt.Sscan(s, &n)
		require.NoError(t, err)
	}
	if s := os.Getenv("DUTYBENCH_BENCHSEED"); s != "" {
		_, err := fmt.Sscan(s, &seed)
		require.NoError(t, err)
	}
	names := sim.BenchFaults()
	if only := os.Getenv("DUTYBENCH_BENCHFAULT"); only != "" {
		names = slices.DeleteFunc(names, func(f sim.BenchFault) bool { return !slices.Contains(strings.Split(only, ","), f.Name) })
	}
	t.Logf("seed %d, %d tests", seed, n)
	told, rows := make([]benchTold, n), map[string]*benchRow{}
	for _, f := range names {
		rows[f.Name] = &benchRow{}
	}
	wrongs := make([]string, n)
	start := time.Now()
	var done atomic.Int64
	err := inParallel(n, func(i int) error {
		rng := rand.New(rand.NewPCG(seed, uint64(i)))
		first := rand.New(rand.NewPCG(seed, 1<<40)).IntN(len(names))
		c := drawBench(rng, names[(first+i)%len(names)].Name, allFaults(), 24*time.Second)
		profile := p[i/len(names)%len(p)]
		var err error
		if told[i], err = carryBench(profile, c); err != nil {
			return fmt.Errorf("test %d: %+v: %w", i, c, err)
		}
		wrongs[i], err = told[i].wrong(func() (benchTold, error) {
			whole := c
			whole.fault = sim.Armed{}
			return carryBench(profile, whole)
		})
		if d := done.Add(1); n >= 1000 && d%500 == 0 {
			fmt.Fprintf(os.Stderr, "bench: %d of %d tests, %.0f min\n", d, n, time.Since(start).Minutes())
		}
		return err
	})
	require.NoError(t, err)
	for i := range told {
		x, row := &told[i], rows[told[i].fault.Name]
		row.add(x)
		if w := wrongs[i]; w != "" {
			row.wrong = append(row.wrong, w)
			t.Errorf("test %d: %s: %s at %v for %v, severity %.2f, unit %q %.2f seed %d: exit %d, %s\n%s",
				i, w, x.fault.Name, x.fault.At.Round(time.Millisecond), x.fault.For.Round(time.Millisecond), x.fault.Severity, x.unit, x.severity, x.seed, x.result.Exit(), x.result.Sentence, x.said)
		}
	}
	t.Log("\n" + benchTable(names, rows))
}

func (r *benchRow) add(t *benchTold) {
	r.n++
	if t.reached {
		r.reached++
	}
	switch {
	case t.result.Verdict == result.Pass:
		r.passed++
	case t.result.Cause != nil && *t.result.Cause == result.Bench:
		r.bench++
	case t.result.Cause != nil && *t.result.Cause == result.Wiring:
		r.wiring++
	default:
		r.other++
	}
	if t.early {
		r.early++
	}
	if t.off > 0 && t.reached {
		r.off, r.met = append(r.off, t.off), append(r.met, t.met)
	}
}

// benchTable is a line for each fault: how many tests, how many had not ended
// when the fault came, how they came out, how many ended early, in those that
// the guard cut how long after the fault the supply was off, and how long at
// most after the guard's rule was met.
func benchTable(faults []sim.BenchFault, rows map[string]*benchRow) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%-15s %5s %5s %5s %5s %6s %5s %5s %10s %10s %9s  %s\n", "fault", "n", "met", "pass", "bench", "wiring", "other", "cut", "off p99 s", "off max s", "rule ms", "wrong")
	var sum benchRow
	line := func(name string, r *benchRow) {
		p99, most, met := math.NaN(), math.NaN(), math.NaN()
		if k := len(r.off); k > 0 {
			slices.Sort(r.off)
			p99, most, met = r.off[(99*k-1)/100].Seconds(), r.off[k-1].Seconds(), 1e3*slices.Max(r.met).Seconds()
		}
		fmt.Fprintf(&b, "%-15s %5d %5d %5d %5d %6d %5d %5d %10.4f %10.4f %9.3f  %d\n", name, r.n, r.reached, r.passed, r.bench, r.wiring, r.other, r.early, p99, most, met, len(r.wrong))
	}
	for _, f := range faults {
		r := rows[f.Name]
		line(f.Name, r)
		sum.n, sum.reached, sum.passed, sum.bench, sum.wiring, sum.other, sum.early = sum.n+r.n, sum.reached+r.reached, sum.passed+r.passed, sum.bench+r.bench, sum.wiring+r.wiring, sum.other+r.other, sum.early+r.early
		sum.off, sum.met, sum.wrong = append(sum.off, r.off...), append(sum.met, r.met...), append(sum.wrong, r.wrong...)
	}
	line("all", &sum)
	return b.String()
}

// inParallel calls do for 0 to n-1, one a core.
func inParallel(n int, do func(i int) error) error {
	var next atomic.Int64
	var group sync.WaitGroup
	errs := make([]error, n)
	for range min(runtime.GOMAXPROCS(0), n) {
		group.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				errs[i] = do(i)
			}
		})
	}
	group.Wait()
	return cmp.Or(errs...)
}

// On a whole bench no good or faulty unit raises a doubt about the bench, but
// for those whose fault lies there.
func TestNoDoubtOnAWholeBench(t *testing.T) {
	p := load(t, "aux-pump-60w")[0]
	faults := append([]kinds.Fault{{}}, kinds.Faults("pump")...)
	if campaign() == "" {
		faults = faults[:2]
	}
	told := make([]benchTold, len(faults))
	require.NoError(t, inParallel(len(faults), func(i int) error {
		var err error
		told[i], err = carryBench(p, benchCase{seed: uint64(100 + i), unit: faults[i].Name, severity: 1})
		return err
	}))
	for i, f := range faults {
		// A unit that has lost its pull-up leaves the line at nought, as a wire
		// does that is held low.
		if f.Side == "bench" || f.Side == "wiring" || strings.HasPrefix(f.Name, "command-lost") {
			continue
		}
		assert.Empty(t, told[i].doubts, f.Name)
	}
}

// A fault that is there before the rig is opened is told then, and nothing is
// switched on.
func TestBenchFaultBeforeOpening(t *testing.T) {
	p := load(t, "aux-pump-60w")[0]
	for _, f := range sim.BenchFaults() {
		o, err := kinds.Bench(p, kinds.Simulated{Seed: 3, Bench: sim.Armed{Name: f.Name, Severity: 1, Seed: 3}})
		require.NoError(t, err)
		b := sim.NewBench(o)
		r, err := rig.New(rig.Sim, b, rig.Default(), rig.Options{Stands: true})
		assert.Equal(t, f.Name == "switch-welded", b.World.Energised(), f.Name)
		if err != nil {
			assert.Regexp(t, `^rig`, err.Error(), f.Name)
			assert.Equal(t, "bench", f.Side)
			continue
		}
		assert.NotContains(t, []string{"bus-nack", "bus-stuck", "current-gone", "voltage-gone"}, f.Name)
		_ = r.Close()
	}
}
