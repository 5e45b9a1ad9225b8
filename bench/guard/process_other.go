//go:build !linux

package guard

import (
	"errors"
	"os/exec"
	"time"
)

// ErrUnready says that the guard process could not hold the contacts.
var ErrUnready = errors.New("guard: the contacts cannot be held")

var errLinux = errors.New("guard: a real rig needs Linux; elsewhere there is the simulated one")

// Process is a switch that a second process holds, on Linux.
type Process struct{}

// Start fails: there is no guard process here.
func Start(*exec.Cmd, *Marker, func() error) (*Process, error) { return nil, errLinux }

// Serve fails: there is no guard process here.
func Serve(func() (Contacts, error), bool) (farewell bool, err error) { return false, errLinux }

// Paths are none.
func (p *Process) Paths() Path { return NoPath }

// Set fails.
func (p *Process) Set(Path, time.Duration) error { return errLinux }

// PullIn is none.
func (p *Process) PullIn() time.Duration { return 0 }

// Still fails.
func (p *Process) Still(time.Duration) error { return errLinux }

// Renew fails.
func (p *Process) Renew(time.Duration) error { return errLinux }

// Lost says that there is none.
func (p *Process) Lost() error { return errLinux }

// Close does nothing.
func (p *Process) Close() error { return nil }

// PID is none.
func (p *Process) PID() int { return 0 }

// String says so.
func (p *Process) String() string { return "no guard process" }
