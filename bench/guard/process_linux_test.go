package guard_test

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"

	"dutybench/bench/guard"
	"dutybench/bench/sim"
)

// TestWhateverDiesTheSupplyGoesOff tries every way to lose one of the two
// processes, with real ones.
func TestWhateverDiesTheSupplyGoesOff(t *testing.T) {
	// Bounds on time are wide: a busy machine is late. The campaign measures.
	const bound = time.Second
	for _, c := range []struct {
		name  string
		do    func(d *duo)
		then  func(d *duo) // after the supply went off
		ends  bool         // the main process goes on, and ends by itself
		lost  string       // what it says then
		alive bool         // the guard process outlives it for as long as it is not continued
	}{
		{name: "main killed", do: func(d *duo) { d.signal(d.main.Process, syscall.SIGKILL) }},
		{name: "main stopped, then continued", do: func(d *duo) { d.signal(d.main.Process, syscall.SIGSTOP) },
			then: func(d *duo) { time.Sleep(lease); d.signal(d.main.Process, syscall.SIGCONT) }, ends: true, lost: "lease"},
		{name: "guard killed", do: func(d *duo) { d.signal(d.guard, syscall.SIGKILL) }, ends: true, lost: "it has ended"},
		{name: "guard stopped, then continued", do: func(d *duo) { d.signal(d.guard, syscall.SIGSTOP) },
			then: func(d *duo) { _ = d.guard.Signal(syscall.SIGCONT) }, ends: true, lost: "says nothing for 150ms"},
		{name: "guard told to end", do: func(d *duo) { d.signal(d.guard, syscall.SIGTERM) }, ends: true, lost: "signalled=true"},
		{name: "guard interrupted", do: func(d *duo) { d.signal(d.guard, syscall.SIGINT) }, ends: true, lost: "signalled=true"},
		{name: "main told to end", do: func(d *duo) { d.signal(d.main.Process, syscall.SIGTERM) }},
		{name: "stopped from the terminal", do: func(d *duo) {
			d.signal(d.guard, syscall.SIGTSTP)
			d.signal(d.main.Process, syscall.SIGSTOP)
		}, then: func(d *duo) { d.signal(d.main.Process, syscall.SIGCONT) }, ends: true, lost: "lease"},
		{name: "main stopped, then killed", do: func(d *duo) {
			d.signal(d.main.Process, syscall.SIGSTOP)
			time.Sleep(20 * ms)
			d.signal(d.main.Process, syscall.SIGKILL)
		}},
		{name: "guard killed, then main stopped", do: func(d *duo) {
			d.signal(d.guard, syscall.SIGKILL)
			time.Sleep(50 * ms)
			d.signal(d.main.Process, syscall.SIGSTOP)
		}, then: func(d *duo) { d.signal(d.main.Process, syscall.SIGCONT) }, ends: true, lost: "it has ended"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			d := startDuo(t, makeLines(t), lease)
			time.Sleep(lease + 50*ms)
			require.True(t, d.on(), "held by renewals")
			from := time.Now()
			c.do(d)
			took := d.off(from)
			t.Logf("off after %v", took)
			assert.Less(t, took, bound)
			if c.then != nil {
				c.then(d)
			}
			if c.ends {
				d.heard.Wait()
				_ = d.main.Wait()
				require.Len(t, d.said, 2, "%q", d.said)
				assert.Contains(t, d.said[0], c.lost)
				assert.Equal(t, "open <nil>", d.said[1])
				assert.True(t, d.main.ProcessState.Success())
			} else {
				_ = d.main.Wait()
			}
			assert.Eventually(t, d.guardGone, 5*time.Second, 5*ms, "the guard process ends")
			if !c.ends {
				farewell, err := os.ReadFile(filepath.Join(d.dir, "farewell"))
				require.NoError(t, err)
				assert.Equal(t, "false", string(farewell), "nobody else tidies up")
			}
			for range 20 {
				require.False(t, d.on(), "and nothing closes again")
				time.Sleep(ms)
			}
			note, err := os.ReadFile(filepath.Join(d.dir, "marker"))
			require.NoError(t, err)
			assert.False(t, strings.HasPrefix(string(note), "on "), "%q", note)
		})
	}
}

// TestBothStopped: only hardware helps, and it is told to: the pulses end. The
// next start finds what was left.
func TestBothStopped(t *testing.T) {
	dir := makeLines(t)
	d := startDuo(t, dir, lease)
	was := d.heartbeat.Changes()
	time.Sleep(100 * ms)
	assert.Greater(t, d.heartbeat.Changes(), was, "pulses while all is well")
	d.signal(d.main.Process, syscall.SIGSTOP)
	d.signal(d.guard, syscall.SIGSTOP)
	time.Sleep(20 * ms)
	was = d.heartbeat.Changes()
	time.Sleep(300 * ms)
	assert.Equal(t, was, d.heartbeat.Changes(), "no pulses")
	assert.True(t, d.on(), "nobody is there to open")

	_, _, err := guard.OpenMarker(filepath.Join(dir, "marker"))
	require.ErrorIs(t, err, guard.ErrBusy, "both still hold the bench")
	assert.ErrorContains(t, err, "on since")

	d.signal(d.main.Process, syscall.SIGKILL)
	d.signal(d.guard, syscall.SIGKILL)
	_ = d.main.Wait()
	assert.Eventually(t, d.guardGone, 5*time.Second, 5*ms)
	assert.True(t, d.on(), "the level stays when the processes die")

	next := startDuo(t, dir, lease)
	assert.Contains(t, next.left, "on since")
	assert.Contains(t, next.left, strconv.Itoa(d.guard.Pid))
}

