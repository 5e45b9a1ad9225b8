package rig

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Wire is one wire of a bench.
type Wire struct {
	From, To string
	Role     Role
	// Section in mm², 0 where any thin wire does; Current_A is what it has to
	// bear, and Note what to mind.
	Section_mm2, Current_A float64
	Note                   string
}

// Role is what a wire is for; it decides the colour that is suggested.
type Role int

// The roles.
const (
	Plus     Role = iota // before the switch
	Switched             // behind it
	Minus
	SenseWire
	SignalWire
	Control
	Data
	Ground
)

// roles: the colours are chosen so that roles can be told apart; neither
// green-yellow, which is kept for protective earth (IEC 60445), nor orange,
// which marks high voltage on vehicles (common practice).
var roles = [...]struct{ name, colour, stroke string }{
	Plus:       {"plus, always there", "red", "#c62828"},
	Switched:   {"plus, switched", "brown", "#7b4a21"},
	Minus:      {"minus", "black", "#202020"},
	SenseWire:  {"sense", "violet", "#7b3fa0"},
	SignalWire: {"signal wire", "yellow", "#a68a00"},
	Control:    {"control", "blue", "#1f5fa8"},
	Data:       {"bus", "grey", "#6b7480"},
	Ground:     {"ground of the electronics", "white", "#9aa3ad"},
}

// String is the role in words.
func (r Role) String() string { return roles[r].name }

// Colour is the one suggested.
func (r Role) Colour() string { return roles[r].colour }

// sections: what copper wire of a section bears in a bench that is not
// bundled, and so the largest fuse before it (common practice, no source: the
// installation rules of your country decide).
var sections = []struct{ mm2, fuse_A float64 }{
	{0.5, 5}, {0.75, 7.5}, {1, 10}, {1.5, 15}, {2.5, 25}, {4, 32}, {6, 40}, {10, 60}, {16, 80}, {25, 100}, {35, 125}, {50, 160}, {70, 200},
}

// Section is the thinnest wire that a fuse protects, in mm²; NaN when none in
// the table is thick enough.
func Section(fuse_A float64) float64 {
	for _, s := range sections {
		if fuse_A <= s.fuse_A {
			return s.mm2
		}
	}
	return math.NaN()
}

// copper is the resistance of annealed copper at 20 °C in Ω·mm²/m: 1/58
// (IEC 60028).
const copper = 1.0 / 58

// Drop_V is what a metre of the wire, there and back, takes at the current.
func (w Wire) Drop_V() float64 { return 2 * copper / w.Section_mm2 * w.Current_A }

