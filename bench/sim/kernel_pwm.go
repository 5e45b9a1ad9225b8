package sim

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"syscall"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"
)

// What the simulated board's PWM is. The number is not 0: the kernel gives
// them as it finds chips, and no two boards need agree.
const (
	PWMDevice   = "3f20c000.pwm"
	PWMChannels = 2
	// PWMLoad is the channel that drives the switch of a two-wire unit.
	PWMLoad = 1

	pwmDevicePath = "devices/platform/soc/" + PWMDevice
	pwmChipPath   = pwmDevicePath + "/pwm/pwmchip2"
)

// PWMChip is a chip of the kernel's pwm class. Its channel 0 drives the
// signal wire as the LINE pin does, channel 1 the switch of a two-wire unit as
// the LOAD pin does. It refuses what
// the class refuses (Documentation/driver-api/pwm.rst; drivers/pwm/core.c,
// __pwm_apply), and where kernels differ it is as strict as the strictest:
//
//   - whatever leaves a channel with period 0, or with a duty cycle above its
//     period: EINVAL. So before there is a period nothing else can be set, not
//     even the polarity or "disabled" (kernels before 6.17);
//   - numbers beyond 32 bits: ERANGE (kernels before 5.10 or so); what is no
//     number: EINVAL;
//   - the polarity while enabled: EBUSY (left to the driver since 4.7);
//   - a second export, or one of a channel that the kernel uses itself: EBUSY;
//   - a channel beyond npwm, or an unexport of one not exported: ENODEV.
type PWMChip struct {
	// Delay passes between an export and the moment at which an ordinary user
	// may write the channel's files, as udev takes it.
	Delay time.Duration
	// Taken is a channel that the kernel uses itself, -1 for none.
	Taken int
	// Refused: an ordinary user may write nothing.
	Refused bool
	// Stuck: the output stays as it is, while writes are taken.
	Stuck bool
	// Gone: the chip's device is no more.
	Gone bool
	// Freezes: a disabled channel keeps its level of that moment, which of a
	// PWM is the high one at worst. Else it goes to its inactive level.
	Freezes bool

	k        *Kernel
	channels [PWMChannels]pwmChannel
}

// pwmChannel is the state of one channel.
type pwmChannel struct {
	period, duty uint32 // ns
	enabled      bool
	inversed     bool
	exported     bool
	pin          *Pin // what it drives; nil: nothing
}

// Call gives the chip another device name than PWMDevice, as rig files name
// chips by it.
func (c *PWMChip) Call(device string) {
	at := "devices/platform/soc/" + device
	c.k.links[pwmChipPath+"/device"] = at
	if at != pwmDevicePath {
		c.k.links[at+"/pwm"] = pwmDevicePath + "/pwm"
	}
}

func newPWMChip(k *Kernel) *PWMChip {
	c := &PWMChip{Delay: 80 * time.Millisecond /* chosen */, Taken: -1, k: k}
	c.channels[0].pin, c.channels[PWMLoad].pin = newLine(k.w), newLoad(k.w)
	k.links["class/pwm/pwmchip2"] = pwmChipPath
	k.links[pwmChipPath+"/device"] = pwmDevicePath
	c.add("npwm", func() (string, error) { return strconv.Itoa(PWMChannels) + "\n", nil }, nil, 0)
	c.add("export", nil, c.export, 0)
	c.add("unexport", nil, c.unexport, 0)
	return c
}

func (c *PWMChip) away() error {
	if c.Gone {
		return syscall.ENODEV
	}
	return nil
}

// add makes a file of the chip.
func (c *PWMChip) add(name string, read func() (string, error), write func(string) error, ready time.Duration) {
	f := &kernelFile{read: read, ready: ready, away: c.away}
	if write != nil {
		f.write = func(text string) error {
			switch {
			case c.Refused:
				return syscall.EACCES
			case text == "":
				return nil
			}
			return write(text)
		}
	}
	c.k.files[pwmChipPath+"/"+name] = f
}

