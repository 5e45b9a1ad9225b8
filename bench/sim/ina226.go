package sim

import (
	"errors"
	"math"
	"math/rand/v2"
	"time"
)

// INA226 is a register-level model of the chip after SBOS547: registers,
// reset, continuous and triggered modes, conversion times, averaging,
// conversion ready and alert flags, quantisation and saturation.
//
// Chosen, as the data sheet does not say: each conversion is rounded to a
// code and the mean of the codes is rounded; the current is worked out from
// the mean; noise is normal, white and independent between conversions.
type INA226 struct {
	Errors INA226Errors

	// input is the integral of shunt and bus voltage up to now, in volt
	// seconds.
	input func() (shunt_Vs, bus_Vs float64)
	now   func() time.Duration
	plan  func() // the due time has changed
	rand  *rand.Rand

	reg     [8]uint16
	pointer byte
	shift   time.Duration // recovery from power-down

	running    bool
	open       bool // the conversion has begun: the chip is awake
	onBus      bool // the conversion that runs is of the bus voltage
	left       int  // conversions left in the average
	begun, end time.Duration
	shuntFrom  float64
	busFrom    float64
	shuntSum   int
	busSum     int
}

// INA226Errors are how far a chip is from ideal.
type INA226Errors struct {
	ShuntGain     float64 // relative; data sheet ±0.1 % at most
	ShuntOffset_V float64 // ±10 µV at most
	BusGain       float64 // ±0.1 % at most
	BusOffset_V   float64 // ±7.5 mV at most
	Period        float64 // relative error of the conversion time; +10 % at most
	// Noise_V is the standard deviation of one shunt conversion of 140 µs,
	// falling with the root of the time. The data sheet shows a curve and no
	// figure; 5 µV is chosen by NewBench. The bus channel has none.
	Noise_V float64
}

// Data-sheet codes (SBOS547B): averages, and conversion times in µs.
var (
	ina226Averages = [8]int{1, 4, 16, 64, 128, 256, 512, 1024}
	ina226Times    = [8]time.Duration{140, 204, 332, 588, 1100, 2116, 4156, 8244}
)

// ina226Wake is the recovery from power-down ("40 µs").
const ina226Wake = 40 * time.Microsecond

func (c *INA226) reset() {
	c.reg = [8]uint16{0: 0x4127}
	c.begin()
}

// Reset is a power-on reset, as after a dip of the chip's supply.
func (c *INA226) Reset() {
	c.pointer = 0
	c.reset()
	c.plan()
}

// Alert says that the alert pin is asserted, whatever its polarity.
func (c *INA226) Alert() bool {
	return c.reg[6]&(1<<4) != 0 || c.reg[6]&(1<<10) != 0 && c.reg[6]&(1<<3) != 0
}

// Write takes a pointer and perhaps a register.
func (c *INA226) Write(b []byte) error {
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
			c.shift = ina226Wake
		}
		c.reg[0] = 0x4000 | v&0x0FFF
		if v&3 != 0 { // writing power-down leaves the flag
			c.reg[6] &^= 1 << 3
		}
		c.begin()
		c.plan()
	case 5:
		c.reg[5] = v & 0x7FFF
	case 6:
		c.reg[6] = v&0xFC03 | c.reg[6]&0x001C
	case 7:
		c.reg[7] = v
	}
	return nil
}

// Read hands out the register that the pointer stands at.
func (c *INA226) Read(b []byte) error {
	var v uint16
	switch {
	case c.pointer == 0xFE:
		v = 0x5449
	case c.pointer == 0xFF:
		v = 0x2260
	case c.pointer < 8:
		v = c.reg[c.pointer]
	default:
		return errors.New("sim: INA226: no such register")
	}
	if c.pointer == 6 {
		c.reg[6] &^= 1 << 3
		if c.reg[6]&1 != 0 { // latched alert
			c.reg[6] &^= 1 << 4
		}
	}
	for i := range b {
		b[i] = byte(v >> 8)
		v = v<<8 | 0xFF
	}
	return nil
}

