package ina226

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

// Steps and ends of the ranges (electrical characteristics).
const (
	ShuntStep = 2500 * physic.NanoVolt // 2.5 µV a code, signed
	BusStep   = 1250 * physic.MicroVolt
	ShuntMax  = math.MaxInt16 // the highest shunt code; readings there are "at least"
	ShuntMin  = math.MinInt16 // the lowest shunt code
	BusMax    = math.MaxInt16 // 40.96 V is the end of the scale, 36 V the end of what the pin stands
)

var (
	// ErrIdentity marks a chip that is no INA226.
	ErrIdentity = errors.New("another chip answers")
	// ErrNotReady marks a conversion that did not come.
	ErrNotReady = errors.New("no conversion in time")
	// ErrOff marks a read while nothing is being converted.
	ErrOff = errors.New("the chip is in power-down")
)

// Opts says how the chip is wired and used.
type Opts struct {
	Address uint16                    // 0x40 to 0x4F
	Shunt   physic.ElectricResistance // above zero
	// Range is the highest current expected. It sets the step of the chip's
	// own current register, Range / 2^15; zero takes the shunt's full range.
	// The shunt register does not depend on it.
	Range  physic.ElectricCurrent
	Config Config
	// BusSpeed is the fastest that the bus runs. It narrows the time at which
	// the chip can have handed out a register to a part of the transaction;
	// zero takes the whole of it, which costs Next more looks at the flag.
	BusSpeed physic.Frequency
}

// Dev is one INA226.
type Dev struct {
	bus    i2c.Bus
	clk    clock.Clock
	addr   uint16
	shunt  physic.ElectricResistance
	cal    uint16
	config Config
	alert  uint16 // the mask/enable register as last written
	track  tracker
	w      [3]byte
	r      [2]byte
	head   [2]time.Duration // least time in a read before the chip hands out the register: without, with pointer
	tail   time.Duration    // least time in a read after it
}

// New checks the chip's identity, resets it, and writes configuration and
// calibration.
func New(bus i2c.Bus, clk clock.Clock, o Opts) (*Dev, error) {
	if o.Address < 0x40 || o.Address > 0x4F {
		return nil, fmt.Errorf("ina226: address %#x is not one of 0x40 to 0x4F: correct the rig's description", o.Address)
	}
	if o.Shunt <= 0 {
		return nil, fmt.Errorf("ina226: shunt of %v: state its resistance, above zero", o.Shunt)
	}
	d := &Dev{bus: bus, clk: clk, addr: o.Address, shunt: o.Shunt}
	if o.BusSpeed < 0 {
		return nil, fmt.Errorf("ina226: bus speed of %v: give it above zero, or zero when not known", o.BusSpeed)
	}
	if o.BusSpeed > 0 {
		bit := o.BusSpeed.Period()
		// Start, address and acknowledge; with pointer also that byte and a
		// second start and address. Then two bytes of data.
		d.head = [2]time.Duration{10 * bit, 29 * bit}
		d.tail = 18 * bit
	}
	cal, err := calibration(o.Shunt, o.Range)
	if err != nil {
		return nil, err
	}
	for _, id := range []struct {
		reg  byte
		want uint16
	}{{regManufacturer, manufacturerID}, {regDie, dieID}} {
		got, err := d.read(id.reg)
		if err != nil {
			return nil, err
		}
		if got != id.want {
			return nil, fmt.Errorf("ina226 at %#x: %s %#04x instead of %#04x: %w: check the address straps and the wiring",
				d.addr, registerNames[id.reg], got, id.want, ErrIdentity)
		}
	}
	if err := d.write(regConfig, configReset); err != nil {
		return nil, err
	}
	if err := d.write(regCalibration, cal); err != nil {
		return nil, err
	}
	d.cal = cal
	return d, d.Configure(o.Config)
}

// String names the chip.
func (d *Dev) String() string { return fmt.Sprintf("INA226 at %#x", d.addr) }

// Shunt is the resistance that currents are computed with.
func (d *Dev) Shunt() physic.ElectricResistance { return d.shunt }

// Config is the configuration in force.
func (d *Dev) Config() Config { return d.config }

