package rig

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strings"
	"time"

	"periph.io/x/conn/v3/physic"

	"dutybench/bench/chip/mcp320x"
	"dutybench/bench/guard"
)

// What rigs must keep.
const (
	// highest_V is the usual bound for direct current that is safe to touch
	// (common practice, no source).
	highest_V = 60
	// adsSupply_V is what the voltage converter is fed with, and its inputs
	// must not go beyond (SBAS444E, absolute maximum: the supply and 0.3 V):
	// 3.3 V, chosen, as boards give it.
	adsSupply_V = 3.3
	// longestHold is the longest that a heartbeat relay may hold without a
	// heartbeat: what the bench promises, supply off within 1 s.
	longestHold = time.Second
)

var namePattern = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)

// busOf is what the data sheets allow on the bus.
var (
	// Addresses from 0x40 to 0x4F: SBOS547B table 6-2, SBOS448G table 1;
	// ADS1115 0x48 to 0x4B: SBAS444E, section 9.5.1.1.
	addresses = map[string][2]uint16{"ina226": {0x40, 0x4F}, "ina219": {0x40, 0x4F}, "ads1115": {0x48, 0x4B}}
	// Common-mode voltage at the shunt: SBOS547B 36 V, SBOS448G 26 V.
	commonMode_V = map[string]float64{"ina226": 36, "ina219": 26}
	// Inputs against ground: ADS1115 four, MCP3204 four, MCP3208 eight.
	channels = map[string]int{"ads1115": 4, "mcp3204": 4, "mcp3208": 8}
	// Conversion times that the data sheets list (SBOS547B, electrical
	// characteristics; SBOS448F table 6, one conversion).
	conversions = map[string][]time.Duration{
		"ina226": {140 * time.Microsecond, 204 * time.Microsecond, 332 * time.Microsecond, 588 * time.Microsecond, 1100 * time.Microsecond, 2116 * time.Microsecond, 4156 * time.Microsecond, 8244 * time.Microsecond},
		"ina219": {84 * time.Microsecond, 148 * time.Microsecond, 276 * time.Microsecond, 532 * time.Microsecond, 1060 * time.Microsecond, 2130 * time.Microsecond, 4260 * time.Microsecond, 8510 * time.Microsecond},
	}
)

// Check refuses a description that cannot be.
func (d *Description) Check() error {
	var errs []error
	d.agree(func(path []any, format string, args ...any) {
		errs = append(errs, fmt.Errorf("rig: %s: %s", where(path), fmt.Sprintf(format, args...)))
	})
	return errors.Join(errs...)
}

// where writes a place in the file in words.
func where(path []any) string {
	var b strings.Builder
	for i, p := range path {
		if n, ok := p.(int); ok {
			fmt.Fprintf(&b, " number %d", n+1)
		} else if i > 0 {
			fmt.Fprintf(&b, ", %v", p)
		} else {
			fmt.Fprintf(&b, "%v", p)
		}
	}
	return b.String()
}

type complaint func(path []any, format string, args ...any)

// agree holds the parts against each other.
func (d *Description) agree(bad complaint) {
	if d.Name != Sim && !namePattern.MatchString(d.Name) || len(d.Name) > 40 {
		bad(key("name"), "name is %q: use at most 40 small letters, digits and single hyphens between them, such as \"bench-1\"", d.Name)
	}
	d.agreeLimits(bad)
	d.agreePins(bad)
	d.agreeLine(bad)
	d.agreeBurns(bad)
	d.agreeLoad(bad)
	d.agreeCurrent(bad)
	d.agreeVoltages(bad)
	d.agreeBuses(bad)
}

