package trial_test

import "syscall"

// killRig is a bench with two contacts, a pre-charge contact and a heartbeat's
// relay.
const killRig = `format = 1
name = "kill"
title = "Bench of the killing campaign"

[bench]
supply = "9 V to 16 V"
fuse = "25 A"
current = "20 A"
supply_limit = "30 A"

[[switch]]
pin = "GPIO17"
type = "transistor"

[[switch]]
pin = "GPIO27"
type = "relay"
settle = "20 ms"

[pre_charge]
pin = "GPIO22"
type = "transistor"
resistor = "10 ohm"

[heartbeat]
pin = "GPIO23"
frequency = "25 Hz"
hold = "150 ms"

[stop]
pin = "GPIO24"
active = "low"
pull = "up"

[line]
pin = "GPIO18"

[i2c]
bus = "/dev/i2c-1"
speed = "400 kHz"

[current]
chip = "ina226"
address = 64
conversion = "332 µs"
shunt = "2 mohm"
shunt_tolerance = "0.5 %"
side = "high"

[voltage]
chip = "ads1115"
address = 72

[supply]
channel = 0
top = "100 kohm"
bottom = "10 kohm"
tolerance = "0.1 %"

[line_level]
channel = 1
top = "100 kohm"
bottom = "10 kohm"
tolerance = "0.1 %"
`

// victim is which process gets a signal.
type victim int

const (
	mainProcess victim = iota
	guardProcess
)

func (v victim) String() string { return []string{"main", "guard"}[v] }

// blow is one signal.
type blow struct {
	who victim
	sig syscall.Signal
}

func (b blow) String() string {
	return b.who.String() + map[syscall.Signal]string{syscall.SIGKILL: " killed", syscall.SIGSTOP: " stopped"}[b.sig]
}