// Configure writes the configuration, which starts a conversion afresh, and
// reads it back.
func (d *Dev) Configure(c Config) error {
	w, err := c.Word()
	if err != nil {
		return err
	}
	begun := d.clk.Now()
	if err := d.write(regConfig, w); err != nil {
		return err
	}
	d.config = c
	d.track.start(begun, d.clk.Now(), c)
	got, err := d.read(regConfig)
	if err != nil {
		return err
	}
	if got != w {
		return fmt.Errorf("ina226 at %#x: configuration reads %#04x after writing %#04x: check wiring, bus speed and the chip's supply", d.addr, got, w)
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
// (SBOS547 equations 1 and 2): 0.00512 / (step × shunt).
func calibration(shunt physic.ElectricResistance, highest physic.ElectricCurrent) (uint16, error) {
	if highest < 0 {
		return 0, fmt.Errorf("ina226: current range of %v: give it above zero, or zero for the shunt's full range", highest)
	}
	if highest == 0 {
		return 2048, nil // step = 2.5 µV / shunt
	}
	step := float64(highest) / 1e9 / (1 << 15)
	cal := math.Trunc(0.00512/(step*float64(shunt)/1e9) + 1e-6) // 1e-6: 2559.999… is 2560
	if cal < 1 || cal > math.MaxInt16 {
		return 0, fmt.Errorf("ina226: a shunt of %v cannot resolve a range of %v: calibration would be %.0f, outside 1 to 32767; choose another shunt", shunt, highest, cal)
	}
	return uint16(cal), nil
}

// Calibration is the calibration register in force.
func (d *Dev) Calibration() uint16 { return d.cal }

// SetCalibration writes the calibration register, 1 to 32767, for example as
// corrected by a measured current (equation 5).
func (d *Dev) SetCalibration(cal uint16) error {
	if cal == 0 || cal > math.MaxInt16 {
		return fmt.Errorf("ina226 at %#x: calibration %d is outside 1 to 32767", d.addr, cal)
	}
	if err := d.write(regCalibration, cal); err != nil {
		return err
	}
	d.cal = cal
	return nil
}

// CurrentStep_A is the step of the current register: 0.00512 / (cal × shunt).
func (d *Dev) CurrentStep_A() float64 {
	return 0.00512 / (float64(d.cal) * float64(d.shunt) / 1e9)
}

// ShuntCurrent_A is the current for a code of the shunt register.
func (d *Dev) ShuntCurrent_A(code int16) float64 {
	return float64(code) * 2500 / float64(d.shunt) // nV / nΩ
}

// ReadShunt reads the shunt register as it stands, fresh or not: signed,
// ShuntStep a code.
func (d *Dev) ReadShunt() (int16, error) {
	v, err := d.read(regShunt)
	return int16(v), err
}

// ReadBus reads the bus voltage register as it stands: BusStep a code, never
// negative.
func (d *Dev) ReadBus() (uint16, error) { return d.read(regBus) }

// ReadCurrent reads the current register as it stands: signed,
// CurrentStep_A a code.
func (d *Dev) ReadCurrent() (int16, error) {
	v, err := d.read(regCurrent)
	return int16(v), err
}

// ReadPower reads the power register as it stands: 25 × CurrentStep_A watts a
// code.
func (d *Dev) ReadPower() (uint16, error) { return d.read(regPower) }

// ShuntVoltage is the voltage for a code of the shunt register.
func ShuntVoltage(code int16) physic.ElectricPotential {
	return physic.ElectricPotential(code) * ShuntStep
}

// BusVoltage is the voltage for a code of the bus register.
func BusVoltage(code uint16) physic.ElectricPotential {
	return physic.ElectricPotential(code) * BusStep
}

// Flags reads the mask/enable register. That clears Ready, so a flag seen
// here is not seen by Next, which then waits for the following conversion.
func (d *Dev) Flags() (Flags, error) {
	w, err := d.read(regMask)
	f := Flags{Ready: w&maskReady != 0, Alerted: w&maskAlerted != 0, Overflow: w&maskOverflow != 0}
	if f.Ready {
		d.track.late = d.clk.Now()
	}
	return f, err
}

// AlertOpts are the alert pin's settings.
type AlertOpts struct {
	ReadyPin   bool // CNVR: the pin is asserted at conversion ready too
	ActiveHigh bool // APOL: the pin is high when asserted
	Latch      bool // LEN: the pin stays asserted until the register is read
}

// SetAlert writes limit and function of the alert pin. The limit is in codes
// of the register that the function watches: shunt (two's complement), bus or
// power.
func (d *Dev) SetAlert(a Alert, limit uint16, o AlertOpts) error {
	if a&(a-1) != 0 || a&^0xF800 != 0 {
		return fmt.Errorf("ina226 at %#x: alert %#04x: %w: choose one function", d.addr, uint16(a), ErrConfig)
	}
	if err := d.write(regLimit, limit); err != nil {
		return err
	}
	w := uint16(a)
	if o.ReadyPin {
		w |= maskReadyPin
	}
	if o.ActiveHigh {
		w |= maskPolarity
	}
	if o.Latch {
		w |= maskLatch
	}
	d.alert = w
	return d.write(regMask, w)
}

// SetOverCurrent asserts and latches the alert pin when the shunt current is
// above limit_A. It returns the limit that the register holds, rounded down
// to a step.
func (d *Dev) SetOverCurrent(limit_A float64) (float64, error) {
	code := math.Floor(limit_A*float64(d.shunt)/2500 + 1e-9)
	if !(code >= 0 && code < ShuntMax) {
		return 0, fmt.Errorf("ina226 at %#x: over-current limit %g A is outside 0 to %.4g A, the range of its shunt", d.addr, limit_A, d.ShuntCurrent_A(ShuntMax-1))
	}
	err := d.SetAlert(AlertShuntOver, uint16(code), AlertOpts{Latch: true})
	return d.ShuntCurrent_A(int16(code)), err
}

// Limit reads the alert limit register.
func (d *Dev) Limit() (uint16, error) { return d.read(regLimit) }

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
	return fmt.Errorf("ina226: %s %s register (%#02x) at address %#x: %w: check wiring, supply and pull-ups of the bus, and the address straps",
		what, registerNames[reg], reg, d.addr, err)
}
