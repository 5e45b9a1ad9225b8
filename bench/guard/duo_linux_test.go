package guard_test

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"

	"dutybench/bench/guard"
	"dutybench/bench/sim"
)

// This test's binary is also the processes that it looks at: GUARD_TEST_ROLE
// says which.
func TestMain(m *testing.M) {
	dir := os.Getenv("GUARD_TEST_LINES")
	switch os.Getenv("GUARD_TEST_ROLE") {
	case "guard":
		farewell, err := guard.Serve(func() (guard.Contacts, error) { return contactsIn(dir) }, true)
		_ = os.WriteFile(filepath.Join(dir, "farewell"), fmt.Append(nil, farewell), 0o644)
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	case "main":
		if err := mainProcess(dir); err != nil {
			fmt.Println("error:", err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

const (
	ms = time.Millisecond
	// lease is a long one, so that a busy machine does not end it.
	lease = 400 * ms
)

// contactsIn are two contacts and a heartbeat.
func contactsIn(dir string) (guard.Contacts, error) {
	lines := sim.OpenLines(dir)
	var pins []gpio.PinOut
	var err error
	for _, name := range []string{sim.SwitchName, sim.SecondName, sim.HeartbeatName} {
		p, perr := lines.Pin(name)
		if perr == nil {
			perr = p.Out(gpio.Low)
		}
		if perr != nil {
			err = errors.Join(err, perr)
			continue
		}
		pins = append(pins, p)
	}
	if err != nil {
		return guard.Contacts{}, err
	}
	pullIn := 40 * ms
	if d, err := time.ParseDuration(os.Getenv("GUARD_TEST_PULL_IN")); err == nil {
		pullIn = d
	}
	return guard.Contacts{Switch: guard.NewPins(pins[0], pins[1], nil), Heartbeat: pins[2], Half: 10 * ms, PullIn: pullIn}, nil
}

// role is a command that starts this binary as one of the processes.
func role(name, dir string) *exec.Cmd {
	exe, err := os.Executable()
	if err != nil {
		panic(err)
	}
	c := exec.Command(exe)
	c.Env = append(os.Environ(), "GUARD_TEST_ROLE="+name, "GUARD_TEST_LINES="+dir)
	c.Stderr = os.Stderr
	return c
}

// takeOver opens the contacts from the main process.
func takeOver(dir string) func() error {
	return func() error {
		_, err := contactsIn(dir)
		return err
	}
}

// mainProcess holds the supply on for as long as it can, and says why it
// could not any more.
func mainProcess(dir string) error {
	marker, left, err := guard.OpenMarker(filepath.Join(dir, "marker"))
	if err != nil {
		return err
	}
	p, err := guard.Start(role("guard", dir), marker, takeOver(dir))
	if err != nil {
		return err
	}
	fmt.Printf("left %s\n", left)
	lease, err := time.ParseDuration(os.Getenv("GUARD_TEST_LEASE"))
	if err != nil {
		return err
	}
	if err := p.Set(p.Paths(), lease); err != nil {
		return err
	}
	fmt.Printf("on %d\n", p.PID())
	for err == nil {
		time.Sleep(ms)
		err = p.Renew(lease)
	}
	fmt.Printf("lost signalled=%t %v\n", errors.Is(err, guard.ErrSignalled), err)
	err = errors.Join(p.Set(guard.NoPath, 0), p.Close(), marker.Close())
	fmt.Printf("open %v\n", err)
	return nil
}

// duo is a main process with its guard process, under observation.
type duo struct {
	t         *testing.T
	dir       string
	main      *exec.Cmd
	guard     *os.Process
	contacts  []*sim.LinePin
	heartbeat *sim.LinePin
	left      string
	said      []string
	heard     sync.WaitGroup
}

// inMemory is a folder in memory where that can be had: a pin does not wait
// for a disk.
func inMemory(t testing.TB) string {
	t.Helper()
	dir, err := os.MkdirTemp("/dev/shm", "guard-")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	return dir
}

func makeLines(t *testing.T) string {
	t.Helper()
	dir := inMemory(t)
	_, err := sim.MakeLines(dir, sim.SwitchName, sim.SecondName, sim.HeartbeatName)
	require.NoError(t, err)
	return dir
}

func startDuo(t *testing.T, dir string, lease time.Duration) *duo {
	t.Helper()
	d := &duo{t: t, dir: dir, main: role("main", dir)}
	d.main.Env = append(d.main.Env, "GUARD_TEST_LEASE="+lease.String())
	for _, name := range []string{sim.SwitchName, sim.SecondName, sim.HeartbeatName} {
		pin, err := sim.OpenLines(dir).Pin(name)
		require.NoError(t, err)
		d.contacts = append(d.contacts, pin)
	}
	d.contacts, d.heartbeat = d.contacts[:2], d.contacts[2]
	out, err := d.main.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, d.main.Start())
	t.Cleanup(func() {
		_ = d.main.Process.Kill()
		if d.guard != nil {
			_ = d.guard.Kill()
		}
		_, _ = d.main.Process.Wait()
		d.heard.Wait()
		for _, p := range append(d.contacts, d.heartbeat) {
			_ = p.Close()
		}
	})
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if left, ok := strings.CutPrefix(lines.Text(), "left "); ok {
			d.left = left
		}
		if pid, ok := strings.CutPrefix(lines.Text(), "on "); ok {
			n, err := strconv.Atoi(pid)
			require.NoError(t, err)
			d.guard, err = os.FindProcess(n)
			require.NoError(t, err)
			break
		}
	}
	require.NotNil(t, d.guard, "the supply did not go on: %s", lines.Text())
	d.heard.Go(func() {
		for lines.Scan() {
			d.said = append(d.said, lines.Text())
		}
	})
	return d
}

func (d *duo) on() bool {
	return d.contacts[0].Read() == gpio.High && d.contacts[1].Read() == gpio.High
}

// off waits for the contacts to open and gives the time since then.
func (d *duo) off(from time.Time) time.Duration {
	d.t.Helper()
	for d.on() {
		if time.Since(from) > 3*time.Second {
			require.Fail(d.t, "the supply stays on")
		}
		time.Sleep(200 * time.Microsecond)
	}
	return time.Since(from)
}

// guardGone says that the guard process has ended, whoever is to reap it.
func (d *duo) guardGone() bool {
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", d.guard.Pid))
	if err != nil {
		return true
	}
	_, state, _ := strings.Cut(string(stat), ") ")
	return strings.HasPrefix(state, "Z") || strings.HasPrefix(state, "X")
}

func (d *duo) signal(p *os.Process, s syscall.Signal) { require.NoError(d.t, p.Signal(s)) }