func (d *Description) agreeLimits(bad complaint) {
	b := d.Bench
	switch {
	case !(b.SupplyHigh_V > 0 && b.SupplyLow_V >= 0 && b.SupplyLow_V <= b.SupplyHigh_V):
		bad(key("bench", "supply"), "the supply ranges from %g V to %g V: give a range above zero, such as \"9 V to 16 V\"", b.SupplyLow_V, b.SupplyHigh_V)
	case b.SupplyHigh_V > highest_V:
		bad(key("bench", "supply"), "the supply reaches %g V: this bench is for at most %d V, nothing higher is safe to touch", b.SupplyHigh_V, highest_V)
	}
	switch {
	case !(b.Current_A > 0):
		bad(key("bench", "current"), "the highest current is %g A: state one above zero", b.Current_A)
	case b.Fuse_A < b.Current_A:
		bad(key("bench", "fuse"), "the fuse of %g A is below the highest current of %g A and would blow in use: fit one of at least that, within what wires and switch bear, or lower current", b.Fuse_A, b.Current_A)
	}
	if h := d.Heartbeat; h != nil {
		switch {
		case h.Hold > longestHold:
			bad(key("heartbeat", "hold"), "the heartbeat relay holds for %v without a heartbeat: it must let go within %v, take a smaller capacitor", h.Hold, longestHold)
		case h.PullIn < 0 || h.PullIn > guard.LongestPullIn:
			bad(key("heartbeat", "pull_in"), "the heartbeat relay pulls in after %v: the guard waits for 0 to %v, take a faster one", h.PullIn, guard.LongestPullIn)
		case h.Hold.Seconds()*h.Frequency_Hz < 2:
			bad(key("heartbeat", "hold"), "the relay lets go after %v, which is less than two periods of %g Hz: raise the frequency or let it hold longer", h.Hold, h.Frequency_Hz)
		}
	}
}

// agreePins: each pin for one thing, and none without a name.
func (d *Description) agreePins(bad complaint) {
	if len(d.Switches) == 0 {
		bad(key(), "there is no supply switch: add a table [[switch]]")
	}
	if len(d.Switches) > 2 {
		bad(key("switch", 2), "there are %d switches: one, or two in series", len(d.Switches))
	}
	used := map[string]string{}
	take := func(name string, path ...any) {
		switch was, twice := used[name]; {
		case name == "":
			bad(path, "the pin has no name: give it, such as \"GPIO17\"")
		case twice:
			bad(path, "%s is the pin of %s too: give each its own", name, was)
		default:
			used[name] = where(path[:len(path)-1])
		}
	}
	// A coil takes milliseconds, a transistor closes at once.
	const glitch = "a transistor that closes when its pin is low closes at every start: a kernel's line is low when it becomes an output, before it is given its level; let the driver before it turn the level over, so that it closes when the pin is high, and leave active out"
	for i, s := range d.Switches {
		take(s.Pin, "switch", i, "pin")
		if s.ActiveLow && !s.Relay {
			bad(key("switch", i, "active"), glitch)
		}
	}
	if p := d.PreCharge; p != nil {
		take(p.Pin, "pre_charge", "pin")
		if p.ActiveLow && !p.Relay {
			bad(key("pre_charge", "active"), glitch)
		}
	}
	if d.Heartbeat != nil {
		take(d.Heartbeat.Pin, "heartbeat", "pin")
	}
	if d.LinePin.PWMChip == "" {
		take(d.LinePin.Pin, "line", "pin")
	}
	if d.LinePin.Enable != "" {
		take(d.LinePin.Enable, "line", "enable")
	}
	for _, x := range []struct {
		name string
		in   *Input
	}{{"stop", d.Stop}, {"return", d.Return}} {
		if x.in != nil {
			take(x.in.Pin, x.name, "pin")
		}
	}
	if d.Flow != nil {
		take(d.Flow.Pin, "flow", "pin")
	}
	if d.Listen != nil && d.Listen.Pin != "" {
		take(d.Listen.Pin, "listen", "pin")
	}
	if d.Load != nil && d.Load.PWMChip == "" {
		take(d.Load.Pin, "load", "pin")
	}
	if d.Position != nil && d.Position.Edges != nil {
		take(d.Position.Edges.Pin, "position", "pin")
	}
}