// begin starts what the configuration asks for.
func (c *INA226) begin() {
	c.running = c.reg[0]&3 != 0
	c.left = ina226Averages[c.reg[0]>>9&7]
	c.shuntSum, c.busSum = 0, 0
	c.onBus = c.reg[0]&1 == 0
	c.open = c.shift == 0
	if c.running {
		c.shuntFrom, c.busFrom = c.input()
		c.window(c.now() + c.shift)
	}
	c.shift = 0
}

// window opens a conversion at time from.
func (c *INA226) window(from time.Duration) {
	code := c.reg[0] >> 3 & 7
	if c.onBus {
		code = c.reg[0] >> 6 & 7
	}
	length := float64(ina226Times[code]*time.Microsecond) * (1 + c.Errors.Period)
	c.begun, c.end = from, from+time.Duration(length)
}

func (c *INA226) due() time.Duration {
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
func (c *INA226) tick() {
	shunt, bus := c.input()
	if !c.open {
		c.open = true
		c.shuntFrom, c.busFrom = shunt, bus
		return
	}
	span_s := float64(c.end-c.begun) * 1e-9
	if c.onBus {
		c.busSum += c.busCode((bus - c.busFrom) / span_s)
	} else {
		c.shuntSum += c.shuntCode((shunt-c.shuntFrom)/span_s, span_s)
	}
	c.shuntFrom, c.busFrom = shunt, bus
	if c.reg[0]&3 == 3 {
		c.onBus = !c.onBus
	}
	if !c.onBus || c.reg[0]&1 == 0 {
		c.left--
	}
	if c.left == 0 {
		c.results()
		if c.reg[0]&4 == 0 {
			c.running = false
			return
		}
	}
	c.window(c.end)
}

func (c *INA226) shuntCode(v, span_s float64) int {
	e := &c.Errors
	v = v*(1+e.ShuntGain) + e.ShuntOffset_V
	if e.Noise_V > 0 {
		v += c.rand.NormFloat64() * e.Noise_V * math.Sqrt(140e-6/span_s)
	}
	return code(v/2.5e-6, math.MinInt16)
}

func (c *INA226) busCode(v float64) int {
	return code((v*(1+c.Errors.BusGain)+c.Errors.BusOffset_V)/1.25e-3, 0)
}

func code(x float64, lowest int) int {
	return int(min(max(math.Round(x), float64(lowest)), math.MaxInt16))
}

// results fills the registers from the sums and starts the next average.
func (c *INA226) results() {
	n := ina226Averages[c.reg[0]>>9&7]
	if c.reg[0]&1 != 0 {
		c.reg[1] = uint16(int16(math.Round(float64(c.shuntSum) / float64(n))))
	}
	if c.reg[0]&2 != 0 {
		c.reg[2] = uint16(math.Round(float64(c.busSum) / float64(n)))
	}
	c.left, c.shuntSum, c.busSum = n, 0, 0

	// Current and power (equations 3 and 4).
	flags := uint16(1 << 3)
	current := int64(int16(c.reg[1])) * int64(c.reg[5]) / 2048
	if current > math.MaxInt16 || current < math.MinInt16 {
		flags |= 1 << 2
		current = min(max(current, math.MinInt16), math.MaxInt16)
	}
	power := max(current, -current) * int64(c.reg[2]) / 20000
	c.reg[4] = uint16(int16(current))
	c.reg[3] = uint16(min(power, math.MaxUint16))
	if c.alert() {
		flags |= 1 << 4
	} else if c.reg[6]&1 != 0 {
		flags |= c.reg[6] & (1 << 4) // latched
	}
	c.reg[6] = c.reg[6]&0xFC03 | flags
}

// alert says whether the alert function, the highest one set, is met.
func (c *INA226) alert() bool {
	shunt, limit := int16(c.reg[1]), c.reg[7]
	switch m := c.reg[6]; {
	case m&(1<<15) != 0:
		return shunt > int16(limit)
	case m&(1<<14) != 0:
		return shunt < int16(limit)
	case m&(1<<13) != 0:
		return c.reg[2] > limit
	case m&(1<<12) != 0:
		return c.reg[2] < limit
	case m&(1<<11) != 0:
		return c.reg[3] > limit
	}
	return false
}