// Wires are the bench's, in the order in which they are best laid.
func (d *Description) Wires() []Wire {
	var out []Wire
	section := Section(d.Bench.Fuse_A)
	power := func(from, to string, role Role, note string) {
		out = append(out, Wire{from, to, role, section, d.Bench.Current_A, note})
	}
	thin := func(from, to string, role Role, note string) {
		out = append(out, Wire{From: from, To: to, Role: role, Note: note})
	}

	power("supply plus", "fuse", Plus, "as short as can be: nothing protects it")
	power("fuse", "emergency stop", Plus, "")
	chain := d.chain()
	last, role := "emergency stop", Plus
	for i, p := range chain {
		power(last, p, role, "")
		role, last = Switched, p
		if d.PreCharge != nil && i == d.lastContact(chain) {
			before, from := "emergency stop", Plus
			if i > 0 {
				before, from = chain[i-1], Switched
			}
			out = append(out,
				Wire{before, "pre-charge contact", from, Section(preChargeFuse_A(d)), preCharge_A(d), ""},
				Wire{"pre-charge contact", fmt.Sprintf("%g Ω", d.PreCharge.Resistor_Ohm), Switched, Section(preChargeFuse_A(d)), preCharge_A(d),
					fmt.Sprintf("the resistor takes up to %.3g W", d.Bench.SupplyHigh_V*d.Bench.SupplyHigh_V/d.PreCharge.Resistor_Ohm)},
				Wire{fmt.Sprintf("%g Ω", d.PreCharge.Resistor_Ohm), p + ", unit's side", Switched, Section(preChargeFuse_A(d)), preCharge_A(d), ""})
		}
	}
	power(last, "plug plus", Switched, "twisted with the minus")
	if d.Current.LowSide {
		power("plug minus", "shunt", Minus, "")
		power("shunt", "supply minus", Minus, "")
	} else {
		power("plug minus", "supply minus", Minus, "all grounds meet here and nowhere else")
	}
	d.loadWires(last, power, thin)

	chip := d.chipName()
	// Current flows from the supply to the unit in the plus wire, and back in
	// the minus wire: where it goes in is the plus of the reading.
	in1, in2 := "shunt, supply's side", "shunt, unit's side"
	if d.Current.LowSide {
		in1, in2 = in2, in1
	}
	note := "twisted, from the shunt's inner terminals"
	if d.Current.Reversed {
		in1, in2, note = in2, in1, note+"; crossed, as the file says"
	}
	thin(in1, chip+" IN+", SenseWire, note)
	thin(in2, chip+" IN−", SenseWire, "")
	if isSPI(d.Current.Chip) {
		thin("amplifier out", fmt.Sprintf("%s CH%d", strings.ToUpper(d.Current.Chip), d.Current.Channel), SenseWire, d.filterWords())
	}
	in := d.input
	if s := d.Supply; s != nil {
		thin("plug plus, at the contact", "divider "+s.Divider.words()+" → "+in(s.Channel), SenseWire, "not the wire that carries the current")
		if s.Minus != nil {
			thin("plug minus, at the contact", "divider "+s.Divider.words()+" → "+in(*s.Minus), SenseWire, "not the wire that carries the current")
		}
	}
	driver := "line driver"
	thin(d.lineSource(), driver, Control, "")
	if d.LinePin.Enable != "" {
		thin(d.LinePin.Enable, driver+", enable", Control, "pulled low, so that it lets go when nothing drives it")
	}
	thin(driver, "plug signal", SignalWire, fmt.Sprintf("%s, %g Ω in series", d.driveWords(), d.LinePin.Series_Ohm))
	if d.LinePin.PullUp_Ohm > 0 {
		thin("plug plus", "plug signal", SignalWire, fmt.Sprintf("through %s, the rig's pull-up", ohms(d.LinePin.PullUp_Ohm)))
	}
	if s := d.LineLevel; s != nil {
		thin("plug signal", "divider "+s.Divider.words()+" → "+in(s.Channel), SenseWire, "")
	}
	for i, c := range d.Switches {
		thin(c.Pin, d.contactName(i)+", gate or coil driver", Control, "pulled "+offLevel(c)+", so that it opens when nothing drives it")
	}
	if p := d.PreCharge; p != nil {
		thin(p.Pin, "pre-charge contact", Control, "pulled "+offLevel(p.Contact))
	}
	if h := d.Heartbeat; h != nil {
		thin(h.Pin, "heartbeat relay's pulse detector", Control, fmt.Sprintf("%g Hz; closes within %s, opens %s after the last pulse", h.Frequency_Hz, milliseconds(h.PullIn), milliseconds(h.Hold)))
	}
	if d.AlertCuts {
		thin(chip+" ALERT", "latch of the supply switch", Control, "low when above the limit; has to be latched there")
	}
	if d.Stop != nil {
		thin(d.Stop.Pin, "stop button", Control, d.Stop.buttonWords()+", pull-"+d.Stop.Pull+"; pressed is "+level(d.Stop.ActiveLow))
	}
	d.positionWires(thin)
	if d.Return != nil {
		thin("plug return", d.Return.Pin, SignalWire, "through a divider or optocoupler: the pin bears 3.3 V")
	}
	if t := d.Temperature; t != nil && t.Chip == "ntc" {
		thin("thermistor", in(t.Channel), SenseWire, fmt.Sprintf("to ground; %s from there to 3.3 V", ohms(float64(t.NTC.Fixed)/1e9)))
		if t.Reference >= 0 {
			thin("3.3 V of the thermistor", in(t.Reference), SenseWire, "")
		}
	} else if t != nil {
		thin("DS18B20 data", "the kernel's one-wire pin", Data, "4.7 kΩ to 3.3 V")
	}
	if f := d.Flow; f != nil {
		thin("flow meter", f.Pin, Control, "pull-"+f.Pull+" to 3.3 V")
	}
	if d.Listen != nil && d.Listen.Pin != "" {
		thin("listening lead", d.Listen.Pin, SignalWire, "fused 50 mA, 100 kΩ and more, isolated")
		if s := d.Listen.Sense; s != nil {
			thin("listening lead", "divider "+s.Divider.words()+" → "+in(s.Channel), SenseWire, "its level; isolated as well")
		}
	}
	if d.I2C != nil {
		thin("computer SDA, SCL", chip+d.alsoVoltage(), Data, fmt.Sprintf("%s, %g kHz; pull-ups to 3.3 V", d.I2C.Bus, d.I2C.Speed_Hz/1e3))
	}
	if d.SPI != nil && isSPI(d.Current.Chip) {
		thin("computer clock, MOSI, MISO, select", strings.ToUpper(d.Current.Chip), Data, fmt.Sprintf("%s, %.4g MHz; shorter than a hand", d.SPI.Port, d.SPI.Speed_Hz/1e6))
	}
	thin("ground of the electronics", "supply minus", Ground, "one wire, 250 mA fuse")
	return out
}

