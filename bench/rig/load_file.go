package rig

import "dutybench/profiles/strict"

// fileLoad is the switch of two-wire units.
type fileLoad struct {
	Pin           string             `toml:"pin,omitempty"`
	PWMChip       string             `toml:"pwm_chip,omitempty"`
	Channel       int                `toml:"channel,omitempty" min:"0" max:"63"`
	Active        string             `toml:"active,omitempty" oneof:"high|low"`
	Side          string             `toml:"side" oneof:"high|low"`
	FreeWheel     string             `toml:"free_wheel" oneof:"diode|none"`
	Recirculation string             `toml:"recirculation" oneof:"seen|not-seen"`
	Frequency     *strict.HertzRange `toml:"frequency,omitempty"`
	ClampVoltage  strict.Volt        `toml:"clamp_voltage,omitempty" above:"0" max:"200"`
	ClampEnergy   strict.Joule       `toml:"clamp_energy,omitempty" above:"0" max:"100"`
	Inductance    strict.Henry       `toml:"inductance,omitempty" above:"0" max:"100"`
	Level         *fileSense         `toml:"level,omitempty"`
}

// filePosition is the input for what a unit tells of its position: a level, or a
// pin for a PWM.
type filePosition struct {
	Pin    string     `toml:"pin,omitempty"`
	Active string     `toml:"active,omitempty" oneof:"high|low"`
	Pull   string     `toml:"pull,omitempty" oneof:"up|down|none"`
	Level  *fileSense `toml:"level,omitempty"`
}

// checkLoad is what a description no longer tells apart.
func (f *file) checkLoad(bad complaint) {
	if l := f.Load; l != nil {
		clamp := l.ClampVoltage != 0 || l.ClampEnergy != 0 || l.Inductance != 0
		switch {
		case l.Pin != "" && l.PWMChip != "":
			bad(key("load"), "the load switch has both pin and pwm_chip: leave one of them out")
		case l.Pin == "" && l.PWMChip == "":
			bad(key("load"), "the load switch needs either pin, such as \"GPIO12\", or pwm_chip with channel, such as \"fe20c000.pwm\"")
		}
		if l.Channel != 0 && l.PWMChip == "" {
			bad(key("load", "channel"), "channel belongs to pwm_chip: name that, or leave channel out")
		}
		switch {
		case l.FreeWheel == FreeWheelDiode && clamp:
			bad(key("load"), "clamp_voltage, clamp_energy and inductance are of a switch without a free-wheel diode: leave them out, or free_wheel = \"none\"")
		case l.FreeWheel == FreeWheelNone && (l.ClampVoltage == 0 || l.ClampEnergy == 0 || l.Inductance == 0):
			bad(key("load"), "without a free-wheel diode the switch takes the coil's energy: state clamp_voltage and clamp_energy from its data sheet, and inductance, the largest of a coil that may be switched; a diode across the unit's plug is the better way")
		case l.FreeWheel == FreeWheelNone && l.Frequency != nil:
			bad(key("load", "frequency"), "without a free-wheel diode each period of a PWM would leave the coil's energy in the switch: fit a diode across the unit's plug, or leave frequency out for a switch that only goes on and off")
		}
		if l.Level != nil && l.Level.Minus != nil {
			bad(key("load", "level", "minus"), "only the supply has a sense wire for its minus: leave minus out")
		}
	}
	if p := f.Position; p != nil {
		switch {
		case p.Level != nil && p.Pin != "":
			bad(key("position"), "the position has both a pin for a PWM and a level: one input for one way, leave the other out")
		case p.Level == nil && p.Pin == "":
			bad(key("position"), "the position needs either pin, for a PWM, or a table [position.level] with channel, top, bottom and tolerance, for a voltage")
		case p.Pin == "" && (p.Active != "" || p.Pull != ""):
			bad(key("position"), "active and pull belong to pin: leave them out; a level is pulled to ground by its own divider")
		}
		if p.Level != nil && p.Level.Minus != nil {
			bad(key("position", "level", "minus"), "only the supply has a sense wire for its minus: leave minus out")
		}
	}
}

// load is the switch as the file describes it.
func (l *fileLoad) load() *LoadSwitch {
	if l == nil {
		return nil
	}
	out := &LoadSwitch{Pin: l.Pin, PWMChip: l.PWMChip, Channel: l.Channel, ActiveLow: l.Active == "low", HighSide: l.Side == "high",
		FreeWheel: l.FreeWheel, Seen: l.Recirculation == "seen", Level: l.Level.sense()}
	if l.FreeWheel == FreeWheelNone {
		out.Clamp = Clamp{Volt: float64(l.ClampVoltage), Joule: float64(l.ClampEnergy), Henry: float64(l.Inductance)}
		return out
	}
	out.LowestFrequency_Hz, out.HighestFrequency_Hz = LoadLowest_Hz, LoadHighest_Hz
	if l.Frequency != nil {
		out.LowestFrequency_Hz, out.HighestFrequency_Hz = l.Frequency.Low_Hz, l.Frequency.High_Hz
	}
	return out
}

// position is the input as the file describes it.
func (p *filePosition) position() *PositionInput {
	switch {
	case p == nil:
		return nil
	case p.Level != nil:
		return &PositionInput{Sense: p.Level.sense()}
	}
	return &PositionInput{Edges: (&fileInput{p.Pin, p.Active, p.Pull}).input("high", "up")}
}
