// Package pwm is the kernel's PWM as a periph pin: the files of the pwm class
// of a board, for pins on which periph itself has no PWM.
//
// # The kernel's interface
//
// Documentation/driver-api/pwm.rst, "Using PWMs with the sysfs interface", and
// drivers/pwm/core.c of the kernel. A chip is class/pwm/pwmchipN, where N goes
// with the order in which chips are found and so may change with any kernel
// or overlay. What stays is the device that its link "device" leads to, such
// as devices/platform/soc/fe20c000.pwm: a chip is found by that.
//
// A channel is there after its number was written to "export". Its files
// belong to root until udev has handed them to a group, some time later. The
// kernel refuses what would leave the channel without a period or with a duty
// cycle above it, whatever file is written: so the period goes first into a
// new channel, and later the two are written in the order in which the duty
// cycle never is the greater. The polarity may change only while the channel
// is disabled.
//
// # What the files do not tell
//
// Reading them gives what was asked for, not what the chip could do: it may
// have rounded period and duty to steps of its own clock, and it may not drive
// the pin at all, when the pin's function was not set by an overlay. Measure
// the line, as a rig does before a test.
//
// Nor does the kernel promise the level of a disabled channel ("don't rely on
// the output's state for a disabled PWM ... use .duty_cycle=0, .enabled=true").
// So steady levels are a running channel of duty 0 or of the whole period.
//
// A channel outlives the program: one that ends, or is killed, leaves it
// exported and its output as it was, running PWM included.
package pwm
