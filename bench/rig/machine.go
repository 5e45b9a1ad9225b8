package rig

import (
	"fmt"
	"strings"

	"periph.io/x/conn/v3/driver/driverreg"
	"periph.io/x/conn/v3/i2c/i2creg"
	"periph.io/x/host/v3"
)

// Machine says in a line what this machine has that a rig could be wired to:
// I²C buses that can be opened by name, and what was found but could not be
// used. host.Init returns nil even when drivers failed, so its state is
// looked at.
func Machine() string {
	return describe(host.Init())
}

func describe(state *driverreg.State, err error) string {
	if err != nil {
		return fmt.Sprintf("its hardware could not be looked at (%v)", err)
	}
	var buses []string
	for _, r := range i2creg.All() {
		buses = append(buses, r.Name)
	}
	out := "no I²C bus was found on this machine"
	if len(buses) > 0 {
		out = "this machine has I²C " + strings.Join(buses, ", ")
	}
	var failed []string
	if state != nil {
		for _, f := range state.Failed {
			failed = append(failed, f.Err.Error()) // its String panics without a driver
		}
	}
	if len(failed) > 0 {
		out += "; not usable: " + strings.Join(failed, "; ")
	}
	return out
}
