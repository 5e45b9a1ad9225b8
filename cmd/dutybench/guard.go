package main

import (
	"errors"
	"fmt"
	"syscall"
	"time"

	"github.com/spf13/cobra"
	"periph.io/x/conn/v3/gpio"

	"dutybench/bench/guard"
	"dutybench/bench/rig"
	"dutybench/bench/sim"
)

// mostBeats_Hz is the fastest heartbeat: a process that wakes twice in each of
// its periods has time for little else above it (chosen).
const mostBeats_Hz = 1000

// newGuard is the process that holds the supply switch. Other commands start
// it, and talk to it through pipes; people do not see it.
//
// Where the main process has ended without a goodbye it also lets the signal
// wire go, which the kernel's PWM would drive on: a push-pull line feeds a unit
// without supply through its signal pin. It cannot do so for a main process
// that is stopped and lives: a line of the GPIO chip belongs to that until it
// dies, and this process waits for that with the contacts open. A resistor in
// series holds the current small meanwhile.
func newGuard(a *app) *cobra.Command {
	var path, sum, lines string
	var off bool
	c := &cobra.Command{
		Use:    "guard",
		Short:  "Hold the supply switch of a rig; run starts this, a person does not",
		Hidden: true,
		Args:   cobra.NoArgs,
		RunE: a.do(func(*cobra.Command, []string) error {
			if off { // taking the contacts opens them
				_, d, err := takeContacts(path, sum, lines)
				return tidied(err, d, lines)
			}
			var d *rig.Description
			farewell, err := guard.Serve(func() (c guard.Contacts, err error) {
				c, d, err = takeContacts(path, sum, lines)
				return c, err
			}, true)
			if !farewell {
				err = tidied(err, d, lines)
			}
			if errors.Is(err, guard.ErrUnready) {
				a.status = exitError // who started it has been told why
				return nil
			}
			return err
		}),
	}
	c.Flags().StringVar(&path, "rig", "", "`FILE` that describes the rig")
	c.Flags().StringVar(&sum, "sha256", "", "`HEX` of the rig file's text; another one is refused")
	c.Flags().BoolVar(&off, "off", false, "open the supply switch, let the line go and end, as the service does at boot")
	c.Flags().StringVar(&lines, "lines", "", "`DIR` of simulated lines, instead of this machine's pins")
	return c
}

// takeContacts takes the pins of a rig file's contacts, on this machine or on
// simulated lines, and leaves them open. It refuses a file that is not that of
// the checksum, if one is given. d is what the file says, nil when that is not
// known.
func takeContacts(path, sum, lines string) (c guard.Contacts, d *rig.Description, err error) {
	read, is, err := readRigFile(path)
	switch {
	case err != nil:
		return c, nil, err
	case sum != "" && sum != is:
		return c, nil, fmt.Errorf("the rig file %s was changed while the test began: run it again", path)
	}
	d = &read
	board, err := switchBoard(d, lines)
	if err != nil {
		return c, d, err
	}
	pins, err := rig.Contacts(board, d)
	if err != nil {
		return c, d, err
	}
	c.Switch = pins
	if d.Heartbeat == nil {
		return c, d, nil
	}
	if f := d.Heartbeat.Frequency_Hz; !(f > 0 && f <= mostBeats_Hz) {
		return c, d, fmt.Errorf("the heartbeat of %g Hz: the guard process gives pulses of up to %g Hz; correct the rig file", f, float64(mostBeats_Hz))
	}
	if c.Heartbeat, err = board.Pin(d.Heartbeat.Pin); err == nil {
		err = c.Heartbeat.Out(gpio.Low)
	}
	c.PullIn = d.Heartbeat.PullIn
	c.Half = time.Duration(float64(time.Second) / (2 * d.Heartbeat.Frequency_Hz))
	return c, d, err
}

// tidied is what taking or holding the contacts came to, with the line let go
// too. Where another process holds the contacts the line is that one's as well,
// and stays.
func tidied(err error, d *rig.Description, lines string) error {
	if errors.Is(err, syscall.EBUSY) {
		return err
	}
	return errors.Join(err, releaseLine(d, lines))
}

// releaseLine lets the signal wire of this machine go; simulated ones end with
// the main process.
func releaseLine(d *rig.Description, lines string) error {
	if d == nil || lines != "" {
		return nil
	}
	board, err := rig.OpenHost()
	if err != nil {
		return err
	}
	// The board is not closed: a line that is let go may float.
	return rig.ReleaseLine(board, d)
}

// switchBoard is a board for the contacts only: this machine, or a folder of
// simulated lines.
func switchBoard(d *rig.Description, lines string) (rig.Board, error) {
	if lines == "" {
		return rig.OpenHost()
	}
	return linesBoard{lines: sim.OpenLines(lines), d: d}, nil
}

// linesBoard gives a description's contacts their simulated lines.
type linesBoard struct {
	rig.Board // nothing but pins
	lines     *sim.Lines
	d         *rig.Description
}

// lineNames are the simulated lines of a description's contacts and heartbeat.
func lineNames(d *rig.Description) []string {
	names := []string{sim.SwitchName, sim.SecondName}[:min(len(d.Switches), 2)]
	if d.PreCharge != nil {
		names = append(names, sim.PreChargeName)
	}
	if d.Heartbeat != nil {
		names = append(names, sim.HeartbeatName)
	}
	return names
}

func (b linesBoard) Pin(name string) (gpio.PinIO, error) {
	line, activeLow := name, false
	for i, c := range b.d.Switches {
		if c.Pin == name {
			line, activeLow = []string{sim.SwitchName, sim.SecondName}[i], c.ActiveLow
		}
	}
	if p := b.d.PreCharge; p != nil && p.Pin == name {
		line, activeLow = sim.PreChargeName, p.ActiveLow
	}
	if h := b.d.Heartbeat; h != nil && h.Pin == name {
		line = sim.HeartbeatName
	}
	pin, err := b.lines.Pin(line)
	if err != nil {
		return nil, err
	}
	if activeLow {
		return flipped{pin}, nil // a simulated contact closes when its line is high
	}
	return pin, nil
}

// flipped is a pin that drives the other way round.
type flipped struct{ gpio.PinIO }

func (p flipped) Out(l gpio.Level) error { return p.PinIO.Out(!l) }
func (p flipped) Read() gpio.Level       { return !p.PinIO.Read() }