// number reads an unsigned number as the kernel's kstrtouint does: base by its
// prefix, one newline at the end.
func number(text string) (uint32, error) {
	digits := strings.TrimPrefix(strings.TrimSuffix(text, "\n"), "+")
	if strings.ContainsAny(digits, "_+") {
		return 0, syscall.EINVAL
	}
	n, err := strconv.ParseUint(digits, 0, 32)
	switch {
	case errors.Is(err, strconv.ErrRange):
		return 0, syscall.ERANGE
	case err != nil:
		return 0, syscall.EINVAL
	}
	return uint32(n), nil
}

func (c *PWMChip) export(text string) error {
	n, err := number(text)
	switch {
	case err != nil:
		return err
	case n >= PWMChannels:
		return syscall.ENODEV
	case c.channels[n].exported || int(n) == c.Taken:
		return syscall.EBUSY
	}
	ch := &c.channels[n]
	ch.exported = true
	folder := fmt.Sprintf("pwm%d/", n)
	ready := c.k.w.now + c.Delay
	show := func(f func() string) func() (string, error) {
		return func() (string, error) { return f() + "\n", nil }
	}
	c.add(folder+"period", show(func() string { return strconv.FormatUint(uint64(ch.period), 10) }), func(text string) error {
		n, err := number(text)
		if err != nil {
			return err
		}
		to := *ch
		to.period = n
		return c.apply(ch, to)
	}, ready)
	c.add(folder+"duty_cycle", show(func() string { return strconv.FormatUint(uint64(ch.duty), 10) }), func(text string) error {
		n, err := number(text)
		if err != nil {
			return err
		}
		to := *ch
		to.duty = n
		return c.apply(ch, to)
	}, ready)
	c.add(folder+"enable", show(func() string {
		if ch.enabled {
			return "1"
		}
		return "0"
	}), func(text string) error {
		n, err := number(text)
		if err != nil || n > 1 {
			return syscall.EINVAL
		}
		to := *ch
		to.enabled = n == 1
		return c.apply(ch, to)
	}, ready)
	c.add(folder+"polarity", show(func() string {
		if ch.inversed {
			return "inversed"
		}
		return "normal"
	}), func(text string) error {
		to := *ch
		switch strings.TrimSuffix(text, "\n") {
		case "normal":
			to.inversed = false
		case "inversed":
			to.inversed = true
		default:
			return syscall.EINVAL
		}
		if ch.enabled && to.inversed != ch.inversed {
			return syscall.EBUSY
		}
		return c.apply(ch, to)
	}, ready)
	return nil
}

func (c *PWMChip) unexport(text string) error {
	n, err := number(text)
	switch {
	case err != nil:
		return err
	case n >= PWMChannels || !c.channels[n].exported:
		return syscall.ENODEV
	}
	c.channels[n].exported = false
	for _, name := range []string{"period", "duty_cycle", "enable", "polarity"} {
		delete(c.k.files, fmt.Sprintf("%s/pwm%d/%s", pwmChipPath, n, name))
	}
	return nil
}

// apply takes a channel's new state, or refuses it and changes nothing.
func (c *PWMChip) apply(ch *pwmChannel, to pwmChannel) error {
	if to.period == 0 || to.duty > to.period {
		return syscall.EINVAL
	}
	was := *ch
	*ch = to
	if c.Stuck || ch.pin == nil || was == to || !was.enabled && !to.enabled {
		return nil
	}
	return c.drive(ch, was)
}

// drive puts a channel's state on its wire.
func (c *PWMChip) drive(ch *pwmChannel, was pwmChannel) error {
	inactive := gpio.Level(ch.inversed)
	switch {
	case !ch.enabled && c.Freezes && was.duty > 0:
		return ch.pin.Out(!inactive)
	case !ch.enabled || ch.duty == 0:
		return ch.pin.Out(inactive)
	case ch.duty == ch.period:
		return ch.pin.Out(!inactive)
	}
	high := float64(ch.duty) / float64(ch.period)
	if ch.inversed {
		high = 1 - high
	}
	share := min(max(gpio.Duty(high*float64(gpio.DutyMax)+0.5), 1), gpio.DutyMax-1)
	const second = 1e9 // of ns
	f := physic.Frequency(second / float64(ch.period) * float64(physic.Hertz))
	return ch.pin.PWM(share, max(f, 1))
}
