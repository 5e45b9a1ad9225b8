package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"

	"dutybench/bench/guard"
	"dutybench/bench/rig"
	"dutybench/bench/sim"
)

// The guard process holds the contacts of the file that the main process has
// read, and of no other.
func TestGuardRefusesAChangedFile(t *testing.T) {
	g := newGuarded(t)
	path := g.path("rig.toml")
	d, sum, err := readRigFile(path)
	require.NoError(t, err)
	assert.Len(t, sum, 64)
	lines, err := sim.MakeLines(g.lines, lineNames(&d)...)
	require.NoError(t, err)
	a := &app{env: hostEnv()}
	a.stderr = io.Discard

	sw, err := a.holdSwitch(&d, path, sum, &benchLines{Lines: lines})
	require.NoError(t, err)
	require.NoError(t, sw.Set(guard.First, guard.LongestLease))
	require.NoError(t, sw.let())

	text, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(path, append(text, "\n# another pin\n"...), 0o644))
	_, err = a.holdSwitch(&d, path, sum, &benchLines{Lines: lines})
	require.ErrorContains(t, err, "was changed while the test began: run it again")
	assert.Equal(t, gpio.Low, g.level(sim.SwitchName))
	_, _, err = takeContacts(path, "", g.lines)
	require.NoError(t, err, "at boot nobody has read it before")
}

// A switch that does not open is tried again while the process that held it
// dies.
func TestSwitchThatDoesNotOpenIsTriedAgain(t *testing.T) {
	bad, tries := errors.New("bad"), 0
	busy := func(until int) func() error {
		tries = 0
		return func() error {
			if tries++; tries < until {
				return bad
			}
			return nil
		}
	}
	require.NoError(t, opened(nil, busy(9), time.Second))
	assert.Zero(t, tries)
	require.NoError(t, opened(bad, busy(3), time.Second))
	assert.Equal(t, 3, tries)
	require.ErrorIs(t, opened(bad, busy(1000), 50*time.Millisecond), bad)
	assert.Greater(t, tries, 1)
}

// A bench that is too weak for a profile's unit is refused before anything is
// opened.
func TestRunOnATooWeakBench(t *testing.T) {
	g := newGuarded(t)
	g.write(t, "rig.toml", strings.Replace(guardedRig, `current = "20 A"`, `current = "2 A"`, 1))
	c := g.call("run", "--rig", g.path("rig.toml"), "--simulate", "--json")
	assert.Equal(t, exitError, c.status)
	assert.Contains(t, c.stderr, "rig guarded is for at most 2 A, profile "+defaultProfile+" lets its unit take ")
	_, err := os.Stat(g.lines + "/supply")
	assert.ErrorIs(t, err, os.ErrNotExist, "nobody took the bench")
	c = g.call("rig", "check", g.path("rig.toml"), "--simulate", "--yes", "--no-stop", "--no-close", "--seconds", "0.2", "--profile", defaultProfile)
	assert.Contains(t, c.stdout, "is for at most 2 A")
}

// The line is let go with the contacts, but not where another process holds
// them.
func TestLineIsTidiedWithTheContacts(t *testing.T) {
	d := rig.Default()
	d.LinePin.Pin, d.LinePin.PWMChip = "", "none.pwm" // which no machine has
	busy := fmt.Errorf("GPIO17: %w", syscall.EBUSY)
	assert.ErrorContains(t, tidied(nil, &d, ""), "none.pwm")
	assert.ErrorContains(t, tidied(errors.New("a contact"), &d, ""), "none.pwm")
	assert.Equal(t, busy, tidied(busy, &d, ""))
	assert.NoError(t, tidied(nil, &d, t.TempDir()), "simulated lines have ended with the main process")
	assert.NoError(t, tidied(nil, nil, ""), "nobody knows the line")
}
