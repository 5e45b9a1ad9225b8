package rig

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
	"periph.io/x/conn/v3/driver/driverreg"
)

func TestMachine(t *testing.T) {
	assert.Contains(t, Machine(), "I²C")
}

func TestMachineThatFails(t *testing.T) {
	assert.Contains(t, describe(nil, errors.New("no such board")), "no such board")
	s := &driverreg.State{Failed: []driverreg.DriverFailure{{Err: errors.New("permission denied")}}}
	assert.Contains(t, describe(s, nil), "permission denied")
}
