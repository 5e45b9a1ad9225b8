package sim

import (
	"errors"
	"math"
	"math/rand/v2"
	"time"
)

// INA219 is a register-level model of the chip after SBOS448: registers,
// reset, continuous and triggered modes, conversion times, resolutions and
// averages, the conversion ready flag, quantisation and saturation.
//
// Chosen, as the data sheet does not say: each register changes when its own
// voltage is converted, current, power and flags when all are; a conversion
// moves in steps of the range over 4,000 for 12 bits and twice that for each
// bit less, and the mean of an average is rounded to a code; noise is normal,
// white and independent between conversions.
type INA219 struct {
	Errors INA219Errors

	// input is the integral of shunt and bus voltage up to now, in volt
	// seconds.
	input func() (shunt_Vs, bus_Vs float64)
	now   func() time.Duration
	plan  func() // the due time has changed
	rand  *rand.Rand

	reg     [6]uint16
	pointer byte
	shift   time.Duration // recovery from power-down

	running    bool
	open       bool // the conversion has begun: the chip is awake
	onBus      bool // the conversion that runs is of the bus voltage
	begun, end time.Duration
	shuntFrom  float64
	busFrom    float64
}

// INA219Errors are how far a chip is from ideal.
type INA219Errors struct {
	ShuntGain float64 // relative; data sheet ±0.5 % of the current at most (grade A)
	// ShuntOffset is in parts of the limit of the range, −1 to 1: ±100, 125,
	// 150 and 200 µV (grade A).
	ShuntOffset float64
	BusGain     float64 // relative; ±0.5 % at most
	Period      float64 // relative error of the conversion time; +10 % at most
	// Noise_V is the standard deviation of one shunt conversion of 12 bits in
	// the range of 40 mV; it grows with the range and falls with the root of
	// the averages. The data sheet gives no figure; 10 µV, one step, is
	// chosen by NewBench. The bus channel has none.
	Noise_V float64
}

// Data-sheet codes (SBOS448F, Table 6): times in µs of single conversions by
// resolution, and of averages.
var (
	ina219Times    = [4]time.Duration{84, 148, 276, 532}
	ina219Averages = [8]time.Duration{532, 1060, 2130, 4260, 8510, 17020, 34050, 68100}
	ina219Offsets  = [4]float64{100e-6, 125e-6, 150e-6, 200e-6}
)

// ina219Wake is the recovery from power-down ("40 µs").
const ina219Wake = 40 * time.Microsecond

const (
	ina219Ready    = 1 << 1
	ina219Overflow = 1 << 0
)

func (c *INA219) reset() {
	c.reg = [6]uint16{0: 0x399F}
	c.begin()
}

// Reset is a power-on reset, as after a dip of the chip's supply.
func (c *INA219) Reset() {
	c.pointer = 0
	c.reset()
	c.plan()
}

// Write takes a pointer and perhaps a register.
func (c *INA219) Write(b []byte) error {
	if len(b) == 0 {
		return nil
	}
	c.pointer = b[0]
	if len(b) < 3 {
		return nil
	}
	v := uint16(b[1])<<8 | uint16(b[2])
	switch c.pointer {
	case 0:
		if v&0x8000 != 0 {
			c.Reset()
			return nil
		}
		if c.reg[0]&3 == 0 {
			c.shift = ina219Wake
		}
		c.reg[0] = v & 0x3FFF
		if v&3 != 0 { // writing power-down leaves the flag
			c.reg[2] &^= ina219Ready
		}
		c.begin()
		c.plan()
	case 5:
		c.reg[5] = v &^ 1
	}
	return nil
}

// Read hands out the register that the pointer stands at. Reading the power
// register clears the ready flag.
func (c *INA219) Read(b []byte) error {
	if int(c.pointer) >= len(c.reg) {
		return errors.New("sim: INA219: no such register")
	}
	v := c.reg[c.pointer]
	if c.pointer == 3 {
		c.reg[2] &^= ina219Ready
	}
	for i := range b {
		b[i] = byte(v >> 8)
		v = v<<8 | 0xFF
	}
	return nil
}

// begin starts what the configuration asks for: the shunt first, then the bus.
func (c *INA219) begin() {
	c.running = c.reg[0]&3 != 0
	c.onBus = c.reg[0]&1 == 0
	c.open = c.shift == 0
	if c.running {
		c.shuntFrom, c.busFrom = c.input()
		c.window(c.now() + c.shift)
	}
	c.shift = 0
}