func (d *Description) agreeLine(bad complaint) {
	l := d.LinePin
	switch {
	case l.OpenDrain && l.High_V != 0:
		bad(key("line", "high"), "an open-drain line has no high level of its own: leave high out, or drive = \"push-pull\"")
	case !l.OpenDrain && d.Name != Sim && !(l.High_V > 0):
		bad(key("line"), "a push-pull line needs high, the level that its driver gives: add high = \"5 V\"")
	case !l.OpenDrain && l.PWMChip != "" && l.Enable == "":
		bad(key("line"), "a channel of the kernel's PWM can only put out, so this push-pull line could not be let go: add enable, the pin that enables its buffer, or drive = \"open-drain\"")
	case l.OpenDrain && l.Enable != "":
		bad(key("line", "enable"), "an open-drain line lets go by itself: leave enable out")
	case !l.OpenDrain && l.PullUp_Ohm != 0:
		bad(key("line", "pull_up"), "a push-pull line needs no pull-up: leave pull_up out")
	}
}

func (d *Description) agreeCurrent(bad complaint) {
	c := &d.Current
	if !(c.Shunt_Ohm > 0) || !(c.ShuntTolerance >= 0 && c.ShuntTolerance < 1) {
		bad(key("current", "shunt"), "the shunt is %g ohm with a tolerance of %g: state its resistance and a tolerance from 0 to 1", c.Shunt_Ohm, c.ShuntTolerance)
		return
	}
	if isSPI(c.Chip) && d.SPI == nil || !isSPI(c.Chip) && d.I2C == nil {
		return // agreeBuses says so
	}
	if r := d.Range_A(); r > 0 && r < d.Bench.Current_A {
		bad(key("current", "shunt"), "the reading ends at %.4g A, below the bench's highest current of %g A: take a shunt of at most %.3g mohm, or lower bench.current",
			r, d.Bench.Current_A, 1e3*c.Shunt_Ohm*r/d.Bench.Current_A)
	}
	if v, ok := commonMode_V[c.Chip]; ok && !c.LowSide && d.Bench.SupplyHigh_V > v {
		bad(key("current", "side"), "the supply reaches %g V, but the %s bears %g V at its shunt: put the shunt on the low side, or lower bench.supply", d.Bench.SupplyHigh_V, strings.ToUpper(c.Chip), v)
	}
	if list, ok := conversions[c.Chip]; ok && !contains(list, c.Conversion) {
		var words []string
		for _, t := range list {
			words = append(words, t.String())
		}
		bad(key("current", "conversion"), "a conversion of %v is not one of the %s: choose %s", c.Conversion, strings.ToUpper(c.Chip), strings.Join(words, ", "))
	}
	if d.AlertCuts && c.Chip != "ina226" {
		bad(key("current", "alert_cuts"), "the %s has no alert output: leave alert_cuts out and fit a heartbeat relay", c.Chip)
	}
	if !isSPI(c.Chip) {
		return
	}
	switch limit := c.Rate_Hz / 2; {
	case !(c.Gain > 0):
		bad(key("current", "gain"), "the gain is %g: state it, above zero", c.Gain)
	case !(c.Rate_Hz > 0):
		bad(key("current", "rate"), "the rate is %g Hz: state it, above zero", c.Rate_Hz)
	case c.AntiAlias_Hz >= limit:
		bad(key("current", "anti_alias"), "the filter's corner of %g Hz is not below half the rate, %g Hz: what lies between is folded into the readings; lower it or raise the rate", c.AntiAlias_Hz, limit)
	case c.Zero_V >= d.SPI.Reference_V:
		bad(key("current", "zero"), "zero is %g V, not below the converter's reference of %g V: no current could be read", c.Zero_V, d.SPI.Reference_V)
	}
}

func contains(list []time.Duration, t time.Duration) bool {
	for _, x := range list {
		if x == t {
			return true
		}
	}
	return false
}

