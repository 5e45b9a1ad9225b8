package sim

import (
	"errors"
	"math"
	"math/rand/v2"
	"time"
)

// ADS1115 is a register-level model of the chip after SBAS444: config
// register, inputs, ranges, rates, single-shot and continuous conversions,
// comparator, clipping. A conversion averages its input over its whole time.
// A configuration that is written while a conversion runs takes effect after
// it; a start is then ignored (from memory of SBAS444, continuous-conversion
// mode and OS bit).
type ADS1115 struct {
	Errors ADS1115Errors

	// input is the integral of an input's voltage up to now, in volt seconds.
	input func(ain int) float64
	now   func() time.Duration
	plan  func()
	rand  *rand.Rand

	reg     [4]uint16
	pointer byte
	running bool
	open    bool   // the conversion has begun: the chip is awake
	latched uint16 // the config of the conversion that runs
	begun   time.Duration
	end     time.Duration
	from    float64
	over    int // conversions in a row that met the comparator
	alert   bool
}

// ADS1115Errors are how far a chip is from ideal.
type ADS1115Errors struct {
	Gain        float64 // relative; data sheet ±0.15 % at most
	OffsetSteps float64 // ±3 codes at most at ±2.048 V
	Rate        float64 // relative error of the data rate; ±10 % at most
	NoiseSteps  float64 // standard deviation in codes; 0.5 is chosen by NewBench
}

var (
	ads1115Rates  = [8]float64{8, 16, 32, 64, 128, 250, 475, 860}
	ads1115Scales = [8]float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256}
	// The inputs of each MUX code; -1 is ground.
	ads1115Inputs = [8][2]int{{0, 1}, {0, 3}, {1, 3}, {2, 3}, {0, -1}, {1, -1}, {2, -1}, {3, -1}}
)

const (
	adsStart  = 1 << 15
	adsSingle = 1 << 8
	adsWake   = 25 * time.Microsecond
)

// Reset is a power-on reset.
func (c *ADS1115) Reset() {
	c.reg = [4]uint16{0, 0x8583 &^ adsStart, 0x8000, 0x7FFF}
	c.pointer, c.running, c.over, c.alert = 0, false, 0, false
	c.plan()
}

// Alert says that the ALERT/RDY pin is asserted as comparator, whatever its
// polarity.
func (c *ADS1115) Alert() bool { return c.alert }

// Write takes a pointer and perhaps a register.
func (c *ADS1115) Write(b []byte) error {
	if len(b) == 0 {
		return nil
	}
	if b[0] > 3 {
		return errors.New("sim: ADS1115: no such register")
	}
	c.pointer = b[0]
	if len(b) < 3 {
		return nil
	}
	v := uint16(b[1])<<8 | uint16(b[2])
	switch c.pointer {
	case 1:
		c.reg[1] = v &^ adsStart
		if !c.running && (v&adsSingle == 0 || v&adsStart != 0) {
			c.begin(c.now() + adsWake)
			c.open = false
			c.plan()
		}
	case 2, 3:
		c.reg[c.pointer] = v
	}
	return nil
}

// Read hands out the register that the pointer stands at.
func (c *ADS1115) Read(b []byte) error {
	v := c.reg[c.pointer]
	if c.pointer == 1 && !c.running {
		v |= adsStart
	}
	if c.pointer == 0 && c.reg[1]&(1<<2) != 0 {
		c.alert = false // a latched alert is cleared by reading the result
	}
	for i := range b {
		b[i] = byte(v >> 8)
		v = v<<8 | 0xFF
	}
	return nil
}

// begin starts a conversion with the settings of now.
func (c *ADS1115) begin(from time.Duration) {
	c.running, c.latched = true, c.reg[1]
	c.begun = from
	c.end = from + time.Duration(1e9/(ads1115Rates[c.latched>>5&7]*(1+c.Errors.Rate)))
	c.from, c.open = c.differ(), true
}

// differ is the integral of the input pair.
func (c *ADS1115) differ() float64 {
	pair := ads1115Inputs[c.latched>>12&7]
	v := c.input(pair[0])
	if pair[1] >= 0 {
		v -= c.input(pair[1])
	}
	return v
}

func (c *ADS1115) due() time.Duration {
	if !c.running {
		return never
	}
	if !c.open {
		return c.begun
	}
	return c.end
}

// tick ends a conversion, or begins the one that woke the chip.
func (c *ADS1115) tick() {
	if !c.open {
		c.from, c.open = c.differ(), true
		return
	}
	scale := ads1115Scales[c.latched>>9&7]
	v := (c.differ() - c.from) / (float64(c.end-c.begun) * 1e-9)
	x := v*(1+c.Errors.Gain)/scale*32768 + c.Errors.OffsetSteps
	if c.Errors.NoiseSteps > 0 {
		x += c.rand.NormFloat64() * c.Errors.NoiseSteps
	}
	c.reg[0] = uint16(int16(code(x, math.MinInt16)))
	c.compare()
	c.running = false
	if c.reg[1]&adsSingle == 0 {
		c.begin(c.end)
	}
}

// compare is the comparator.
func (c *ADS1115) compare() {
	cfg, v, low, high := c.latched, int16(c.reg[0]), int16(c.reg[2]), int16(c.reg[3])
	if cfg&3 == 3 || low >= 0 && high < 0 {
		c.alert, c.over = false, 0
		return
	}
	met := v > high
	if cfg&(1<<4) != 0 {
		met = met || v < low
	} else if c.alert {
		met = v >= low // hysteresis
	}
	latch := cfg&(1<<2) != 0
	switch {
	case !met:
		c.over = 0
		c.alert = c.alert && latch
	default:
		c.over++
		c.alert = c.alert || c.over >= 1<<(cfg&3)
	}
}
