package main

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"time"

	"dutybench/bench/guard"
	"dutybench/bench/rig"
	"dutybench/bench/sim"
)

// linesKey is the variable that names the folder of simulated lines, for who
// wants to look at them from outside; without it there is one for each run.
const linesKey = "DUTYBENCH_LINES"

// heldSwitch is the supply switch in the hands of a guard process.
type heldSwitch struct {
	*guard.Process
	marker   *guard.Marker
	leftOver string // what a test that ended without switching off left
	takeOver func() error
}

// benchLines are the simulated lines of a rig file's contacts.
type benchLines struct {
	*sim.Lines
	temporary bool
}

// simulatedLines makes the lines of a simulated board's contacts, which keep
// their level when a process dies, as real ones may.
func (a *app) simulatedLines(d *rig.Description) (*benchLines, error) {
	dir, l := a.getenv(linesKey), &benchLines{}
	if dir == "" {
		var err error
		// In memory where that can be had: a pin does not wait for a disk.
		if dir, err = os.MkdirTemp("/dev/shm", "dutybench-lines-"); err != nil {
			dir, err = os.MkdirTemp("", "dutybench-lines-")
		}
		if err != nil {
			return nil, fmt.Errorf("simulated lines: %w", err)
		}
		l.temporary = true
	}
	var err error
	l.Lines, err = sim.MakeLines(dir, lineNames(d)...)
	return l, err
}

// remove takes a temporary folder away.
func (l *benchLines) remove() error {
	if !l.temporary {
		return nil
	}
	return os.RemoveAll(l.Dir())
}

// holdSwitch starts the guard process, which holds the supply switch of a rig
// file from then on: on this machine, or on simulated lines when there are
// any. It is open when this returns. sum is the SHA-256 of the rig file's text
// as it was read here: the guard process refuses any other.
func (a *app) holdSwitch(d *rig.Description, path, sum string, lines *benchLines) (*heldSwitch, error) {
	args := []string{"guard", "--rig", path, "--sha256", sum}
	mark := filepath.Join(guard.StateDir(a.getenv), "dutybench-supply")
	sw, dir := &heldSwitch{}, ""
	if lines != nil {
		dir = lines.Dir()
		args = append(args, "--lines", dir)
		mark = filepath.Join(dir, "supply")
	}
	self, err := os.Executable()
	if err != nil {
		return nil, fmt.Errorf("the guard process: this program does not find itself: %w", err)
	}
	if sw.marker, sw.leftOver, err = guard.OpenMarker(mark); err != nil {
		return nil, err
	}
	cmd := exec.Command(self, args...)
	if f, ok := a.stderr.(*os.File); ok {
		cmd.Stderr = f // for what a program that breaks down says
	}
	sw.takeOver = func() error {
		// Pins of its own: this runs beside the rig's goroutine.
		board, err := switchBoard(d, dir)
		if err == nil {
			_, err = rig.Contacts(board, d)
		}
		return err
	}
	sw.Process, err = guard.Start(cmd, sw.marker, sw.takeOver)
	if err != nil {
		return nil, errors.Join(err, sw.marker.Close())
	}
	if sw.leftOver != "" {
		fmt.Fprintf(a.stderr, "dutybench: the last test ended without switching the supply off (%s); it is off now.\n", sw.leftOver)
	}
	return sw, nil
}

// facts are for the record.
func (s *heldSwitch) facts() []rig.Fact {
	out := []rig.Fact{{Key: "guard", Value: s.String()}}
	if s.leftOver != "" {
		out = append(out, rig.Fact{Key: "found at start", Value: "the last test ended without switching the supply off: " + s.leftOver})
	}
	return out
}

// letTime is how long a switch that does not open is tried again: a process
// that is dying holds its pins until it has (chosen).
const letTime = time.Second

// let gives the switch back, open.
func (s *heldSwitch) let() error {
	return errors.Join(opened(s.Process.Close(), s.takeOver, letTime), s.marker.Close())
}

// opened is nil when the contacts are open: at once, or when taking them over
// succeeds within a time.
func opened(err error, takeOver func() error, limit time.Duration) error {
	for end := time.Now().Add(limit); err != nil && time.Now().Before(end); {
		if takeOver() == nil {
			return nil
		}
		time.Sleep(20 * time.Millisecond)
	}
	return err
}