// code is the BADC or SADC field of what is being converted.
func (c *INA219) code() uint16 {
	if c.onBus {
		return c.reg[0] >> 7 & 15
	}
	return c.reg[0] >> 3 & 15
}

// window opens a conversion at time from.
func (c *INA219) window(from time.Duration) {
	us := ina219Times[c.code()&3]
	if c.code()&8 != 0 {
		us = ina219Averages[c.code()&7]
	}
	length := float64(us*time.Microsecond) * (1 + c.Errors.Period)
	c.begun, c.end = from, from+time.Duration(length)
}

func (c *INA219) due() time.Duration {
	if !c.running {
		return never
	}
	if !c.open {
		return c.begun
	}
	return c.end
}

// tick ends a conversion and begins the next, or begins the first after
// power-down.
func (c *INA219) tick() {
	shunt, bus := c.input()
	if !c.open {
		c.open = true
		c.shuntFrom, c.busFrom = shunt, bus
		return
	}
	span_s := float64(c.end-c.begun) * 1e-9
	if c.onBus {
		c.convertBus((bus - c.busFrom) / span_s)
	} else {
		c.convertShunt((shunt - c.shuntFrom) / span_s)
	}
	c.shuntFrom, c.busFrom = shunt, bus
	last := c.onBus || c.reg[0]&2 == 0
	if c.reg[0]&3 == 3 {
		c.onBus = !c.onBus
	}
	if last {
		c.results()
		if c.reg[0]&4 == 0 {
			c.running = false
			return
		}
	}
	c.window(c.end)
}

// coarse is the step of one conversion in codes, and how many are averaged.
func (c *INA219) coarse() (steps float64, count int) {
	if code := c.code(); code&8 == 0 {
		return float64(int(1) << (3 - code&3)), 1
	} else {
		return 1, 1 << (code & 7)
	}
}

func (c *INA219) convertShunt(v float64) {
	e, gain := &c.Errors, c.reg[0]>>11&3
	steps, count := c.coarse()
	step_V := 10e-6 * steps * float64(int(1)<<gain)
	v = v*(1+e.ShuntGain) + e.ShuntOffset*ina219Offsets[gain]
	end := float64(int(4000) << gain)
	c.reg[1] = uint16(int16(quantised(v, 10e-6, step_V, e.Noise_V*float64(int(1)<<gain), count, -end, end, c.rand)))
}

func (c *INA219) convertBus(v float64) {
	steps, count := c.coarse()
	end := 4000.0
	if c.reg[0]>>13&1 != 0 {
		steps, end = steps*2, 8000
	}
	code := quantised(v*(1+c.Errors.BusGain), 4e-3, 4e-3*steps, 0, count, 0, end, c.rand)
	c.reg[2] = uint16(code)<<3 | c.reg[2]&7
}

// quantised is the mean of count conversions in steps of step_V, in codes of
// code_V. Where rounding is spread by noise the mean is worked out at once.
func quantised(v, code_V, step_V, noise_V float64, count int, low, high float64, r *rand.Rand) float64 {
	if noise_V > 0 {
		v += r.NormFloat64() * noise_V / math.Sqrt(float64(count))
	}
	if count == 1 || noise_V == 0 {
		v = math.Round(v/step_V) * step_V
	}
	return min(max(math.Round(v/code_V), low), high)
}

// results works out current and power and raises the flag.
func (c *INA219) results() {
	flags := uint16(ina219Ready)
	current := int64(int16(c.reg[1])) * int64(c.reg[5]) / 4096
	if current > math.MaxInt16 || current < math.MinInt16 {
		flags |= ina219Overflow
		current = min(max(current, math.MinInt16), math.MaxInt16)
	}
	power := max(current, -current) * int64(c.reg[2]>>3) / 5000
	if power > math.MaxUint16 {
		flags |= ina219Overflow
	}
	c.reg[4] = uint16(int16(current))
	c.reg[3] = uint16(min(power, math.MaxUint16))
	c.reg[2] = c.reg[2]&^7 | flags
}

// CalibrateINA219 takes the chip's inputs from the bench and puts them on a
// calibrator; the returned function sets its voltages.
func (b *Bench) CalibrateINA219() (apply func(shunt_V, bus_V float64)) {
	var s steady
	now := b.INA219.now
	b.INA219.input = func() (float64, float64) {
		s.move(now())
		return s.sum_Vs[0], s.sum_Vs[1]
	}
	b.INA219.Reset()
	return func(shunt_V, bus_V float64) {
		s.move(now())
		s.volt = [4]float64{shunt_V, bus_V}
	}
}