// voltageChip is what reads the sense wires, and what its inputs bear.
func (d *Description) voltageChip() (chip string, most_V float64) {
	switch {
	case d.Voltage != nil:
		return d.Voltage.Chip, adsSupply_V
	case isSPI(d.Current.Chip) && d.SPI != nil:
		return d.Current.Chip, d.SPI.Reference_V
	}
	return "", 0
}

func (d *Description) agreeVoltages(bad complaint) {
	chip, most := d.voltageChip()
	switch {
	case d.Voltage != nil && isSPI(d.Current.Chip):
		bad(key("voltage"), "with an SPI converter the same chip reads the voltages: leave [voltage] out")
		return
	case chip == "":
		bad(key(), "nothing reads the voltages: add a table [voltage] with chip = \"ads1115\" and address = 0x48")
		return
	case d.Supply == nil:
		bad(key(), "the supply at the plug is not read: add a table [supply]")
	}
	used := map[int]string{}
	if isSPI(chip) {
		used[d.Current.Channel] = "current"
		if d.Current.Channel >= channels[chip] {
			bad(key("current", "channel"), "the %s has channels 0 to %d", strings.ToUpper(chip), channels[chip]-1)
		}
	}
	take := func(channel int, path ...any) {
		switch was, twice := used[channel]; {
		case channel < 0 || channel >= channels[chip]:
			bad(path, "channel %d: the %s has channels 0 to %d", channel, strings.ToUpper(chip), channels[chip]-1)
		case twice:
			bad(path, "channel %d is that of %s too: give each its own", channel, was)
		default:
			used[channel] = where(path[:1])
		}
	}
	sense := func(s *Sense, high_V float64, path ...any) {
		if s == nil {
			return
		}
		take(s.Channel, append(path, "channel")...)
		if s.Minus != nil {
			take(*s.Minus, append(path, "minus")...)
			if _, ok := differs[[2]int{s.Channel, *s.Minus}]; !isSPI(chip) && !ok && *s.Minus < channels[chip] {
				bad(append(path, "minus"), "the ADS1115 reads the difference of 0 and 1, 0 and 3, 1 and 3, or 2 and 3, the first less the second")
			}
			if isSPI(chip) && *s.Minus != s.Channel^1 {
				bad(append(path, "minus"), "the %s reads the difference of neighbours: 0 and 1, 2 and 3, 4 and 5, 6 and 7", strings.ToUpper(chip))
			}
		}
		v := s.Divider
		if v.Bottom <= 0 || v.Top < 0 || !(v.Tolerance >= 0 && v.Tolerance < 1) {
			bad(append(path, "bottom"), "the divider is %v over %v with tolerance %g: state its resistances and a tolerance from 0 to 1", v.Top, v.Bottom, v.Tolerance)
			return
		}
		if d.Name != Sim { // there nothing is overdriven
			high_V *= margin
		}
		if out := high_V / v.Ratio(); out > most {
			bad(append(path, "top"), "at %.4g V, the highest supply and a tenth, the divider gives %.3g V, above the %g V that the converter's input bears: raise top to at least %.3g kohm", high_V, out, most,
				1e-12*float64(v.Bottom)*(high_V/most-1))
		}
	}
	line_V := d.Bench.SupplyHigh_V // a stuck wire may carry it
	sense(d.Supply, d.Bench.SupplyHigh_V, "supply")
	sense(d.LineLevel, line_V, "line_level")
	if d.Listen != nil {
		sense(d.Listen.Sense, line_V, "listen", "level")
	}
	d.agreeTold(bad, most, sense)
	t := d.Temperature
	if t == nil || t.Chip != "ntc" {
		return
	}
	take(t.Channel, "temperature", "channel")
	if t.Reference != OwnReference {
		take(t.Reference, "temperature", "reference")
	} else if !isSPI(chip) {
		bad(key("temperature", "reference"), "the %s has no reference of its own to feed the thermistor: give the channel that reads it", strings.ToUpper(chip))
	}
	if n := t.NTC; n.R25 <= 0 || n.Fixed <= 0 || !(n.Beta_K > 0) {
		bad(key("temperature", "r25"), "thermistor of %v, %g K with %v: all must be above zero", n.R25, n.Beta_K, n.Fixed)
	}
}

