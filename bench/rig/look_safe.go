package rig

import (
	"fmt"
	"time"
)

const cutOff = "hardware cut-off"

func (d *Description) lookCutOff() Look {
	if d.AlertCuts {
		return Look{cutOff, Attention, d.CutOffWords(), "Fit a heartbeat relay too, or stand by the supply with --attended."}
	}
	return Look{cutOff, Attention, d.CutOffWords(), "Fit a heartbeat relay; until then every test needs --attended and a person at the supply."}
}

// LookRelay is the heartbeat's relay where it was not measured; nil without
// one.
func (d *Description) LookRelay() *Look {
	if d.Heartbeat == nil {
		return nil
	}
	return &Look{cutOff, Attention, d.CutOffWords() + "; stated, not measured",
		"Check with the supply on and the socket empty, so that its fall is timed; until then nobody knows that it opens."}
}

// IsCutOff says that a look is at the hardware cut-off.
func (l *Look) IsCutOff() bool { return l.What == cutOff }

// CutOffWords says what cuts the supply when this program is dead, and what it
// does not cover.
func (d *Description) CutOffWords() string {
	switch {
	case d.Heartbeat != nil:
		return fmt.Sprintf("a heartbeat relay, open %s after the last pulse", milliseconds(d.Heartbeat.Hold))
	case d.AlertCuts:
		return "the converter's alert only: it opens the switch at too much current; when program or computer hang at a usual current, nothing does"
	}
	return "none: when program or computer hang the supply stays on"
}

// failsSafe says that an input reads on when its wire is broken.
func (i *Input) failsSafe() bool {
	return i.Pull == "up" && !i.ActiveLow || i.Pull == "down" && i.ActiveLow
}

// buttonWords say how a stop button is built for its levels.
func (i *Input) buttonWords() string {
	if i.failsSafe() {
		return "normally closed"
	}
	return "normally open"
}

// lookSafe is what the description says of parts that keep a test safe.
func (d *Description) lookSafe() (list []Look) {
	if d.Name == Sim {
		return nil
	}
	switch {
	case d.Stop == nil:
		list = append(list, Look{"stop input", Attention, "none", "Fit a button that a person can reach, and state it as [stop] in the rig file."})
	case !d.Stop.failsSafe():
		found := "with a broken wire it reads released"
		if d.Stop.Pull == "none" {
			found = "with a broken wire it reads anything"
		}
		list = append(list, Look{"stop input, wire", Attention, found,
			"Use a normally closed button from the pin to ground, with active = \"high\" and pull = \"up\": pressed or broken then stops a test."})
	}
	if b := d.Bench; b.SupplyLimit_A >= b.Fuse_A {
		list = append(list, Look{"supply's limit", Attention, fmt.Sprintf("%g A, not below the fuse of %g A: a short is fed for as long as the fuse takes", b.SupplyLimit_A, b.Fuse_A),
			"Set the supply's limit below the fuse, and state that as supply_limit."})
	}
	return list
}

// rateWords hold the rate against what the data sheet's typical times allow,
// which a chip may be faster than.
func (f *Floor) rateWords() string {
	least := ""
	if f.Rate_Hz > f.Limit_Hz {
		least = "at least "
	}
	return fmt.Sprintf("%.0f samples a second; converter and bus allow %s%.0f by the data sheet; jitter %v, longest step %v",
		f.Rate_Hz, least, f.Limit_Hz, f.Jitter.Round(time.Microsecond), f.Longest.Round(time.Microsecond))
}