// TestGuardThatIsContinuedInTime is stopped for longer than the lease and for
// less than it takes to be killed: renewals lie in its pipe when it goes on.
func TestGuardThatIsContinuedInTime(t *testing.T) {
	d := startDuo(t, makeLines(t), 60*ms)
	d.signal(d.guard, syscall.SIGSTOP)
	time.Sleep(100 * ms)
	_ = d.guard.Signal(syscall.SIGCONT)
	// Fresh renewals hold it, or it opens; it never closes again.
	opened := false
	for range 200 {
		on := d.on()
		require.False(t, opened && on)
		opened = opened || !on
		time.Sleep(ms)
	}
}

// here starts a guard process from this one.
func here(t *testing.T, dir string) (*guard.Process, error) {
	t.Helper()
	m, _, err := guard.OpenMarker(filepath.Join(dir, "marker"))
	require.NoError(t, err)
	t.Cleanup(func() { _ = m.Close() })
	p, err := guard.Start(role("guard", dir), m, takeOver(dir))
	if err == nil {
		t.Cleanup(func() { _ = p.Close() })
	}
	return p, err
}

func level(t *testing.T, dir, name string) gpio.Level {
	t.Helper()
	p, err := sim.OpenLines(dir).Pin(name)
	require.NoError(t, err)
	defer p.Close()
	return p.Read()
}

func TestProcessSetsContacts(t *testing.T) {
	dir := makeLines(t)
	p, err := here(t, dir)
	require.NoError(t, err)
	assert.Equal(t, guard.First|guard.Second, p.Paths())
	assert.Contains(t, p.String(), "SWITCH, SWITCH2")
	require.NoError(t, p.Set(guard.Second, lease))
	assert.Equal(t, gpio.Low, level(t, dir, sim.SwitchName))
	assert.Equal(t, gpio.High, level(t, dir, sim.SecondName))
	require.NoError(t, p.Set(guard.First|guard.Second, lease))
	assert.Equal(t, gpio.High, level(t, dir, sim.SwitchName))
	require.NoError(t, p.Set(guard.NoPath, 0))
	assert.Equal(t, gpio.Low, level(t, dir, sim.SwitchName))
	assert.ErrorContains(t, p.Set(guard.PreCharge, lease), "no pre-charge contact")
	assert.ErrorContains(t, p.Set(guard.First, time.Minute), "up to 500ms")
	require.NoError(t, p.Set(guard.First, lease))
	require.NoError(t, p.Close(), "which opens")
	farewell, err := os.ReadFile(filepath.Join(dir, "farewell"))
	require.NoError(t, err)
	assert.Equal(t, "true", string(farewell))
	assert.Equal(t, gpio.Low, level(t, dir, sim.SwitchName))
	// It has ended; on a machine that is busy it has only not been heard of yet.
	assert.Error(t, p.Set(guard.First, lease))
	assert.NoError(t, p.Set(guard.NoPath, 0))
}

// TestStoppedGuardIsKilled: nobody asks it for anything, and it is killed all
// the same, so that it cannot go on later.
func TestStoppedGuardIsKilled(t *testing.T) {
	dir := makeLines(t)
	p, err := here(t, dir)
	require.NoError(t, err)
	require.NoError(t, p.Set(guard.First, lease))
	require.NoError(t, syscall.Kill(p.PID(), syscall.SIGSTOP))
	assert.Eventually(t, func() bool { return syscall.Kill(p.PID(), 0) == syscall.ESRCH }, 3*time.Second, ms)
	assert.Eventually(t, func() bool { return level(t, dir, sim.SwitchName) == gpio.Low }, time.Second, ms)
	assert.ErrorContains(t, p.Lost(), "says nothing")
}

func TestRenewIsCheap(t *testing.T) {
	p, err := here(t, makeLines(t))
	require.NoError(t, err)
	require.NoError(t, p.Set(guard.First, lease))
	assert.Zero(t, testing.AllocsPerRun(200, func() {
		time.Sleep(ms)
		if err := p.Renew(lease); err != nil {
			panic(err)
		}
	}))
}

