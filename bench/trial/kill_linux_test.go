package trial_test

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/sim"
)

const (
	killSeed = 20261126
	// killBar is the longest time from a signal until the supply is off.
	killBar = time.Second
	// relayHold is that of the heartbeat's relay in killRig.
	relayHold = 150 * time.Millisecond
)

// kills is a campaign of killing.
type kills struct {
	t        *testing.T
	bin, rig string
	store    string
	observer *observer

	mu    sync.Mutex
	fates []fate
	void  []string // runs that ended by themselves before the signal, and why
}

// errVoid says that a run had ended by itself before the signal: on a machine
// so busy that the lease ran out, or a pre-test measured nonsense.
var errVoid = errors.New("void")

// fate is what came of one run.
type fate struct {
	blows  []blow
	gap    time.Duration // between the blows
	wasOn  bool          // the unit had supply at the first blow
	off    time.Duration // from the first blow; 0 when it was off already
	relay  bool          // contacts stayed closed, and only the relay cut
	jitter time.Duration // the observer's longest gap meanwhile
}

func (f fate) kind() string {
	s := f.blows[0].String()
	if len(f.blows) > 1 {
		s += ", then " + f.blows[1].String()
	}
	return s
}

// start begins a run on lines of its own.
func (k *kills) start(seed uint64) (string, *exec.Cmd) {
	// In memory where that can be had: a pin does not wait for a disk.
	dir, err := os.MkdirTemp("/dev/shm", "kill-")
	if err != nil {
		dir, err = os.MkdirTemp("", "kill-")
	}
	require.NoError(k.t, err)
	k.t.Cleanup(func() { _ = os.RemoveAll(dir) })
	_, err = sim.MakeLines(dir, sim.SwitchName, sim.SecondName, sim.PreChargeName, sim.HeartbeatName)
	require.NoError(k.t, err)
	cmd := k.command(seed, dir)
	log, err := os.Create(filepath.Join(dir, "said"))
	require.NoError(k.t, err)
	cmd.Stderr = log
	out, err := os.Create(filepath.Join(dir, "result"))
	require.NoError(k.t, err)
	cmd.Stdout = out
	require.NoError(k.t, cmd.Start())
	_ = log.Close()
	_ = out.Close()
	return dir, cmd
}

// command is a run on the lines in a folder.
func (k *kills) command(seed uint64, dir string) *exec.Cmd {
	cmd := exec.Command(k.bin, "run", "--rig", k.rig, "--simulate", "--json", "--unit", fmt.Sprintf("kill-%d", seed), "--seed", strconv.FormatUint(seed, 10))
	cmd.Env = append(os.Environ(), "DUTYBENCH_STORE="+k.store, "DUTYBENCH_LINES="+dir)
	return cmd
}

var sentence = regexp.MustCompile(`"sentence":"[^"]*"`)

// said is what a run said of itself.
func said(dir string) string {
	text, _ := os.ReadFile(filepath.Join(dir, "said"))
	out, _ := os.ReadFile(filepath.Join(dir, "result"))
	return string(text) + string(sentence.Find(out))
}

func within(limit time.Duration, f func() bool) bool {
	for end := time.Now().Add(limit); time.Now().Before(end); time.Sleep(2 * time.Millisecond) {
		if f() {
			return true
		}
	}
	return f()
}

// one strikes a run that is under way.
func (k *kills) one(seed uint64) error {
	for range 5 {
		err := k.try(seed)
		if !errors.Is(err, errVoid) {
			return err
		}
		k.mu.Lock()
		k.void = append(k.void, err.Error())
		k.mu.Unlock()
	}
	return fmt.Errorf("run %d: five times it ended before the signal: this machine is too busy", seed)
}

