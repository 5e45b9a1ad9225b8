package ina219

import (
	"errors"
	"fmt"
	"math"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/clock"
)

// DefaultAddress is the bus address with A1 and A0 at ground.
const DefaultAddress = 0x40

// Steps of the registers (electrical characteristics). With fewer than 12
// bits, or in wider ranges, the codes move in larger steps than these.
const (
	ShuntStep = 10 * physic.MicroVolt // a code of the shunt register, signed
	BusStep   = 4 * physic.MilliVolt  // a code of the bus register, after the shift
	BusMax    = 26 * physic.Volt      // what the pin stands, whatever the range
)

var (
	// ErrIdentity marks a chip that is no INA219.
	ErrIdentity = errors.New("another chip answers")
	// ErrReadBack marks a chip that does not keep what was written.
	ErrReadBack = errors.New("the register reads otherwise")
	// ErrNotReady marks a conversion that did not come.
	ErrNotReady = errors.New("no conversion in time")
	// ErrOff marks a read while nothing is being converted.
	ErrOff = errors.New("the chip is in power-down")
	// ErrTorn marks results that the bus is too slow to read as a pair.
	ErrTorn = errors.New("shunt and bus voltage are never of one conversion")
)

// Opts says how the chip is wired and used.
type Opts struct {
	Address uint16                    // 0x40 to 0x4F
	Shunt   physic.ElectricResistance // above zero
	// Highest is the highest current expected. It sets the step of the chip's
	// own current register, Highest / 2^15; zero takes the end of the
	// configured range. The shunt register does not depend on it.
	Highest physic.ElectricCurrent
	Config  Config
	// BusSpeed is the fastest that the bus runs. It narrows the time at which
	// the chip can have handed out a register to a part of the transaction;
	// zero takes the whole of it.
	BusSpeed physic.Frequency
}

// Dev is one INA219.
type Dev struct {
	bus    i2c.Bus
	clk    clock.Clock
	addr   uint16
	shunt  physic.ElectricResistance
	cal    uint16
	config Config
	track  tracker
	w      [3]byte
	r      [2]byte
	head   [2]time.Duration // least time in a read before the chip hands out the register: without, with pointer
	tail   time.Duration    // least time in a read after it
}

// New resets the chip, checks that it is one, and writes calibration and
// configuration. The INA219 has no identity register: New looks for the
// configuration and calibration of a reset, and that two different words are
// kept, so that neither another chip nor a bus stuck at a level is taken for
// one.
func New(bus i2c.Bus, clk clock.Clock, o Opts) (*Dev, error) {
	if o.Address < 0x40 || o.Address > 0x4F {
		return nil, fmt.Errorf("ina219: address %#x is not one of 0x40 to 0x4F: correct the rig's description", o.Address)
	}
	if o.Shunt <= 0 {
		return nil, fmt.Errorf("ina219: shunt of %v: state its resistance, above zero", o.Shunt)
	}
	if o.BusSpeed < 0 {
		return nil, fmt.Errorf("ina219: bus speed of %v: give it above zero, or zero when not known", o.BusSpeed)
	}
	d := &Dev{bus: bus, clk: clk, addr: o.Address, shunt: o.Shunt}
	if o.BusSpeed > 0 {
		bit := o.BusSpeed.Period()
		// Start, address and acknowledge; with pointer also that byte and a
		// second start and address. Then two bytes of data.
		d.head = [2]time.Duration{10 * bit, 29 * bit}
		d.tail = 18 * bit
	}
	cal, err := calibration(o.Shunt, o.Highest, o.Config.Range)
	if err != nil {
		return nil, err
	}
	if err := d.identify(); err != nil {
		return nil, err
	}
	if err := d.SetCalibration(cal); err != nil {
		return nil, err
	}
	return d, d.Configure(o.Config)
}

func (d *Dev) identify() error {
	if err := d.write(regConfig, resetCommand); err != nil {
		return err
	}
	for _, after := range []struct {
		reg  byte
		want uint16
	}{{regConfig, resetConfig}, {regCalibration, 0}} {
		got, err := d.read(after.reg)
		if err != nil {
			return err
		}
		if got != after.want {
			return fmt.Errorf("ina219 at %#x: %s reads %#04x after a reset instead of %#04x: %w: check the chip's name in the rig's description, the address straps and the wiring",
				d.addr, registerNames[after.reg], got, after.want, ErrIdentity)
		}
	}
	for _, v := range []uint16{0x5A5A, 0x25A4} { // each bit once high and once low, but for bit 0
		if err := d.keep(regCalibration, v); err != nil {
			return err
		}
	}
	return nil
}

// keep writes a register and checks that it reads back.
func (d *Dev) keep(reg byte, v uint16) error {
	if err := d.write(reg, v); err != nil {
		return err
	}
	got, err := d.read(reg)
	if err != nil {
		return err
	}
	if got != v {
		return fmt.Errorf("ina219 at %#x: %s reads %#04x after writing %#04x: %w: check wiring, bus speed and the chip's supply", d.addr, registerNames[reg], got, v, ErrReadBack)
	}
	return nil
}

// String names the chip.
func (d *Dev) String() string { return fmt.Sprintf("INA219 at %#x", d.addr) }

// Shunt is the resistance that currents are computed with.
func (d *Dev) Shunt() physic.ElectricResistance { return d.shunt }

// Config is the configuration in force.
func (d *Dev) Config() Config { return d.config }

