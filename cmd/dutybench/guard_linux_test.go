package main

import (
	"context"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"

	"dutybench/bench/sim"
)

// The guard process is this program. In tests it is the test's binary, which
// is the program when this variable says so.
const asProgram = "DUTYBENCH_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	if as := os.Getenv(asProgram); as != "" && len(os.Args) > 1 && (os.Args[1] == "guard" || as == asWhole) {
		os.Exit(execute(hostEnv(), os.Args[1:]))
	}
	os.Exit(m.Run())
}

// guardedRig has two contacts, the first of them a relay that is active low, a pre-charge
// contact and a heartbeat.
const guardedRig = `format = 1
name = "guarded"
title = "Bench with a heartbeat's relay"

[bench]
supply = "9 V to 16 V"
fuse = "25 A"
current = "20 A"
supply_limit = "30 A"

[[switch]]
pin = "GPIO17"
active = "low"
type = "relay"

[[switch]]
pin = "GPIO27"
type = "transistor"

[pre_charge]
pin = "GPIO22"
type = "transistor"
resistor = "10 ohm"

[heartbeat]
pin = "GPIO23"
frequency = "25 Hz"
hold = "500 ms"

[line]
pin = "GPIO18"

[i2c]
bus = "/dev/i2c-1"
speed = "400 kHz"

[current]
chip = "ina226"
address = 64
conversion = "332 µs"
shunt = "2 mohm"
shunt_tolerance = "0.5 %"
side = "high"

[voltage]
chip = "ads1115"
address = 72

[supply]
channel = 0
top = "100 kohm"
bottom = "10 kohm"
tolerance = "0.1 %"

[line_level]
channel = 1
top = "100 kohm"
bottom = "10 kohm"
tolerance = "0.1 %"
`

// guarded is a desk with a rig file, on simulated lines that the test sees.
type guarded struct {
	*desk
	t     *testing.T
	lines string
}

func newGuarded(t *testing.T) *guarded {
	t.Setenv(asProgram, "1")
	d := newDesk(t)
	lines, err := os.MkdirTemp("/dev/shm", "guarded-") // a pin does not wait for a disk
	if err != nil {
		lines = t.TempDir()
	}
	t.Cleanup(func() { _ = os.RemoveAll(lines) })
	g := &guarded{desk: d, t: t, lines: lines}
	d.write(t, "rig.toml", guardedRig)
	d.vars["DUTYBENCH_LINES"] = g.lines
	return g
}

func (g *guarded) level(name string) gpio.Level {
	p, err := sim.OpenLines(g.lines).Pin(name)
	if err != nil {
		return gpio.Low // not made yet
	}
	defer p.Close()
	return p.Read()
}

func (g *guarded) on() bool {
	return g.level(sim.SwitchName) == gpio.High && g.level(sim.SecondName) == gpio.High
}

func (g *guarded) note() string {
	text, _ := os.ReadFile(filepath.Join(g.lines, "supply"))
	return string(text)
}

// onceOn does something half a second after the supply first went on.
func (g *guarded) onceOn(do func()) {
	go func() {
		for end := time.Now().Add(20 * time.Second); !g.on() && time.Now().Before(end); {
			time.Sleep(time.Millisecond)
		}
		time.Sleep(500 * time.Millisecond)
		do()
	}()
}

// guardProcess is the one that the note names.
func (g *guarded) guardProcess() int {
	m := regexp.MustCompile(`process (\d+)`).FindStringSubmatch(g.note())
	if m == nil {
		return 0
	}
	n, _ := strconv.Atoi(m[1])
	return n
}

func (g *guarded) run() called {
	g.t.Helper()
	c := g.call("run", "--rig", g.path("rig.toml"), "--simulate", "--json")
	assert.False(g.t, g.on())
	assert.NotContains(g.t, g.note(), "on since")
	return c
}

// struck is a run to whose guard process something happens while the supply
// is on. On a machine so busy that the lease ran out before, it is tried
// again.
func (g *guarded) struck(s syscall.Signal) (c called) {
	g.t.Helper()
	for range 3 {
		g.onceOn(func() {
			if pid := g.guardProcess(); pid > 1 {
				_ = syscall.Kill(pid, s)
			}
		})
		if c = g.run(); !strings.Contains(c.stdout+c.stderr, "the lease") {
			break
		}
	}
	return c
}

func TestRunWithGuardProcessCancelled(t *testing.T) {
	g := newGuarded(t)
	g.interrupt = func(ctx context.Context) (context.Context, context.CancelFunc) {
		ctx, stop := context.WithCancel(ctx)
		g.onceOn(stop)
		return ctx, stop
	}
	c := g.run()
	assert.Equal(t, exitError, c.status, c.stderr)
	assert.Contains(t, c.stderr, "cancelled. The supply is off")
}

func TestRunWhoseGuardProcessIsKilled(t *testing.T) {
	g := newGuarded(t)
	c := g.struck(syscall.SIGKILL)
	assert.Equal(t, 5, c.status, c.stderr)
	assert.Contains(t, c.stdout, "it has ended")
	assert.Contains(t, c.stdout, `"cause":"bench"`)
}

func TestRunWhoseGuardProcessIsToldToEnd(t *testing.T) {
	g := newGuarded(t)
	c := g.struck(syscall.SIGTERM)
	assert.Equal(t, exitError, c.status, c.stderr)
	assert.Contains(t, c.stderr, "the test was cancelled")
}

func TestRunFindsWhatWasLeftOn(t *testing.T) {
	g := newGuarded(t)
	l, err := sim.MakeLines(g.lines, sim.SwitchName, sim.SecondName, sim.PreChargeName, sim.HeartbeatName)
	require.NoError(t, err)
	for _, name := range []string{sim.SwitchName, sim.SecondName} {
		p, err := l.Pin(name)
		require.NoError(t, err)
		require.NoError(t, p.Out(gpio.High))
		require.NoError(t, p.Close())
	}
	require.NoError(t, os.WriteFile(filepath.Join(g.lines, "supply"), []byte("on since 2026-11-25T09:30:00Z by process 7\n"), 0o644))
	g.interrupt = func(ctx context.Context) (context.Context, context.CancelFunc) {
		assert.False(t, g.on(), "off before anything else")
		ctx, stop := context.WithCancel(ctx)
		stop()
		return ctx, stop
	}
	c := g.run()
	assert.Contains(t, c.stderr, "the last test ended without switching the supply off (on since 2026-11-25T09:30:00Z by process 7)")
}

func TestTwoRunsDoNotDriveOneBench(t *testing.T) {
	g := newGuarded(t)
	done := make(chan called, 1)
	g.interrupt = func(ctx context.Context) (context.Context, context.CancelFunc) {
		ctx, stop := context.WithCancel(ctx)
		go func() {
			other := *g.desk
			done <- other.call("run", "--rig", g.path("rig.toml"), "--simulate")
			stop()
		}()
		return ctx, stop
	}
	first := g.run()
	var c called
	select {
	case c = <-done:
	case <-time.After(20 * time.Second): // real processes; the first never came so far
		require.FailNow(t, "the second run was not tried", first.stderr)
	}
	assert.Equal(t, exitError, c.status)
	assert.Contains(t, c.stderr, "another program drives this bench")
}

func TestGuardIsNotForPeople(t *testing.T) {
	d := newDesk(t)
	c := d.call("--help")
	assert.NotContains(t, c.stdout, "guard")
	c = d.call("guard", "--rig", d.write(t, "rig.toml", guardedRig), "--lines", d.dir)
	assert.Equal(t, exitError, c.status)
	assert.Contains(t, c.stderr, "run starts it")
}
