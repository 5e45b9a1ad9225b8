package rig

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpioreg"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2creg"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
	"periph.io/x/conn/v3/spi/spireg"
	"periph.io/x/host/v3"
	"periph.io/x/host/v3/gpioioctl"

	"dutybench/bench/clock"
	"dutybench/bench/sysfs"
)

// Host is this machine as a board, by periph's drivers and the kernel's files.
type Host struct {
	clk  *clock.Real
	pins []*hostPin
	sets []*gpioioctl.LineSet
}

// OpenHost finds the machine's buses and pins. It touches none of them. That
// nothing was found is no error: what is asked for says so.
func OpenHost() (*Host, error) {
	if _, err := host.Init(); err != nil {
		return nil, fmt.Errorf("rig: this machine's hardware could not be looked at: %w; is it a board that Linux runs on?", err)
	}
	return &Host{clk: clock.NewReal()}, nil
}

// String says what the machine is.
func (h *Host) String() string { return Machine() }

// Clock is the machine's monotonic time.
func (h *Host) Clock() clock.Clock { return h.clk }

// Tree is the kernel's.
func (h *Host) Tree() sysfs.Tree { return sysfs.Dir(sysfs.Root) }

// Bus opens an I²C bus by its name. An empty name is refused: periph would
// take whichever comes first.
func (h *Host) Bus(name string) (i2c.BusCloser, error) {
	if name == "" {
		return nil, errors.New("rig: the I2C bus has no name: state it in the rig file, such as \"/dev/i2c-1\"")
	}
	const next = "switch I2C on in the boot configuration, and be in the group that may use it (often i2c)"
	var names []string
	for _, r := range i2creg.All() {
		names = append(names, r.Name)
	}
	if len(names) == 0 {
		return nil, fmt.Errorf("rig: I2C bus %s: there is no I2C bus that this user may use: %s", name, next)
	}
	b, err := i2creg.Open(name)
	if err != nil {
		return nil, fmt.Errorf("rig: I2C bus %s: %w; there are %s: name one of these, or %s", name, err, strings.Join(names, ", "), next)
	}
	return b, nil
}

// Port opens an SPI port by its name.
func (h *Host) Port(name string) (spi.PortCloser, error) {
	if name == "" {
		return nil, errors.New("rig: the SPI port has no name: state it in the rig file, such as \"/dev/spidev0.0\"")
	}
	const next = "switch SPI on in the boot configuration, and be in the group that may use it (often spi)"
	if len(spireg.All()) == 0 {
		return nil, fmt.Errorf("rig: SPI port %s: there is no SPI port that this user may use: %s", name, next)
	}
	p, err := spireg.Open(name)
	if err != nil {
		return nil, fmt.Errorf("rig: SPI port %s: %w: correct the name in the rig file, or %s", name, err, next)
	}
	return p, nil
}

// Pin finds a pin by the name of its line, such as "GPIO17", or by chip and
// number, such as "gpiochip0/17". The kernel's character device is taken
// before anything else: another program's hold is then seen, and a line that
// is let go is free.
func (h *Host) Pin(name string) (gpio.PinIO, error) {
	if name == "" {
		return nil, errors.New("rig: a pin has no name: state it in the rig file, such as \"GPIO17\"")
	}
	for _, p := range h.pins {
		if p.name == name {
			return p, nil
		}
	}
	line, err := findLine(name)
	if err != nil {
		return nil, err
	}
	if line != nil {
		p := &hostPin{PinIO: line, name: name, let: line.Close}
		h.pins = append(h.pins, p)
		return p, nil
	}
	if gpioreg.ByName(name) != nil {
		return nil, fmt.Errorf("rig: pin %s: the kernel gives no line for it to this user: be in the group of /dev/gpiochip* (often gpio), with kernel 5.10 or newer", name)
	}
	return nil, fmt.Errorf("rig: there is no pin %s; there is %s: correct the name in the rig file, or be in the group of /dev/gpiochip* (often gpio)", name, lineNames())
}

// GuardedInput makes a line an input whose failed reads can be told from a low
// level, which periph does for sets of lines only, found by their names. A nil
// read: this line has no name of its own.
func (h *Host) GuardedInput(name string, pull gpio.Pull) (read func() (gpio.Level, error), err error) {
	line, err := findLine(name)
	if err != nil || line == nil {
		return nil, err
	}
	for _, chip := range gpioioctl.Chips {
		if chip.ByName(line.Name()) != line {
			continue
		}
		set, err := chip.LineSet(gpioioctl.LineInput, gpio.NoEdge, pull, line.Name())
		if err != nil {
			return nil, err
		}
		h.sets = append(h.sets, set)
		return func() (gpio.Level, error) {
			bits, err := set.Read(1)
			return bits&1 == 1, err
		}, nil
	}
	return nil, nil
}

