package run

import (
	"math"

	"periph.io/x/conn/v3/physic"

	"dutybench/bench/kind"
	"dutybench/bench/rig"
	"dutybench/profiles"
)

// commander is how a unit is told what to do: over the signal wire of its own
// board, or by the bench's switch in its supply.
type commander interface {
	// command carries out what a step asks for and gives the line duty that the
	// trace states; NaN: nothing drives.
	command(s kind.Step) (lineDuty_pct float64, err error)
	// release is the state in which nothing is asked of the unit.
	release() error
	// feeds says that what is commanded could feed a unit without supply, so that
	// it must be released with the supply.
	feeds() bool
	// signals says that there is a signal wire whose levels can be read. Without,
	// the bench switches the unit itself.
	signals() bool
}

// commanderFor is that of a profile's type of command.
func commanderFor(r *rig.Rig, p *profiles.Profile) commander {
	freq := physic.Frequency(math.Round(p.Command.Frequency_Hz * float64(physic.Hertz)))
	if p.Command.Type == profiles.Switched {
		return &switching{load: r.Load, freq: freq}
	}
	return &signalling{line: r.Line, law: p.Command, freq: freq}
}

// signalling commands over the signal wire.
type signalling struct {
	line *rig.Line
	law  profiles.Command
	freq physic.Frequency
}

func (c *signalling) command(s kind.Step) (lineDuty_pct float64, err error) {
	switch s.Line {
	case kind.Release:
		return math.NaN(), c.line.Release()
	case kind.HoldLow:
		return 0, c.line.HoldLow()
	case kind.HoldHigh:
		return 100, c.line.HoldHigh()
	}
	d := c.law.LineDuty(s.Command_pct)
	return d, c.line.Drive(d, c.freq)
}

func (c *signalling) release() error { return c.line.Release() }
func (c *signalling) feeds() bool    { return c.line.Feeds() }
func (c *signalling) signals() bool  { return true }

// switching commands by the switch in the unit's supply.
type switching struct {
	load *rig.Load
	freq physic.Frequency
}

func (c *switching) command(s kind.Step) (lineDuty_pct float64, err error) {
	if s.Line != kind.Command {
		return math.NaN(), c.load.Open()
	}
	return s.Command_pct, c.load.Drive(s.Command_pct, c.freq)
}

func (c *switching) release() error { return c.load.Open() }
func (c *switching) feeds() bool    { return false }
func (c *switching) signals() bool  { return false }
