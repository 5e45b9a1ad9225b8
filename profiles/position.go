package profiles

import "dutybench/profiles/strict"

// Types of command.
const (
	Signal   = "pwm"      // a signal to the unit's own board
	Switched = "switched" // the bench switches the unit's supply, as it has no board
)

// Position is how a unit tells where it stands: by a voltage, or by the high
// share of a PWM on a wire of its own. At is the reading at the command's ends;
// the zero value is a unit that does not tell.
type Position struct {
	By          string  // ByVoltage or ByPWM; empty: it does not tell
	At0, At100  float64 // V, or per cent of a period, at a position of 0 % and of 100 %
	PullUp_Ohm  float64 // that the bench has to give an output that only pulls low; 0: none
	Ratiometric bool    // the voltage follows the supply; At0 and At100 are at nominal
}

// How a position is told.
const (
	ByVoltage = "voltage"
	ByPWM     = "pwm"
)

// Of is the position in per cent that a reading tells, beyond 0 and 100 too.
// supply_V is that at the plug; a ratiometric reading without it is taken as at
// nominal.
func (p Position) Of(reading, supply_V, nominal_V float64) float64 {
	if p.Ratiometric && supply_V > 0 && nominal_V > 0 {
		reading *= nominal_V / supply_V
	}
	return 100 * (reading - p.At0) / (p.At100 - p.At0)
}

type filePosition struct {
	By          string  `toml:"by" oneof:"voltage|pwm" comment:"voltage, or pwm: the high share of a period"`
	Volt0       Volt    `toml:"volt_0,omitempty" min:"0" max:"60" comment:"voltage at 0 %"`
	Volt100     Volt    `toml:"volt_100,omitempty" min:"0" max:"60" comment:"and at 100 %"`
	Duty0       Percent `toml:"duty_0,omitempty" min:"0" max:"100" comment:"high share at 0 %"`
	Duty100     Percent `toml:"duty_100,omitempty" min:"0" max:"100" comment:"and at 100 %"`
	PullUp      Ohm     `toml:"pull_up,omitempty" min:"0" max:"10000000" comment:"that the bench gives it"`
	Ratiometric bool    `toml:"ratiometric,omitempty" comment:"the voltages are at nominal supply and follow it"`
}

func (f filePosition) position() Position {
	p := Position{By: f.By, PullUp_Ohm: float64(f.PullUp), Ratiometric: f.Ratiometric, At0: float64(f.Volt0), At100: float64(f.Volt100)}
	if f.By == ByPWM {
		p.At0, p.At100 = float64(f.Duty0), float64(f.Duty100)
	}
	return p
}

func filePositionOf(p Position) filePosition {
	f := filePosition{By: p.By, PullUp: Ohm(p.PullUp_Ohm), Ratiometric: p.Ratiometric}
	if p.By == ByPWM {
		f.Duty0, f.Duty100 = Percent(p.At0), Percent(p.At100)
	} else {
		f.Volt0, f.Volt100 = Volt(p.At0), Volt(p.At100)
	}
	return f
}

// checkPosition holds the parts of [position] against each other.
func (d *decoder) checkPosition(n *strict.Node, f filePosition) {
	p := f.position()
	volts, duties := f.Volt0 != 0 || f.Volt100 != 0, f.Duty0 != 0 || f.Duty100 != 0
	switch {
	case f.By == "":
	case f.By == ByVoltage && duties, f.By == ByPWM && volts:
		d.Add(n.Place, "[position] by %q states volt_0 and volt_100 for a voltage, duty_0 and duty_100 for a pwm, and not both", f.By)
	case p.At0 == p.At100:
		d.Add(n.Place, "[position] reads the same at 0 %% and at 100 %%: state both readings, such as volt_0 = \"0.5 V\", volt_100 = \"4.5 V\"")
	case f.By == ByPWM && f.Ratiometric:
		d.Add(n.At("ratiometric").Place, "the high share of a pwm does not follow the supply: leave ratiometric out")
	}
}

// checkType holds a command against its type.
func (d *decoder) checkType(n *strict.Node, f *file) {
	c := f.Command
	if c.Type != Switched {
		if c.Frequency == 0 {
			d.Add(n.At("frequency").Place, "frequency is 0 Hz: it must be above 0 Hz for a signal; only a unit that the bench switches itself can do without")
		}
		if c.Drive == "" {
			d.Add(n.Place, "[command] lacks the key drive: add drive = \"open-drain\" or \"push-pull\"")
		}
		return
	}
	const signal = "belongs to a signal, and this unit is switched by the bench: leave it out"
	for _, k := range []struct {
		key   string
		given bool
	}{{"inverted", c.Inverted}, {"drive", c.Drive != ""}, {"pull_up", c.PullUp != 0}, {"pull_up_voltage", c.PullUpTo != 0},
		{"reserved", len(c.Reserved) > 0}, {"law", len(c.Law) > 0}, {"missing", c.Missing != fileMissing{}}} {
		if k.given {
			d.Add(n.At(k.key).Place, "%s %s", k.key, signal)
		}
	}
	if c.Stop != 0 {
		d.Add(n.At("stop").Place, "stop is %v %%: a unit that the bench switches stands still at 0 %% only", float64(c.Stop))
	}
}