// try starts a run, strikes it, and watches until nobody is left who could
// close a contact.
func (k *kills) try(seed uint64) error {
	rng := rand.New(rand.NewPCG(killSeed, seed))
	draw := func() blow {
		return blow{victim(rng.IntN(2)), []syscall.Signal{syscall.SIGKILL, syscall.SIGSTOP}[rng.IntN(2)]}
	}
	f := fate{blows: []blow{draw()}}
	if rng.IntN(4) == 0 {
		second := draw()
		second.who = 1 - f.blows[0].who
		if f.blows[0].sig == syscall.SIGSTOP {
			second.sig = syscall.SIGKILL // both stopped is another test
		}
		f.blows = append(f.blows, second)
		f.gap = time.Duration(rng.Int64N(int64(200 * time.Millisecond)))
	}
	delay := time.Duration(rng.Int64N(int64(2 * time.Second)))
	resume := rng.IntN(2) == 0

	dir, cmd := k.start(seed)
	w := newWatch(k.t, dir)
	k.observer.add(w)
	defer k.observer.remove(w)
	ended := make(chan struct{})
	go func() {
		_ = cmd.Wait()
		close(ended)
	}()
	var holder *process
	defer func() {
		_ = cmd.Process.Kill()
		if holder != nil {
			_ = holder.signal(syscall.SIGKILL)
			holder.close()
		}
		<-ended
	}()
	hasEnded := func() bool {
		select {
		case <-ended:
			return true
		default:
			return false
		}
	}
	void := func() error { return fmt.Errorf("%w: run %d: %s", errVoid, seed, said(dir)) }
	// The random moment counts from when the supply first goes on.
	ever := false
	within(20*time.Second, func() bool {
		_, _, ever, _, _, _ = w.seen()
		return ever || hasEnded()
	})
	if !ever {
		return void()
	}
	time.Sleep(delay)
	if holder = guardOf(dir, cmd.Process.Pid); holder == nil || hasEnded() {
		return void()
	}
	strike := func(b blow) error {
		if b.who == guardProcess {
			return holder.signal(b.sig)
		}
		if err := cmd.Process.Signal(b.sig); err != nil && !errors.Is(err, os.ErrProcessDone) {
			return err
		}
		return nil
	}
	f.wasOn = w.mark()
	struck := time.Now()
	for i, b := range f.blows {
		if i > 0 {
			time.Sleep(f.gap)
		}
		if err := strike(b); err != nil {
			return fmt.Errorf("run %d: %s: %w", seed, b, err)
		}
	}
	stopped := slices.Contains(f.blows, blow{mainProcess, syscall.SIGSTOP})
	// A whole second past the bar: what closes again would show.
	time.Sleep(time.Until(struck.Add(killBar + 200*time.Millisecond)))
	on, closed, _, lastOn, _, jitter := w.seen()
	f.relay, f.jitter = closed, jitter
	if f.off = lastOn.Sub(struck); f.off < 0 {
		f.off = 0
	}
	if on || f.off > killBar {
		return fmt.Errorf("run %d, %s after %v: the supply was on %v after the signal: %s", seed, f.kind(), delay, f.off, said(dir))
	}
	if stopped && resume && f.wasOn { // one that had no supply may go on with its test
		_ = cmd.Process.Signal(syscall.SIGCONT)
		stopped = false
	}
	if stopped || len(f.blows) > 1 {
		_ = cmd.Process.Kill()
	}
	if !within(20*time.Second, hasEnded) {
		return fmt.Errorf("run %d, %s: the main process does not end: %s", seed, f.kind(), said(dir))
	}
	if len(f.blows) == 1 && !within(2*time.Second, holder.gone) {
		return fmt.Errorf("run %d, %s: the guard process does not end", seed, f.kind())
	}
	if on, _, _, last, _, _ := w.seen(); on || last.Sub(struck) > killBar {
		return fmt.Errorf("run %d, %s: the supply came on again", seed, f.kind())
	}
	if len(f.blows) == 1 && closed {
		return fmt.Errorf("run %d, %s: contacts stayed closed, only the relay cut", seed, f.kind())
	}
	k.mu.Lock()
	k.fates = append(k.fates, f)
	k.mu.Unlock()
	return nil
}

// newKills builds the program.
func newKills(t *testing.T) *kills {
	k := &kills{t: t, bin: filepath.Join(t.TempDir(), "dutybench"), rig: filepath.Join(t.TempDir(), "kill.toml"), store: t.TempDir()}
	out, err := exec.Command("go", "build", "-o", k.bin, "dutybench/cmd/dutybench").CombinedOutput()
	require.NoError(t, err, "%s", out)
	require.NoError(t, os.WriteFile(k.rig, []byte(killRig), 0o644))
	return k
}

