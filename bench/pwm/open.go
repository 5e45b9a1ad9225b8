package pwm

import (
	"errors"
	"fmt"
	"io/fs"
	"strconv"
	"strings"
	"syscall"
	"time"

	"dutybench/bench/clock"
	"dutybench/bench/sysfs"
)

// How long udev may take to hand over an exported channel's files, and how
// often Open looks. Both are chosen: it takes some tens of milliseconds on an
// idle board, and seconds while one boots.
const (
	handOver = 3 * time.Second
	lookAt   = 10 * time.Millisecond
)

// The files of a channel.
const (
	filePeriod   = "period"
	fileDuty     = "duty_cycle"
	filePolarity = "polarity"
	fileEnable   = "enable"
)

// Open finds the chip of a device, such as "fe20c000.pwm", and takes one of
// its channels: it exports it where that has not been done, and waits until
// this user may write its files. It leaves the output as it found it.
func Open(tree sysfs.Tree, clk clock.Clock, device string, channel int) (*Pin, error) {
	chip, err := find(tree, device)
	if err != nil {
		return nil, err
	}
	if channel < 0 || channel >= chip.Channels {
		return nil, fmt.Errorf("pwm: %s has %d channels, numbered from 0; there is no channel %d: correct the rig file", chip.Name, chip.Channels, channel)
	}
	p := &Pin{tree: tree, name: fmt.Sprintf("%s/%d", chip.Name, channel), channel: channel}
	for _, f := range [...]*struct {
		to   *string
		name string
	}{{&p.period.file, filePeriod}, {&p.duty.file, fileDuty}, {&p.polarity, filePolarity}, {&p.enable.file, fileEnable}} {
		*f.to = fmt.Sprintf("%s/pwm%d/%s", chip.Path, channel, f.name)
	}
	if err := p.export(clk, chip.Path+"/export"); err != nil {
		return nil, err
	}
	if err := p.read(); err != nil {
		return nil, err
	}
	return p, nil
}

// export makes the channel's files, and waits until they can be written.
func (p *Pin) export(clk clock.Clock, file string) error {
	refused := p.tree.WriteFile(file, []byte(strconv.Itoa(p.channel)))
	switch {
	case refused == nil:
	case errors.Is(refused, syscall.EBUSY):
		// Either somebody has exported it before, or the kernel itself has it.
		if _, err := p.tree.ReadFile(p.enable.file); errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("pwm: %s: export: %w: a driver of the kernel holds this channel (a fan, a backlight or the audio output): take its overlay out of the boot configuration, or choose another channel", p.name, refused)
		}
	case errors.Is(refused, fs.ErrPermission):
		// An earlier program may have exported it.
		if _, err := p.tree.ReadFile(p.enable.file); err != nil {
			return fmt.Errorf("pwm: %s: export: %w: %s", p.name, refused, noPermission)
		}
	default:
		return fmt.Errorf("pwm: %s: export: %w: %s", p.name, refused, advice(refused))
	}
	end := clk.Now() + handOver
	for {
		err := p.ready()
		if err == nil {
			return nil
		}
		if clk.Now() >= end || !errors.Is(err, fs.ErrNotExist) && !errors.Is(err, fs.ErrPermission) {
			return fmt.Errorf("pwm: %s: after the export: %w: %s", p.name, err, advice(err))
		}
		clk.Sleep(lookAt)
	}
}

// ready asks whether all files are there and may be written.
func (p *Pin) ready() error {
	for _, file := range [...]string{p.period.file, p.duty.file, p.polarity, p.enable.file} {
		if err := p.tree.WriteFile(file, nil); err != nil {
			return err
		}
	}
	return nil
}

// read takes over what the channel does now.
func (p *Pin) read() error {
	for _, v := range [...]*value{&p.period, &p.duty, &p.enable} {
		n, err := readNumber(p.tree, v.file)
		if err != nil {
			return fmt.Errorf("pwm: %s: %w: %s", p.name, err, advice(err))
		}
		if n > 1<<62 {
			return fmt.Errorf("pwm: %s: %s holds %d, which cannot be", p.name, v.file, n)
		}
		v.now = int64(n)
	}
	b, err := p.tree.ReadFile(p.polarity)
	if err != nil {
		return fmt.Errorf("pwm: %s: %w: %s", p.name, err, advice(err))
	}
	p.inversed = strings.TrimSpace(string(b)) == "inversed"
	p.unsure = false
	return nil
}

const noPermission = "this user may not write the kernel's PWM: install the udev rule that comes with dutybench, be in the group that it names (often gpio; log in anew after joining), and start the board anew"

// advice is the next step after what the kernel said.
func advice(err error) string {
	switch {
	case errors.Is(err, fs.ErrPermission):
		return noPermission
	case errors.Is(err, syscall.EBUSY):
		return "another program is using this channel: end it"
	case errors.Is(err, syscall.ENODEV), errors.Is(err, fs.ErrNotExist):
		return "the channel is gone: another program has given it back, or its driver was unloaded; open the rig again, and look into the kernel's log (dmesg)"
	case errors.Is(err, syscall.EINVAL), errors.Is(err, syscall.ERANGE):
		return "the chip cannot do this period or duty: choose another frequency"
	}
	return "look into the kernel's log (dmesg)"
}