// findLine looks through the kernel's chips; nil when none has it.
func findLine(name string) (*gpioioctl.GPIOLine, error) {
	chipName, digits, numbered := strings.Cut(name, "/")
	number, nerr := strconv.Atoi(digits)
	var found []*gpioioctl.GPIOLine
	for _, chip := range gpioioctl.Chips {
		if numbered {
			if nerr == nil && (chip.Name() == chipName || chip.Label() == chipName) && number >= 0 && number < chip.LineCount() {
				return chip.ByNumber(number), nil
			}
			continue
		}
		for _, l := range chip.Lines() {
			// periph puts the chip's name before one that it has seen before.
			if l.Name() == name || l.Name() == chip.Name()+"-"+name {
				found = append(found, l)
			}
		}
	}
	if len(found) > 1 {
		return nil, fmt.Errorf("rig: %d lines are called %s: name one by chip and number, such as \"gpiochip0/17\"", len(found), name)
	}
	if len(found) == 1 {
		return found[0], nil
	}
	return nil, nil
}

// lineNames says in a few words which lines there are.
func lineNames() string {
	if len(gpioioctl.Chips) == 0 {
		return "no GPIO chip that this user may use"
	}
	var chips []string
	for _, c := range gpioioctl.Chips {
		chips = append(chips, fmt.Sprintf("%s (%s, %d lines)", c.Name(), c.Label(), c.LineCount()))
	}
	return strings.Join(chips, ", ")
}

// PWMPin is a pin on which periph itself has PWM. It is proved by a moment of
// it: steady levels would succeed without any. What cannot be proved is an
// error; nothing else is tried in its place.
func (h *Host) PWMPin(name string) (gpio.PinIO, error) {
	const instead = "use a channel of the kernel's PWM: pwm_chip and channel in the rig file's [line]; dutybench rig check lists those there are"
	p := gpioreg.ByName(name)
	if p == nil {
		return nil, fmt.Errorf("rig: there is no pin %s with PWM: %s", name, instead)
	}
	if _, ok := p.(*gpioioctl.GPIOLine); ok {
		return nil, fmt.Errorf("rig: pin %s has no PWM, it is a plain line of the kernel: %s", name, instead)
	}
	if err := p.PWM(gpio.DutyHalf, physic.KiloHertz); err != nil {
		return nil, errors.Join(fmt.Errorf("rig: pin %s has no PWM here: %w: %s", name, err, instead), p.Out(gpio.Low))
	}
	if err := p.Out(gpio.Low); err != nil {
		return nil, fmt.Errorf("rig: pin %s: PWM does not stop: %w: %s", name, err, instead)
	}
	return p, nil
}

// Close lets all lines go. Most kernels make them inputs then; some keep them
// driven, so levels must be safe before.
func (h *Host) Close() error {
	for _, p := range h.pins {
		p.let()
	}
	var err error
	for _, s := range h.sets {
		err = errors.Join(err, s.Close())
	}
	h.pins, h.sets = nil, nil
	return err
}

// hostPin keeps a line of the character device from what surprises: reading an
// output would make it a pulled-up input, its name is a page of JSON, and a
// negative timeout returns at once.
type hostPin struct {
	gpio.PinIO
	name   string
	let    func()
	output bool
	level  gpio.Level
}

func (p *hostPin) String() string { return p.name }
func (p *hostPin) Name() string   { return p.name }

func (p *hostPin) Out(l gpio.Level) error {
	err := p.PinIO.Out(l)
	if err == nil {
		p.output, p.level = true, l
	} else if !p.output {
		p.letGo()
	}
	return err
}

// letGo has periph ask the kernel for the line anew the next time: it notes the
// direction before it has the line, and after a refusal would take the line for
// its own for ever.
func (p *hostPin) letGo() {
	if p.let != nil {
		p.let()
	}
}

func (p *hostPin) In(pull gpio.Pull, edge gpio.Edge) error {
	err := p.PinIO.In(pull, edge)
	if err == nil {
		p.output = false
	} else if !p.output {
		p.letGo()
	}
	return err
}

func (p *hostPin) Read() gpio.Level {
	if p.output {
		return p.level
	}
	return p.PinIO.Read()
}

func (p *hostPin) WaitForEdge(timeout time.Duration) bool {
	if p.output {
		return false
	}
	if timeout < 0 {
		timeout = 0 // of this driver: for ever
	} else if timeout == 0 {
		timeout = 1 // and nought is now
	}
	return p.PinIO.WaitForEdge(timeout)
}