// chain are the parts in the plus wire behind the emergency stop.
func (d *Description) chain() []string {
	var out []string
	if d.Heartbeat != nil {
		out = append(out, "heartbeat relay")
	}
	for i := range d.Switches {
		out = append(out, d.contactName(i))
	}
	if !d.Current.LowSide {
		out = append(out, "shunt")
	}
	return out
}

// inSeries are the parts in the plus wire that can cut it.
func (d *Description) inSeries() []string {
	if d.Name == Sim {
		return []string{"fuse", "switch"}
	}
	return slices.DeleteFunc(append([]string{"fuse", "emergency stop"}, d.chain()...), func(s string) bool { return s == "shunt" })
}

// lastContact is where in the chain the last main contact is.
func (d *Description) lastContact(chain []string) int {
	last := -1
	for i, p := range chain {
		if strings.HasPrefix(p, "switch") {
			last = i
		}
	}
	return last
}

func (d *Description) contactName(i int) string {
	if len(d.Switches) == 1 {
		return "switch"
	}
	return fmt.Sprintf("switch %d", i+1)
}

// preCharge_A is what the pre-charge path passes into a short.
func preCharge_A(d *Description) float64 { return d.Bench.SupplyHigh_V / d.PreCharge.Resistor_Ohm }

// preChargeFuse_A is what its wires have to bear: the bench's fuse, as nothing
// smaller protects them.
func preChargeFuse_A(d *Description) float64 { return d.Bench.Fuse_A }

func (d *Description) chipName() string {
	if isSPI(d.Current.Chip) {
		return "amplifier"
	}
	return fmt.Sprintf("%s at %#x", strings.ToUpper(d.Current.Chip), d.Current.Address)
}

func (d *Description) alsoVoltage() string {
	if d.Voltage == nil {
		return ""
	}
	return fmt.Sprintf(", %s at %#x", strings.ToUpper(d.Voltage.Chip), d.Voltage.Address)
}

// input names a channel of what reads the voltages.
func (d *Description) input(channel int) string {
	if d.Voltage != nil {
		return fmt.Sprintf("%s AIN%d", strings.ToUpper(d.Voltage.Chip), channel)
	}
	return fmt.Sprintf("%s CH%d", strings.ToUpper(d.Current.Chip), channel)
}

func (d *Description) filterWords() string {
	if d.Current.AntiAlias_Hz > 0 {
		return fmt.Sprintf("gain %g; filter with a corner of %g kHz", d.Current.Gain, d.Current.AntiAlias_Hz/1e3)
	}
	return fmt.Sprintf("gain %g", d.Current.Gain)
}

// lineSource is what drives the line's driver.
func (d *Description) lineSource() string {
	if d.LinePin.PWMChip != "" {
		return fmt.Sprintf("%s channel %d", d.LinePin.PWMChip, d.LinePin.Channel)
	}
	return d.LinePin.Pin
}

func (d *Description) driveWords() string {
	if d.LinePin.OpenDrain {
		return "open drain"
	}
	return fmt.Sprintf("push-pull to %g V", d.LinePin.High_V)
}

func (v Divider) words() string {
	return ohms(float64(v.Top)/1e9) + " over " + ohms(float64(v.Bottom)/1e9)
}

// ohms is a resistance for people.
func ohms(x float64) string {
	switch {
	case x >= 1e6:
		return fmt.Sprintf("%.4g MΩ", x/1e6)
	case x >= 1e3:
		return fmt.Sprintf("%.4g kΩ", x/1e3)
	case x < 1:
		return fmt.Sprintf("%.4g mΩ", x*1e3)
	}
	return fmt.Sprintf("%.4g Ω", x)
}

func offLevel(c Contact) string { return level(!c.ActiveLow) }

func level(low bool) string {
	if low {
		return "low"
	}
	return "high"
}