// TestCampaignKill kills and stops either process of real runs at random
// moments, and looks at the lines from outside.
func TestCampaignKill(t *testing.T) {
	n := map[string]int{"sample": 25, "full": 1000}[campaign()]
	if n == 0 {
		t.Skip("DUTYBENCH_CAMPAIGN is neither sample nor full")
	}
	k := newKills(t)
	k.observer = startObserver()

	start := time.Now()
	slots := make(chan struct{}, 6) // chosen: each run sleeps most of its time, and two cores still bear them
	var all sync.WaitGroup
	var failed sync.Map
	for i := range n {
		slots <- struct{}{}
		all.Go(func() {
			defer func() { <-slots }()
			if err := k.one(uint64(i)); err != nil {
				failed.Store(i, err)
			}
		})
		if n >= 1000 && i%100 == 99 {
			fmt.Fprintf(os.Stderr, "kill: %d of %d runs, %.0f min\n", i+1, n, time.Since(start).Minutes())
		}
	}
	all.Wait()
	gaps := k.observer.end()
	failed.Range(func(_, err any) bool {
		assert.NoError(t, err.(error))
		return true
	})
	k.report(gaps, time.Since(start))

	out, err := exec.Command(k.bin, "--store", k.store, "records", "verify").CombinedOutput()
	assert.NoError(t, err, "%s", out)
	t.Logf("records verify: %s", bytes.TrimSpace(out))
}

// bothStopped stops both processes while the supply is on: only the relay is
// left. It gives how long that took. The next start finds what was left.
func (k *kills) bothStopped(seed uint64) (off time.Duration, err error) {
	dir, cmd := k.start(seed)
	w := newWatch(k.t, dir)
	k.observer.add(w)
	defer k.observer.remove(w)
	var holder *process
	end := func() {
		_ = cmd.Process.Kill()
		if holder != nil {
			_ = holder.signal(syscall.SIGKILL)
			holder.close()
		}
		_ = cmd.Wait()
	}
	if !within(20*time.Second, w.mark) {
		end()
		return 0, fmt.Errorf("run %d: the supply never went on: %s", seed, said(dir))
	}
	if holder = guardOf(dir, cmd.Process.Pid); holder == nil {
		end()
		return 0, fmt.Errorf("run %d: no guard process: %s", seed, said(dir))
	}
	struck := time.Now()
	err = errors.Join(cmd.Process.Signal(syscall.SIGSTOP), holder.signal(syscall.SIGSTOP))
	time.Sleep(killBar)
	on, closed, _, lastOn, _, _ := w.seen()
	end()
	switch off = max(lastOn.Sub(struck), 0); {
	case err != nil:
		return 0, err
	case on:
		return 0, fmt.Errorf("run %d: the relay did not fall off within %v", seed, killBar)
	case !closed:
		return off, nil // stopped just as the contacts opened
	}

	again := k.command(seed, dir)
	log, err := os.Create(filepath.Join(dir, "said"))
	if err != nil {
		return 0, err
	}
	again.Stderr = log
	if err := again.Start(); err != nil {
		return 0, err
	}
	open := within(20*time.Second, func() bool {
		_, closed, _, _, _, _ := w.seen()
		return !closed
	})
	told := within(5*time.Second, func() bool {
		return strings.Contains(said(dir), "ended without switching the supply off (on since")
	})
	_ = again.Process.Kill()
	_ = again.Wait()
	if !open || !told {
		return 0, fmt.Errorf("run %d: what was left on was not found: %s", seed, said(dir))
	}
	return off, nil
}

// TestCampaignKillBoth: with both processes stopped only hardware helps. It
// does, and a real rig without any is refused unless somebody stands by.
func TestCampaignKillBoth(t *testing.T) {
	n := map[string]int{"sample": 2, "full": 20}[campaign()]
	if n == 0 {
		t.Skip("DUTYBENCH_CAMPAIGN is neither sample nor full")
	}
	k := newKills(t)
	k.observer = startObserver()
	var offs []time.Duration
	for i := range n {
		off, err := k.bothStopped(uint64(i))
		require.NoError(t, err)
		offs = append(offs, off)
	}
	gaps := k.observer.end()
	slices.Sort(offs)
	slices.Sort(gaps)
	t.Logf("both stopped: the relay, which holds for %v, cut after %v at the median, %v at most, in %d runs; the observer looks every %v at most",
		relayHold, quantile(offs, 0.5), offs[n-1], n, gaps[len(gaps)-1])

	bare := filepath.Join(t.TempDir(), "bare.toml")
	from := strings.Index(killRig, "[heartbeat]")
	to := strings.Index(killRig, "[stop]")
	require.NoError(t, os.WriteFile(bare, []byte(killRig[:from]+killRig[to:]), 0o644))
	out, err := exec.Command(k.bin, "--store", k.store, "run", "--rig", bare).CombinedOutput()
	var status *exec.ExitError
	require.ErrorAs(t, err, &status)
	assert.Equal(t, 2, status.ExitCode())
	assert.Contains(t, string(out), "--attended")
}
