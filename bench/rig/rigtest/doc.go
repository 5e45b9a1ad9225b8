// Package rigtest holds the checks that any rig and any chip on it has to
// pass, simulated or real. They report to T, which *testing.T is, so that a
// test can also show that a faulty chip is caught.
//
// On a real rig, run Conform with a resistor of a few ohms or nothing in the
// socket: it never closes the supply switch. The chip checks with an Apply
// need a source at the chip's inputs; without one they leave out what needs
// known voltages.
package rigtest

import (
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"
)

// T is what the checks report to.
type T interface {
	Helper()
	Errorf(format string, args ...any)
	FailNow()
}

// need ends the checks on an error.
func need(t T, err error, doing string) {
	t.Helper()
	if err != nil {
		t.Errorf("%s: %v", doing, err)
		t.FailNow()
	}
}

// check reports a failed condition.
func check(t T, ok bool, format string, args ...any) {
	t.Helper()
	if !ok {
		t.Errorf(format, args...)
	}
}

// within reports a value outside want ± tolerance.
func within(t T, what string, got, want, tolerance float64) {
	t.Helper()
	check(t, got >= want-tolerance && got <= want+tolerance, "%s: %g, want %g ± %g", what, got, want, tolerance)
}

// registers reads and writes 16-bit registers beside a driver.
type registers struct {
	t   T
	dev i2c.Dev
}

func (r registers) get(reg byte) uint16 {
	r.t.Helper()
	b := make([]byte, 2)
	need(r.t, r.dev.Tx([]byte{reg}, b), fmt.Sprintf("read register %#02x", reg))
	return uint16(b[0])<<8 | uint16(b[1])
}

func (r registers) set(reg byte, v uint16) {
	r.t.Helper()
	need(r.t, r.dev.Tx([]byte{reg, byte(v >> 8), byte(v)}, nil), fmt.Sprintf("write register %#02x", reg))
}

// microseconds of a duration, for messages.
func microseconds(d time.Duration) float64 { return float64(d) / float64(time.Microsecond) }
