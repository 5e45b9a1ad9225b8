package pwm

import (
	"fmt"
	"math"
	"strconv"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/sysfs"
)

// Ends of the frequency. The lowest has the longest period that fits into the
// 32 bits of older kernels; the highest has a thousand steps of the kernel's
// unit, a nanosecond (chosen). Chips have narrower ones, and refuse by
// themselves.
const (
	LowestFrequency  = 232831 * physic.MicroHertz // 1/(2³²-1 ns), rounded up
	HighestFrequency = physic.MegaHertz
)

// steadyPeriod is the period of a channel that has only ever been asked for
// levels; chosen, every chip can do it.
const steadyPeriod = int64(time.Millisecond)

// Pin is one channel of a chip, as an output of periph. It writes only what
// changes. One goroutine owns it.
//
// Between the two writes that change period and duty the output shows the
// smaller high time in the longer period: never more than the greater of both
// duties, and at most for as long as the kernel takes to the next write.
type Pin struct {
	tree     sysfs.Tree
	name     string
	channel  int
	polarity string // file

	// What the kernel has accepted.
	period, duty, enable value // ns, ns, 0 or 1
	inversed             bool
	unsure               bool // a write failed since

	text []byte
}

var _ gpio.PinIO = (*Pin)(nil)

// value is a file with a number.
type value struct {
	file string
	now  int64
}

// String names the pin.
func (p *Pin) String() string { return p.name }

// Name names the pin by chip and channel, such as "fe20c000.pwm/0".
func (p *Pin) Name() string { return p.name }

// Number is the channel.
func (p *Pin) Number() int { return p.channel }

// Function says what the pin does.
func (p *Pin) Function() string {
	switch {
	case p.enable.now == 0:
		return ""
	case p.duty.now == 0:
		return "Out/Low"
	case p.duty.now == p.period.now:
		return "Out/High"
	}
	return "PWM"
}

// PWM is high for the duty's share of each period. Duties 0 and full are
// steady levels of a running channel; they keep the period that it has, as a
// change of it would show as a pulse. The kernel's unit is a nanosecond; the
// chip may round further.
func (p *Pin) PWM(duty gpio.Duty, f physic.Frequency) error {
	switch {
	case !duty.Valid():
		return fmt.Errorf("pwm: %s: duty %d: it must be from 0 to %d", p.name, duty, gpio.DutyMax)
	case f < LowestFrequency || f > HighestFrequency:
		return fmt.Errorf("pwm: %s: frequency %v: it must be from %v to %v", p.name, f, LowestFrequency, HighestFrequency)
	case duty == 0:
		return p.Out(gpio.Low)
	case duty == gpio.DutyMax:
		return p.Out(gpio.High)
	}
	period := int64(math.Round(float64(physic.Hertz) * 1e9 / float64(f)))
	high := (period*int64(duty) + int64(gpio.DutyMax)/2) / int64(gpio.DutyMax)
	return p.apply(period, min(max(high, 1), period-1))
}

// Out is a steady level of a running channel.
func (p *Pin) Out(l gpio.Level) error {
	if err := p.sure(); err != nil {
		return err
	}
	period := p.period.now
	if period == 0 {
		period = steadyPeriod
	}
	if l == gpio.Low {
		return p.apply(period, 0)
	}
	return p.apply(period, period)
}

// Halt takes the output low, and disables the channel. After that the kernel
// promises no level: most chips stay low, some let the pin float. Where the
// level matters, Out(Low) is the right call, and stays in force.
func (p *Pin) Halt() error {
	if err := p.sure(); err != nil {
		return err
	}
	if p.enable.now == 0 {
		return nil
	}
	if p.inversed { // a left-over of somebody else's, whose duty 0 is high
		if err := p.Out(gpio.Low); err != nil {
			return err
		}
	}
	if err := p.write(&p.duty, 0); err != nil {
		return err
	}
	return p.write(&p.enable, 0)
}

// In is refused.
func (p *Pin) In(gpio.Pull, gpio.Edge) error {
	return fmt.Errorf("pwm: %s is a channel of the kernel's PWM and can only put out: it cannot let a line go; use an open-drain driver behind it", p.name)
}

// Read is the level last asked for; low while it is a PWM.
func (p *Pin) Read() gpio.Level {
	return p.enable.now == 1 && p.duty.now > 0 && p.duty.now == p.period.now
}

// WaitForEdge sees none and returns at once.
func (p *Pin) WaitForEdge(time.Duration) bool { return false }

// Pull is not known.
func (p *Pin) Pull() gpio.Pull { return gpio.PullNoChange }

// DefaultPull is not known.
func (p *Pin) DefaultPull() gpio.Pull { return gpio.PullNoChange }

// sure reads the channel's state again after a write has failed.
func (p *Pin) sure() error {
	if !p.unsure {
		return nil
	}
	return p.read()
}

// apply brings the channel to a period and a duty, both in nanoseconds, and
// lets it run, in writes each of which the kernel accepts.
func (p *Pin) apply(period, duty int64) error {
	if err := p.sure(); err != nil {
		return err
	}
	if p.inversed && p.enable.now == 1 {
		// A left-over of somebody else's: only a disabled channel may change it.
		if err := p.write(&p.enable, 0); err != nil {
			return err
		}
	}
	steps := [...]struct {
		v  *value
		to int64
	}{{&p.duty, duty}, {&p.period, period}}
	// A longer period first; a shorter one after the duty. From a low level
	// either would be accepted, and the period first leaves it low.
	if period > p.period.now || p.duty.now == 0 {
		steps[0], steps[1] = steps[1], steps[0]
	}
	for _, s := range steps {
		if err := p.write(s.v, s.to); err != nil {
			return err
		}
	}
	if p.inversed {
		if err := p.put(p.polarity, []byte("normal")); err != nil {
			return err
		}
		p.inversed = false
	}
	return p.write(&p.enable, 1)
}

// write changes a number, unless it stands already.
func (p *Pin) write(v *value, to int64) error {
	if v.now == to {
		return nil
	}
	p.text = strconv.AppendInt(p.text[:0], to, 10)
	if err := p.put(v.file, p.text); err != nil {
		return err
	}
	v.now = to
	return nil
}

func (p *Pin) put(file string, text []byte) error {
	if err := p.tree.WriteFile(file, text); err != nil {
		p.unsure = true
		return fmt.Errorf("pwm: %s: write %s: %w: %s", p.name, text, err, advice(err))
	}
	return nil
}