func (d *Description) agreeBuses(bad complaint) {
	c := d.Current
	onI2C := map[uint16]string{}
	chip := func(name string, address uint16, path ...any) {
		ends, ok := addresses[name]
		if !ok {
			return
		}
		if address < ends[0] || address > ends[1] {
			bad(path, "address %#x: the %s answers at %#x to %#x, as its straps say", address, strings.ToUpper(name), ends[0], ends[1])
		} else if was, twice := onI2C[address]; twice {
			bad(path, "address %#x is that of the %s too: strap one of them otherwise", address, strings.ToUpper(was))
		}
		onI2C[address] = name
	}
	chip(c.Chip, c.Address, "current", "address")
	if d.Voltage != nil {
		chip(d.Voltage.Chip, d.Voltage.Address, "voltage", "address")
	}
	switch {
	case len(onI2C) > 0 && d.I2C == nil:
		bad(key(), "the %s is on I2C, but no bus is named: add a table [i2c] with bus and speed", strings.ToUpper(c.Chip))
	case d.I2C != nil && d.I2C.Bus == "":
		bad(key("i2c", "bus"), "the bus has no name, and whichever came first would be taken: give it, such as \"/dev/i2c-1\"")
	case d.I2C != nil && strings.Contains(d.I2C.Bus, "spidev"):
		bad(key("i2c", "bus"), "%s is an SPI port: give the I2C bus, such as \"/dev/i2c-1\"", d.I2C.Bus)
	case d.I2C != nil && !(d.I2C.Speed_Hz > 0 && d.I2C.Speed_Hz <= 400e3):
		// SBOS547B, SBOS448G and SBAS444E: fast mode up to 400 kHz; their
		// high-speed mode needs a master code that boards do not send.
		bad(key("i2c", "speed"), "a bus speed of %g kHz: the chips take up to 400 kHz; set that at boot", d.I2C.Speed_Hz/1e3)
	}
	if !isSPI(c.Chip) {
		return
	}
	switch s := d.SPI; {
	case s == nil:
		bad(key(), "the %s is on SPI, but no port is named: add a table [spi] with port, speed and reference", strings.ToUpper(c.Chip))
	case s.Port == "":
		bad(key("spi", "port"), "the port has no name, and whichever came first would be taken: give it, such as \"/dev/spidev0.0\"")
	case strings.Contains(s.Port, "i2c"):
		bad(key("spi", "port"), "%s is an I2C bus: give the SPI port, such as \"/dev/spidev0.0\"", s.Port)
	case s.Speed_Hz > spiClock_Hz(s.Reference_V):
		bad(key("spi", "speed"), "a clock of %g kHz: the %s takes at most %.4g kHz at %g V (DS21298E)", s.Speed_Hz/1e3, strings.ToUpper(c.Chip), spiClock_Hz(s.Reference_V)/1e3, s.Reference_V)
	case c.Rate_Hz*spiBits > s.Speed_Hz:
		bad(key("current", "rate"), "%g samples a second of %d clocks each need more than the clock of %g kHz: ask for at most %.4g kHz", c.Rate_Hz, spiBits, s.Speed_Hz/1e3, math.Floor(s.Speed_Hz/spiBits/100)/10)
	}
}

// spiBits are the clocks of one conversion in whole bytes.
const spiBits = 24

// spiClock_Hz is the highest clock of MCP3204 and MCP3208 where the reference
// is their supply.
func spiClock_Hz(supply_V float64) float64 {
	return float64(mcp320x.FastestClock(supply_V)) / float64(physic.Hertz)
}