func TestProcessThatDoesNotStart(t *testing.T) {
	dir := makeLines(t)
	on := func() {
		pin, err := sim.OpenLines(dir).Pin(sim.SwitchName)
		require.NoError(t, err)
		require.NoError(t, pin.Out(gpio.High))
		require.NoError(t, pin.Close())
	}
	on()
	_, err := guard.Start(exec.Command(filepath.Join(dir, "no-such-program")), nil, takeOver(dir))
	require.ErrorContains(t, err, "does not start")
	assert.Equal(t, gpio.Low, level(t, dir, sim.SwitchName), "taken over")

	on()
	_, err = guard.Start(exec.Command("/bin/true"), nil, takeOver(dir))
	require.ErrorContains(t, err, "it has ended")
	assert.Equal(t, gpio.Low, level(t, dir, sim.SwitchName))

	on()
	require.NoError(t, os.Remove(filepath.Join(dir, sim.SecondName)))
	_, err = here(t, dir)
	require.ErrorContains(t, err, `no line "SWITCH2"`)
	require.ErrorContains(t, err, "by hand", "it cannot be taken over either")
	assert.Equal(t, gpio.Low, level(t, dir, sim.SwitchName), "what could be had is open")
}

func TestTakeOverThatFailsIsTriedAgain(t *testing.T) {
	dir := makeLines(t)
	m, _, err := guard.OpenMarker(filepath.Join(dir, "marker"))
	require.NoError(t, err)
	defer m.Close()
	fail := errors.New("line is busy")
	p, err := guard.Start(role("guard", dir), m, func() error { return fail })
	require.NoError(t, err)
	require.NoError(t, p.Set(guard.First, lease))
	g, err := os.FindProcess(p.PID())
	require.NoError(t, err)
	require.NoError(t, g.Kill())
	require.ErrorIs(t, p.Set(guard.NoPath, 0), fail)
	require.ErrorIs(t, p.Close(), fail)
	fail = nil
	require.NoError(t, p.Set(guard.NoPath, 0))
}

// benched is a guard process for a benchmark.
func benched(b *testing.B) *guard.Process {
	dir := inMemory(b)
	_, err := sim.MakeLines(dir, sim.SwitchName, sim.SecondName, sim.HeartbeatName)
	require.NoError(b, err)
	m, _, err := guard.OpenMarker(filepath.Join(dir, "marker"))
	require.NoError(b, err)
	b.Cleanup(func() { _ = m.Close() })
	p, err := guard.Start(role("guard", dir), m, takeOver(dir))
	require.NoError(b, err)
	b.Cleanup(func() { _ = p.Close() })
	return p
}

// BenchmarkRenew is the cost of a renewal with every sample, most of which
// are less than a millisecond after the last and write nothing.
func BenchmarkRenew(b *testing.B) {
	p := benched(b)
	require.NoError(b, p.Set(guard.First, lease))
	b.ReportAllocs()
	for b.Loop() {
		if err := p.Renew(lease); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkSet is the time from wanting contacts to move until the guard
// process has said that they have: once closed, once open.
func BenchmarkSet(b *testing.B) {
	p := benched(b)
	for b.Loop() {
		if err := errors.Join(p.Set(guard.First|guard.Second, lease), p.Set(guard.NoPath, 0)); err != nil {
			b.Fatal(err)
		}
	}
}

// The relay before the contacts is in before they close, as an observer sees
// it; and its pulses stop for the time that is asked for.
func TestRelayBeforeTheContacts(t *testing.T) {
	dir := makeLines(t)
	m, _, err := guard.OpenMarker(filepath.Join(dir, "marker"))
	require.NoError(t, err)
	c := role("guard", dir)
	// Longer than the guard process may say nothing: its answer is waited for.
	c.Env = append(c.Env, "GUARD_TEST_PULL_IN=250ms")
	p, err := guard.Start(c, m, takeOver(dir))
	require.NoError(t, err)
	defer func() { require.NoError(t, errors.Join(p.Close(), m.Close())) }()
	assert.Equal(t, 250*ms, p.PullIn())
	lines := sim.OpenLines(dir)
	beat, err := lines.Pin(sim.HeartbeatName)
	require.NoError(t, err)
	first, err := lines.Pin(sim.SwitchName)
	require.NoError(t, err)
	closed := make(chan error, 1)
	was := beat.Changes()
	begun := time.Now()
	go func() { closed <- p.Set(p.Paths(), 200*ms) }() // a shorter lease than the pull-in
	for first.Read() == gpio.Low && time.Since(begun) < time.Second {
		time.Sleep(ms / 2)
	}
	assert.GreaterOrEqual(t, beat.Changes(), was+2, "pulses before the contacts")
	require.NoError(t, <-closed)
	assert.GreaterOrEqual(t, time.Since(begun), 250*ms)

	require.NoError(t, p.Renew(lease))
	require.NoError(t, p.Still(100*ms))
	was = beat.Changes()
	time.Sleep(50 * ms)
	assert.Equal(t, was, beat.Changes(), "no pulses")
	assert.Equal(t, gpio.High, first.Read())
	time.Sleep(150 * ms)
	assert.Equal(t, gpio.Low, first.Read(), "opened by itself")
	require.NoError(t, p.Lost(), "which is no failure")
	require.NoError(t, p.Set(p.Paths(), lease), "and closes again")
	require.NoError(t, p.Set(guard.NoPath, 0))
	require.Error(t, p.Still(100*ms), "nothing is closed")
}
