package rig

import (
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
)

// noting is a line as periph's driver has it: it notes the direction before the
// kernel has given it the line, and never asks again.
type noting struct {
	gpio.PinIO
	busy   bool
	output bool // noted
	held   bool // given by the kernel
}

func (p *noting) Out(gpio.Level) error {
	if !p.output {
		p.output = true
		if p.busy {
			return syscall.EBUSY
		}
		p.held = true
	}
	if !p.held {
		return syscall.ENOTTY // what the kernel says of descriptor 0
	}
	return nil
}

func (p *noting) In(gpio.Pull, gpio.Edge) error {
	p.output = false
	if p.busy {
		return syscall.EBUSY
	}
	p.held = true
	return nil
}

func (p *noting) close() { p.output, p.held = false, false }

// A line that was refused once is asked for anew; one that is driven is not let
// go for an error.
func TestRefusedLineIsAskedForAnew(t *testing.T) {
	line := &noting{busy: true}
	closed := 0
	p := &hostPin{PinIO: line, name: "GPIO17", let: func() { closed++; line.close() }}
	require.ErrorIs(t, p.Out(gpio.Low), syscall.EBUSY)
	require.ErrorIs(t, p.In(gpio.Float, gpio.NoEdge), syscall.EBUSY)
	line.busy = false
	require.NoError(t, p.Out(gpio.Low))
	require.Equal(t, 2, closed)
	line.busy = true
	require.Error(t, p.In(gpio.Float, gpio.NoEdge))
	assert.Equal(t, 2, closed)
}