// Configure writes the configuration, which starts a conversion afresh, and
// reads it back. It goes by power-down, where nothing can raise the ready flag
// after it was cleared.
func (d *Dev) Configure(c Config) error {
	w, err := c.Word()
	if err != nil {
		return err
	}
	if err := d.write(regConfig, w&^7); err != nil {
		return err
	}
	if _, err := d.read(regPower); err != nil {
		return err
	}
	d.config = c
	if !c.Mode.Off() {
		begun := d.clk.Now()
		if err := d.write(regConfig, w); err != nil {
			return err
		}
		d.track.start(begun, d.clk.Now(), c)
	}
	got, err := d.read(regConfig)
	if err != nil {
		return err
	}
	if c.Mode.Off() {
		w &^= 7
	}
	if got != w {
		return fmt.Errorf("ina219 at %#x: configuration reads %#04x after writing %#04x: %w: check wiring, bus speed and the chip's supply", d.addr, got, w, ErrReadBack)
	}
	return nil
}

// ReadConfig reads the configuration from the chip. One that differs from
// Config tells of a reset.
func (d *Dev) ReadConfig() (Config, error) {
	w, err := d.read(regConfig)
	return configOf(w), err
}

// Off puts the chip in power-down.
func (d *Dev) Off() error {
	c := d.config
	c.Mode = PowerDown
	return d.Configure(c)
}

// calibration is the calibration register for a shunt and a highest current
// (SBOS448F equation 1): 0.04096 / (step × shunt), rounded down to an even
// number, as bit 0 is not used.
func calibration(shunt physic.ElectricResistance, highest physic.ElectricCurrent, r Range) (uint16, error) {
	if highest < 0 {
		return 0, fmt.Errorf("ina219: highest current of %v: give it above zero, or zero for the range's end", highest)
	}
	step := float64(highest) / 1e9 / (1 << 15)
	if highest == 0 {
		step = float64(r.Codes()) * 10e-6 / (float64(shunt) / 1e9) / (1 << 15)
	}
	cal := math.Trunc(0.04096/(step*float64(shunt)/1e9) + 1e-6) // 1e-6: 20479.999… is 20480
	if cal < 2 || cal > math.MaxUint16 {
		return 0, fmt.Errorf("ina219: a shunt of %v cannot resolve a highest current of %v: calibration would be %.0f, outside 2 to 65534; choose another shunt", shunt, highest, cal)
	}
	return uint16(cal) &^ 1, nil
}

// Calibration is the calibration register in force.
func (d *Dev) Calibration() uint16 { return d.cal }

// SetCalibration writes the calibration register, 2 to 65534 and even, and
// reads it back.
func (d *Dev) SetCalibration(cal uint16) error {
	if cal == 0 || cal&1 != 0 {
		return fmt.Errorf("ina219 at %#x: calibration %d is not an even number from 2 to 65534", d.addr, cal)
	}
	if err := d.keep(regCalibration, cal); err != nil {
		return err
	}
	d.cal = cal
	return nil
}

// CurrentStep_A is the step of the current register: 0.04096 / (cal × shunt).
func (d *Dev) CurrentStep_A() float64 {
	return 0.04096 / (float64(d.cal) * float64(d.shunt) / 1e9)
}

// ShuntCurrent_A is the current for a code of the shunt register.
func (d *Dev) ShuntCurrent_A(code int16) float64 {
	return float64(code) * 10000 / float64(d.shunt) // nV / nΩ
}

// ReadShunt reads the shunt register as it stands, fresh or not: signed,
// ShuntStep a code.
func (d *Dev) ReadShunt() (int16, error) {
	v, err := d.read(regShunt)
	return int16(v), err
}

// ReadBus reads the bus voltage register as it stands: BusStep a code, never
// negative.
func (d *Dev) ReadBus() (uint16, error) {
	v, err := d.read(regBus)
	return v >> busShift, err
}

// ReadCurrent reads the current register as it stands: signed,
// CurrentStep_A a code.
func (d *Dev) ReadCurrent() (int16, error) {
	v, err := d.read(regCurrent)
	return int16(v), err
}

// ReadPower reads the power register as it stands: 20 × CurrentStep_A watts a
// code. That clears the ready flag, so Next waits for the following
// conversion.
func (d *Dev) ReadPower() (uint16, error) {
	begun := d.clk.Now()
	v, err := d.read(regPower)
	d.track.cleared(begun+d.head[1], d.clk.Now()-d.tail)
	return v, err
}

// ShuntVoltage is the voltage for a code of the shunt register.
func ShuntVoltage(code int16) physic.ElectricPotential {
	return physic.ElectricPotential(code) * ShuntStep
}

// BusVoltage is the voltage for a code of the bus register.
func BusVoltage(code uint16) physic.ElectricPotential {
	return physic.ElectricPotential(code) * BusStep
}

// read sets the chip's pointer and reads the register, in one transaction.
func (d *Dev) read(reg byte) (uint16, error) {
	d.w[0] = reg
	return d.tx(reg, d.w[:1])
}

// again reads the register that the pointer stands at: reg was read last.
func (d *Dev) again(reg byte) (uint16, error) { return d.tx(reg, nil) }

func (d *Dev) tx(reg byte, w []byte) (uint16, error) {
	if err := d.bus.Tx(d.addr, w, d.r[:]); err != nil {
		return 0, d.fault("read", reg, err)
	}
	return uint16(d.r[0])<<8 | uint16(d.r[1]), nil
}

func (d *Dev) write(reg byte, v uint16) error {
	d.w = [3]byte{reg, byte(v >> 8), byte(v)}
	if err := d.bus.Tx(d.addr, d.w[:], nil); err != nil {
		return d.fault("write", reg, err)
	}
	return nil
}

func (d *Dev) fault(what string, reg byte, err error) error {
	return fmt.Errorf("ina219: %s %s register (%#02x) at address %#x: %w: check wiring, supply and pull-ups of the bus, and the address straps",
		what, registerNames[reg], reg, d.addr, err)
}
